"""Optical materials by name: glass sheets, opaque surfaces, leaves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from underlit.errors import DataError
from underlit.spectra.tables import Table, read_table, shipped

_SURFACE_NODES_NM = {"r450": 450.0, "r550": 550.0, "r650": 650.0, "r700": 700.0}
_GLASS_FILES = {"float": "glass_float", "low-iron": "glass_low_iron", "acrylic": "glass_acrylic"}


def unknown(what: str, got: str, known: Sequence[str]) -> DataError:
    """The error for a name that is not in a table, with the nearest names that are."""
    near = get_close_matches(got, known, n=3, cutoff=0.5)
    hint = f"Nearest: {', '.join(near)}." if near else ""
    return DataError(f"no {what} is called `{got}`.", hint=f"{hint} Known: {', '.join(known)}.".strip())


# --- glass -----------------------------------------------------------------------------------------------


def glass_names() -> list[str]:
    """Names of the sheet materials that `glass` knows."""
    return list(_GLASS_FILES)


def glass(
    name: str, wavelength_nm: np.ndarray, folder: str | Path | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Refractive index and absorption of a transparent sheet.

    Parameters
    ----------
    name : str
        A name of `glass_names()`, or a CSV file with columns `wavelength_nm`, `n`, `a_per_m`.
    wavelength_nm : array_like, shape (n,)
        [nm]
    folder : path, optional
        What a file name is relative to.

    Returns
    -------
    index, absorption_per_m : ndarray, shape (n,)
        Linear between the rows of the table, constant beyond. [-, m-1]

    Raises
    ------
    DataError
        Unknown name, or a file that does not describe a glass.
    """
    if name in _GLASS_FILES:
        table = shipped(_GLASS_FILES[name])
    elif _is_file(name):
        table = _user_table(name, folder)
    else:
        raise unknown("glass", name, glass_names())
    index = _curve(table, "n", wavelength_nm, 1.0, 3.0)
    return index, _curve(table, "a_per_m", wavelength_nm, 0.0, 1e5)


# --- opaque surfaces -------------------------------------------------------------------------------------


