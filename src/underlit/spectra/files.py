"""Lamp spectra from files: two columns of numbers, or the XML of ANSI/IES TM-27."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import numpy as np

from underlit.errors import DataError
from underlit.spectra.spectrum import Spectrum
from underlit.spectra.tables import read_table, read_text

QUANTITIES = {"W/nm": "watts", "photons/nm": "photons"}
_NOISE = 0.02  # of the peak: negative readings up to this are the instrument's noise about zero
_TM27_POWER = {"flux", "irradiance", "radiance", "intensity", "exitance", "relative"}


def read_spectrum(
    path: str | Path, quantity: str | None = None, baseline: float | tuple[float, float] | None = None
) -> Spectrum:
    """A lamp spectrum from a CSV file or a TM-27 XML file.

    Parameters
    ----------
    path : path
        `.xml` and `.spdx` are read as TM-27; anything else as a table of wavelength [nm] and value.
    quantity : {"W/nm", "photons/nm"}
        What a table's second column counts; any unit proportional to it will do. TM-27 states it itself.
    baseline : float or (low_nm, high_nm), optional
        Dark reading to subtract: a number in the unit of the file, or a range of wavelengths without light,
        of which the median is taken.

    Returns
    -------
    Spectrum
        At the file's own wavelengths; negative noise of up to 2 % of the peak is set to zero, and noted.

    Raises
    ------
    DataError
        Not a spectrum, quantity not stated, readings far below zero.
    """
    path = Path(path)
    if path.suffix.lower() in (".xml", ".spdx"):
        wavelength, value, kind = _read_tm27(path)
        if quantity is not None and QUANTITIES.get(quantity) != kind:
            raise DataError("a TM-27 file states power per nm itself; leave out `quantity`.", where=str(path))
    else:
        kind = _kind(quantity, path)
        wavelength, value = _read_columns(path)
    return _clean(wavelength, value, kind, baseline, path)


def _kind(quantity: str | None, path: Path) -> str:
    if quantity not in QUANTITIES:
        got = "no quantity" if quantity is None else f"quantity `{quantity}`"
        raise DataError(
            f"got {got} for a spectrum file, expected `W/nm` or `photons/nm`.",
            where=str(path),
            hint="Data sheets and most instruments give relative power, W/nm; quantum ones photons/nm.",
        )
    return QUANTITIES[quantity]


def _read_columns(path: Path) -> tuple[np.ndarray, np.ndarray]:
    table = read_table(path)
    names = list(table.columns)
    if len(names) != 2:
        raise DataError(
            f"got {len(names)} columns, expected two: wavelength in nm, and value.", where=str(path)
        )
    return table.numbers(names[0]), table.numbers(names[1])


def _clean(
    wavelength: np.ndarray,
    value: np.ndarray,
    kind: str,
    baseline: float | tuple[float, float] | None,
    path: Path,
) -> Spectrum:
    """Baseline off, order ascending, noise below zero away."""
    if wavelength.size > 1 and np.all(np.diff(wavelength) < 0):
        wavelength, value = wavelength[::-1], value[::-1]
    if wavelength.size and np.median(wavelength) < 10.0:
        raise DataError("the wavelengths look like micrometres; expected nm.", where=str(path))
    value = value - _dark(wavelength, value, baseline, path)
    notes: tuple[str, ...] = ()
    if value.size and value.min() < 0.0:
        if value.min() < -_NOISE * value.max():
            raise DataError(
                f"readings go down to {value.min():.3g}, far below zero next to a peak of {value.max():.3g}.",
                where=str(path),
                hint="Give a `baseline`: the dark reading, or a range of wavelengths without light.",
            )
        notes = (f"{path.name}: readings below zero (noise) were set to zero.",)
        value = np.maximum(value, 0.0)
    return Spectrum(wavelength, value, kind, path.name, f"file {path.name}", notes)


def _dark(
    wavelength: np.ndarray, value: np.ndarray, baseline: float | tuple[float, float] | None, path: Path
) -> float:
    if baseline is None:
        return 0.0
    if np.isscalar(baseline):
        return float(baseline)  # type: ignore[arg-type]
    low, high = baseline  # type: ignore[misc]
    dark = value[(wavelength >= low) & (wavelength <= high)]
    if not dark.size:
        raise DataError(f"no readings in the baseline range {low:g}-{high:g} nm.", where=str(path))
    return float(np.median(dark))


def _read_tm27(path: Path) -> tuple[np.ndarray, np.ndarray, str]:
    """Wavelengths and values of an ANSI/IES TM-27 document, whatever its namespace.

    The elements are those of public examples of the format (SpectralDistribution with SpectralQuantity and
    SpectralData wavelength="..."); the text of the standard was not at hand.
    """
    text = read_text(path)
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise DataError("XML with a document type or entities is not read.", where=str(path))
    try:
        root = ElementTree.fromstring(text.encode("utf-8"))
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        raise DataError(f"this is not well-formed XML: {error}.", where=str(path)) from None
    if _local(root.tag).upper() not in ("IESTM2714", "IESTM27"):
        raise DataError(f"the XML is `{_local(root.tag)}`, expected an IES TM-27 document.", where=str(path))
    kind = _tm27_kind(root, path)
    points = [element for element in root.iter() if _local(element.tag) == "SpectralData"]
    try:
        pairs = sorted((float(p.attrib["wavelength"]), float(p.text or "")) for p in points)
    except (KeyError, ValueError):
        raise DataError(
            "a SpectralData element lacks its wavelength or its number.", where=str(path)
        ) from None
    if len(pairs) < 2:
        raise DataError("the document holds no spectral data.", where=str(path))
    wavelength, value = np.array(pairs).T
    return wavelength, value, kind


def _tm27_kind(root: ElementTree.Element, path: Path) -> str:
    stated = [(e.text or "").strip().lower() for e in root.iter() if _local(e.tag) == "SpectralQuantity"]
    if not stated or stated[0] not in _TM27_POWER:
        got = stated[0] if stated else "nothing"
        raise DataError(f"the spectral quantity is `{got}`, expected the light of a lamp.", where=str(path))
    return "watts"


def _local(tag: str) -> str:
    return tag.rsplit("}", 1)[-1]
