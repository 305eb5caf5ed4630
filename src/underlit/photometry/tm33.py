"""ANSI/IES TM-33 files (.xml): the intensities of one emitter.

The text of the standard was not at hand. Element names are those of its XML schema as publicly quoted (versions 1.0
and 1.1), and of the public example for horticultural lamps of a rebate programme: `IESTM33` / `Emitter` / one of
`PhotonData`, `RadiantData`, `LuminousData` / the intensity / `IntData h="azimuth" v="vertical angle"`, with the same
angles as LM-63. Spectra, emission areas and channels of the file are not read.
"""

from __future__ import annotations

import math
from xml.etree import ElementTree

import numpy as np

from underlit.errors import DataError
from underlit.photometry.distribution import (
    LARGEST_GRID,
    Distribution,
    Opening,
    checked,
    distinct_planes,
    mirrored,
    unfold,
)

# Best first: photons, then watts, then what the eye sees.
_KINDS = (
    ("PhotonData", "PhotonIntensity", "umol/s/sr"),
    ("RadiantData", "RadiantIntensity", "W/sr"),
    ("LuminousData", "LuminousIntensity", "cd"),
)


def parse_tm33(text: str, where: str) -> Distribution:
    """A distribution from the text of a TM-33 document.

    Parameters
    ----------
    text : str
    where : str
        File, for errors.

    Returns
    -------
    Distribution
        Of photons where the file has them, else of watts, else of candela.

    Raises
    ------
    DataError
        No such document, several emitters, angles that are no grid.
    """
    root = _root(text, where)
    _check_type(root, where)
    emitter, data, unit = _intensity_of(root, where)
    azimuth, vertical, intensity = _grid(data, where)
    azimuth, intensity, notes = _unfold(data, azimuth, intensity, where)
    factor = _number(data, "Multiplier", where, 1.0)
    if factor <= 0.0:
        raise DataError(f"got {factor:g} for the Multiplier, expected more than zero.", where=where)
    with np.errstate(over="ignore"):  # `checked` refuses what is no number
        intensity = factor * intensity
    return checked(
        Distribution(
            vertical_deg=vertical,
            azimuth_deg=azimuth,
            intensity=intensity,
            unit=unit,
            opening=Opening("other"),
            watts=_number(emitter, "InputWattage", where, math.nan) or math.nan,
            rated_lumens=_number(emitter, "RatedLumens", where, math.nan) or math.nan,
            name=_text(root, "Description"),
            notes=notes,
        ),
        where,
    )


def _local(element: ElementTree.Element) -> str:
    return element.tag.rsplit("}", 1)[-1]


def _root(text: str, where: str) -> ElementTree.Element:
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise DataError("XML with a document type or entities is not read.", where=where)
    try:
        root = ElementTree.fromstring(text.encode("utf-8"))
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        raise DataError(f"this is not well-formed XML: {error}.", where=where) from None
    if not _local(root).upper().startswith("IESTM33"):
        raise DataError(f"the XML is `{_local(root)[:40]}`, expected an IES TM-33 document.", where=where)
    return root


def _find(parent: ElementTree.Element, name: str) -> ElementTree.Element | None:
    return next((element for element in parent.iter() if _local(element) == name), None)


def _text(parent: ElementTree.Element, name: str) -> str:
    element = _find(parent, name)
    return "" if element is None or element.text is None else element.text.strip()


def _number(parent: ElementTree.Element, name: str, where: str, default: float) -> float:
    text = _text(parent, name)
    return _value(text, name, where) if text else default


def _value(text: str, name: str, where: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise DataError(f"got `{text[:40]}` for `{name}`, expected a number.", where=where)
    return value


def _check_type(root: ElementTree.Element, where: str) -> None:
    goniometer = _find(root, "Gonioradiometer")
    kind = _text(goniometer, "Type").replace(" ", "") if goniometer is not None else ""
    if kind and not kind.endswith("_C"):
        raise DataError(
            f"the angles are of type {kind[:20]}, expected Type C.",
            where=where,
            hint="Types A and B, for headlamps and floodlights, count their angles otherwise and are not read.",
        )


def _intensity_of(
    root: ElementTree.Element, where: str
) -> tuple[ElementTree.Element, ElementTree.Element, str]:
    """The emitter with intensities, those intensities, and their unit."""
    emitters = [element for element in root.iter() if _local(element) == "Emitter"]
    for block, name, unit in _KINDS:
        found = [
            (emitter, data)
            for emitter in emitters
            if (parent := _find(emitter, block)) is not None and (data := _find(parent, name)) is not None
        ]
        if len(found) > 1:
            raise DataError(
                f"{len(found)} emitters have intensities, expected one.",
                where=where,
                hint="Split the document: one file for the beam of each channel.",
            )
        if found:
            return *found[0], unit
    raise DataError("the document holds no intensities.", where=where)


def _grid(data: ElementTree.Element, where: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Azimuths, vertical angles, and the intensity of each pair."""
    values: dict[tuple[float, float], float] = {}
    for point in (element for element in data.iter() if _local(element) == "IntData"):
        h, v = (_value(point.attrib.get(key, ""), f"IntData {key}", where) for key in ("h", "v"))
        if (h, v) in values:
            raise DataError(f"two intensities for azimuth {h:g} and vertical angle {v:g} deg.", where=where)
        values[h, v] = _value(point.text or "", "IntData", where)
    azimuth, vertical = (np.array(sorted({pair[i] for pair in values})) for i in (0, 1))
    if not values or len(azimuth) * len(vertical) != len(values) or len(values) > LARGEST_GRID:
        raise DataError(
            f"got {len(values)} intensities for {len(azimuth)} azimuths and {len(vertical)} vertical angles, "
            "expected one for each pair.",
            where=where,
        )
    return azimuth, vertical, np.array([[values[h, v] for v in vertical] for h in azimuth])


def _unfold(data: ElementTree.Element, azimuth: np.ndarray, intensity: np.ndarray, where: str):
    """All planes of a full turn: by the symmetry stated, or else by the last azimuth as in LM-63."""
    symmetry = _text(data, "Symm").replace(" ", "")
    if azimuth[0] < 0.0 or azimuth[-1] > 360.0:
        raise DataError("an azimuth is outside 0 to 360 deg.", where=where)
    if symmetry in ("Symm_Bi_0", "Symm_Quad"):
        azimuth, intensity = mirrored(azimuth, intensity, 0.0)
    if symmetry in ("Symm_Bi_90", "Symm_Quad"):
        azimuth, intensity = mirrored(azimuth, intensity, 90.0)
    if symmetry.startswith("Symm_"):
        return *distinct_planes(azimuth, intensity), ()
    return unfold(azimuth, intensity, where)