@cache
def _surfaces() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Every shipped surface as (wavelength_nm, reflectance)."""
    known = {}
    for row in shipped("surfaces").rows():
        points = [(nm, float(row[key])) for key, nm in _SURFACE_NODES_NM.items() if row[key]]
        known[row["name"]] = tuple(np.array(points).T)
    measured = shipped("surfaces_measured")
    wavelength = measured.numbers("wavelength_nm")
    for name in measured.columns:
        if name != "wavelength_nm":
            known[name] = (wavelength, measured.numbers(name))
    return known


def surface_names() -> list[str]:
    """Names of the surfaces that `surface_reflectance` knows."""
    return list(_surfaces())


def surface_reflectance(spec: Any, wavelength_nm: np.ndarray, folder: str | Path | None = None) -> np.ndarray:
    """Diffuse reflectance of an opaque surface.

    Parameters
    ----------
    spec : str, float, sequence of (wavelength_nm, reflectance), or mapping
        A name of `surface_names()`; a CSV file with columns `wavelength_nm`, `reflectance`; one number for
        all wavelengths; points; or `{"reflectance": number or points}`, `{"file": "x.csv"}`.
    wavelength_nm : array_like, shape (n,)
        [nm]
    folder : path, optional
        What a file name is relative to.

    Returns
    -------
    ndarray, shape (n,)
        Linear between the points given, constant beyond; 0-1.

    Raises
    ------
    DataError
        Unknown name, or reflectances that are not within 0-1 at increasing wavelengths.
    """
    wavelength = np.atleast_1d(np.asarray(wavelength_nm, dtype=float))
    if isinstance(spec, Mapping):
        spec = _from_mapping(spec)
    if isinstance(spec, str) and _is_file(spec):
        return _curve(_user_table(spec, folder), "reflectance", wavelength, 0.0, 1.0)
    points, values = _points(spec)
    return np.interp(wavelength, points, values)


def _from_mapping(spec: Mapping[str, Any]) -> Any:
    """The one thing a `{reflectance = ...}` or `{file = ...}` table says."""
    if len(spec) == 1 and next(iter(spec)) in ("reflectance", "file", "name"):
        return next(iter(spec.values()))
    keys = ", ".join(map(str, spec))
    raise DataError(f"got a surface with {keys}; expected either `reflectance` or `file`.")


def _points(spec: Any) -> tuple[np.ndarray, np.ndarray]:
    """Wavelengths and reflectances of a name, a number or a list of points."""
    if isinstance(spec, str):
        if spec not in _surfaces():
            raise unknown("surface", spec, surface_names())
        return _surfaces()[spec]
    try:
        array = np.array([(550.0, spec)] if np.isscalar(spec) else spec, dtype=float)
        wavelength, value = array.reshape(-1, 2).T
    except (TypeError, ValueError):
        raise DataError(
            f"got {spec!r}, expected a reflectance or a list of [wavelength, reflectance]."
        ) from None
    _check_curve(wavelength, value, "reflectance", 0.0, 1.0, "")
    return wavelength, value


# --- leaves ----------------------------------------------------------------------------------------------


@cache
def _leaves() -> dict[str, np.ndarray]:
    """Every shipped leaf as rows (wavelength_nm, reflectance, transmittance)."""
    table = shipped("leaves")
    names = np.array(table.columns["leaf"])
    rows = np.stack([table.numbers(c) for c in ("wavelength_nm", "reflectance", "transmittance")], axis=1)
    return {str(name): rows[names == name] for name in dict.fromkeys(table.columns["leaf"])}


def leaf_names() -> list[str]:
    """Names of the leaves that `leaf` knows."""
    return list(_leaves())


def leaf(
    name: str, wavelength_nm: np.ndarray, folder: str | Path | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Reflectance and transmittance of a single leaf; the rest is absorbed.

    Parameters
    ----------
    name : str
        A name of `leaf_names()`, or a CSV file with columns `wavelength_nm`, `reflectance`, `transmittance`.
    wavelength_nm : array_like, shape (n,)
        [nm]
    folder : path, optional
        What a file name is relative to.

    Returns
    -------
    reflectance, transmittance : ndarray, shape (n,)
        Linear between the rows of the table, constant beyond; their sum is at most 1.
    """
    if _is_file(name):
        table = _user_table(name, folder)
        pair = [_curve(table, c, wavelength_nm, 0.0, 1.0) for c in ("reflectance", "transmittance")]
    elif name in _leaves():
        rows = _leaves()[name]
        pair = [np.interp(wavelength_nm, rows[:, 0], rows[:, j]) for j in (1, 2)]
    else:
        raise unknown("leaf", name, leaf_names())
    if np.any(pair[0] + pair[1] > 1.0 + 1e-12):
        raise DataError("a leaf cannot reflect and transmit more than it receives.", where=name)
    return pair[0], pair[1]


# --- a user's own curve ----------------------------------------------------------------------------------


def _is_file(name: str) -> bool:
    return name.lower().endswith((".csv", ".txt", ".tsv"))


def _user_table(name: str, folder: str | Path | None) -> Table:
    return read_table(Path(folder or ".") / name)


def _curve(table: Table, column: str, wavelength_nm: np.ndarray, low: float, high: float) -> np.ndarray:
    """A checked column, interpolated."""
    wavelength, value = table.numbers("wavelength_nm"), table.numbers(column)
    _check_curve(wavelength, value, column, low, high, table.path)
    return np.interp(np.atleast_1d(np.asarray(wavelength_nm, dtype=float)), wavelength, value)


def _check_curve(
    wavelength: np.ndarray, value: np.ndarray, what: str, low: float, high: float, where: str
) -> None:
    if not np.all(np.isfinite(wavelength)) or np.any(np.diff(wavelength) <= 0):
        raise DataError("wavelengths must be numbers that increase from row to row.", where=where)
    wrong = ~((value >= low) & (value <= high))
    if np.any(wrong):
        raise DataError(
            f"got {what} {value[wrong][0]:g} at {wavelength[wrong][0]:g} nm, expected {low:g} to {high:g}.",
            where=where,
        )
