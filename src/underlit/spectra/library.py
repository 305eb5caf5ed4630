"""Lamps by name or by description."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from underlit.errors import DataError
from underlit.spectra.cie import CIE_NAMES, daylight, illuminant
from underlit.spectra.emitters import led, parts, white
from underlit.spectra.files import read_spectrum
from underlit.spectra.materials import unknown
from underlit.spectra.spectrum import GRID_NM, Spectrum
from underlit.spectra.tables import shipped

_WHITES = (
    "white 6500 K",
    "cool white 8000 K",
    "neutral white 4000 K",
    "warm white 3000 K",
)
_KELVIN = re.compile(r"(?P<kind>(?:cool |neutral |warm )?white|daylight) (?P<cct>\d+(?:\.\d+)?) ?K", re.I)
_KEYS = {
    "peak": {"peak", "width"},
    "cct": {"cct", "duv", "pump", "pump_width", "phosphors"},
    "file": {"file", "quantity", "baseline"},
    "mix": {"mix"},
}


def lamp_names() -> list[str]:
    """Examples of every kind of name `lamp` knows; any colour temperature may stand before `K`."""
    return [*_WHITES, *_leds(), "daylight 6500 K", *CIE_NAMES]


@cache
def _leds() -> dict[str, tuple[float, float]]:
    rows = [row for row in shipped("lamps").rows() if row["kind"] == "led"]
    return {row["name"]: (float(row["peak_nm"]), float(row["width_nm"])) for row in rows}


def lamp(spec: str | Mapping[str, Any] | Spectrum, folder: str | Path | None = None) -> Spectrum:
    """Spectrum of a lamp or of one of its channels.

    Parameters
    ----------
    spec : str, mapping or Spectrum
        A name: `"white 6500 K"`, `"warm white 3000 K"` (any temperature), `"daylight 5500 K"`, `"red 660"`,
        `"D65"`, `"LED-B3"`; see `lamp_names()`. Or one of

        - `{"peak": 660, "width": 20}`: a single-colour LED [nm];
        - `{"cct": 6500, "duv": 0, "pump": 450, "pump_width": 20, "phosphors": [[540, 105], [620, 95]]}`:
          a white LED, all but `cct` optional [K, nm];
        - `{"file": "lamp.csv", "quantity": "W/nm"}`: see `read_spectrum`; TM-27 XML needs no `quantity`;
        - `{"mix": {"white 6500 K": 0.8, "red 660": 0.2}}`: a mixture, in shares of photons.
    folder : path, optional
        What a file name is relative to.

    Returns
    -------
    Spectrum
        In photons on `GRID_NM`, 1 umol s-1 in 380-780 nm.

    Raises
    ------
    DataError
        Unknown name or key, or data that are not a spectrum.
    """
    if isinstance(spec, Spectrum):
        return spec.normalised()
    if isinstance(spec, str):
        return _named(spec)
    return _described(dict(spec), folder)


@cache
def _named(name: str) -> Spectrum:
    kelvin = _KELVIN.fullmatch(name.strip())
    if kelvin and kelvin["kind"].lower() == "daylight":
        return daylight(float(kelvin["cct"])).normalised()
    if kelvin:
        return white(float(kelvin["cct"]), name=name)
    if name in _leds():
        return led(*_leds()[name], name=name)
    if name in CIE_NAMES:
        return illuminant(name).normalised()
    if name.lower().endswith((".csv", ".txt", ".tsv", ".xml", ".spdx")):
        raise DataError(
            f"got the file name `{name}` as a spectrum.",
            hint=f'Write it as {{ file = "{name}", quantity = "W/nm" }} or with quantity = "photons/nm".',
        )
    raise unknown("lamp spectrum", name, lamp_names())


def _described(spec: dict[str, Any], folder: str | Path | None) -> Spectrum:
    kind = next((key for key in _KEYS if key in spec), None)
    if kind is None:
        raise DataError(
            f"got a spectrum with {', '.join(spec) or 'nothing'}.",
            hint="Expected a name, or a table with `peak` and `width`, `cct`, `file` and `quantity`, `mix`.",
        )
    extra = set(spec) - _KEYS[kind]
    if extra:
        raise DataError(
            f"`{sorted(extra)[0]}` does not go with `{kind}` in a spectrum.",
            hint=f"With `{kind}`: {', '.join(sorted(_KEYS[kind]))}.",
        )
    return _BUILDERS[kind](spec, folder)


def _from_peak(spec: dict[str, Any], folder: str | Path | None) -> Spectrum:
    if "width" not in spec:
        raise DataError(
            "a spectrum by `peak` needs its `width`, full at half maximum.", hint='width = "20 nm"'
        )
    return led(float(spec["peak"]), float(spec["width"]))


def _from_cct(spec: dict[str, Any], folder: str | Path | None) -> Spectrum:
    usual_peak, usual_width = parts("pump")[0]
    pump = (float(spec.get("pump", usual_peak)), float(spec.get("pump_width", usual_width)))
    phosphors = [(float(peak), float(width)) for peak, width in spec.get("phosphors", ())] or None
    return white(float(spec["cct"]), float(spec.get("duv", 0.0)), pump, phosphors)


def _from_file(spec: dict[str, Any], folder: str | Path | None) -> Spectrum:
    path = Path(folder or ".") / spec["file"]
    return read_spectrum(path, spec.get("quantity"), spec.get("baseline")).normalised()


def _from_mix(spec: dict[str, Any], folder: str | Path | None) -> Spectrum:
    shares = {name: float(share) for name, share in spec["mix"].items()}
    if not shares or min(shares.values()) < 0.0 or sum(shares.values()) <= 0.0:
        raise DataError("a mixture needs names with shares above zero.")
    value = sum(share * lamp(name, folder).value for name, share in shares.items())
    title = " + ".join(f"{share:g} {name}" for name, share in shares.items())
    return Spectrum(GRID_NM, np.asarray(value), "photons", title, "mixture, shares of photons").normalised()


_BUILDERS = {"peak": _from_peak, "cct": _from_cct, "file": _from_file, "mix": _from_mix}
