"""Weightings of photon spectra by name: bands, action spectra, the eye.

Each is a function of wavelength, so a weighted flux is a dot product and stays linear in the light.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from underlit.constants import KM_LM_PER_W, UMOL_PER_J_NM
from underlit.errors import DataError
from underlit.spectra.materials import leaf, unknown
from underlit.spectra.observer import observer
from underlit.spectra.spectrum import GRID_NM, Spectrum
from underlit.spectra.tables import read_table, shipped

BANDS_NM = {
    "all": (379.0, 781.0),
    "PAR": (400.0, 700.0),
    "ePAR": (400.0, 750.0),
    "blue": (400.0, 500.0),
    "green": (500.0, 600.0),
    "red": (600.0, 700.0),
    "far red": (700.0, 780.5),
    "red 655-665": (655.0, 665.0),
    "far red 725-735": (725.0, 735.0),
}
"""Photon bands. A bin of 1 nm on an edge counts half to either side, so bands that touch add up. [nm]"""

ACTIONS = {
    "YPF": "McCree 1972, field mean: relative photosynthetic action per photon (yield photon flux)",
    "McCree field": "McCree 1972, mean of field-grown crops, relative action per photon",
    "McCree chamber": "McCree 1972, mean of chamber-grown crops, relative action per photon",
    "leaf": "absorptance of a thin submersed leaf (estimate)",
    "chlorophyll a": "Gaussian bands of chlorophyll a in living cells (Chase et al. 2013)",
    "chlorophyll b": "Gaussian bands of chlorophyll b in living cells",
    "phytoplankton": "absorption of phytoplankton (Prieur & Sathyendranath 1981)",
    "symbiotic algae": "absorption of the symbiotic algae of corals (estimate)",
}
"""Action spectra by name, with what each is; all have 1 as their greatest value."""


def weighting_names() -> list[str]:
    """Names that `weighting` knows."""
    return [*BANDS_NM, *ACTIONS, "photopic"]


def weighting(name: str, wavelength_nm: np.ndarray = GRID_NM, folder: str | Path | None = None) -> np.ndarray:
    """Weight of a photon at each wavelength.

    Parameters
    ----------
    name : str
        A band (`"PAR"`, `"ePAR"`, `"blue"` ...), an action spectrum (`"YPF"`, `"leaf"` ...), `"photopic"`
        (lumens per umol s-1), or a CSV file with columns `wavelength_nm`, `weight`.
    wavelength_nm : array_like, shape (n,)
        Default: the 1 nm grid. [nm]
    folder : path, optional
        What a file name is relative to.

    Returns
    -------
    ndarray, shape (n,)
        Zero outside the range of the weighting's data.

    Raises
    ------
    DataError
        Unknown name, or a file that is not a weighting.
    """
    wavelength = np.atleast_1d(np.asarray(wavelength_nm, dtype=float))
    if name in BANDS_NM:
        return _band(wavelength, *BANDS_NM[name])
    if name in _ACTIONS:
        return _ACTIONS[name](wavelength)
    if name.lower().endswith((".csv", ".txt", ".tsv")):
        return _from_file(Path(folder or ".") / name, wavelength)
    raise unknown("weighting", name, weighting_names())


def lumens_per_umol(spectrum: Spectrum) -> float:
    """Lumens that go with each umol s-1 (380-780 nm) of this light: 683 lm/W V, integrated. [lm s umol-1]"""
    return float(weighting("photopic") @ spectrum.normalised().value)


def _band(wavelength: np.ndarray, low: float, high: float) -> np.ndarray:
    inside = (wavelength > low) & (wavelength < high)
    return inside + 0.5 * ((wavelength == low) | (wavelength == high))


def _mccree(column: str, wavelength: np.ndarray) -> np.ndarray:
    table = shipped("action_mccree")
    return _tabulated(wavelength, table.numbers("wavelength_nm"), table.numbers(column))


def _tabulated(wavelength: np.ndarray, points: np.ndarray, value: np.ndarray) -> np.ndarray:
    return np.interp(wavelength, points, value, left=0.0, right=0.0)


def _leaf(wavelength: np.ndarray) -> np.ndarray:
    def absorptance(nm: np.ndarray) -> np.ndarray:
        reflectance, transmittance = leaf("submersed leaf", nm)
        return 1.0 - reflectance - transmittance

    return absorptance(wavelength) / absorptance(GRID_NM).max()


def _phytoplankton(wavelength: np.ndarray) -> np.ndarray:
    table = shipped("phytoplankton")
    return _tabulated(wavelength, table.numbers("wavelength_nm"), table.numbers("relative"))


def _pigment(name: str, wavelength: np.ndarray) -> np.ndarray:
    """Sum of the Gaussian bands of one pigment, scaled to a maximum of 1."""
    bands = [row for row in shipped("pigments").rows() if row["weighting"] == name]

    def total(nm: np.ndarray) -> np.ndarray:
        lines = np.zeros(np.shape(nm))
        for band in bands:
            widths = (nm - float(band["centre_nm"])) / float(band["width_nm"])
            lines += float(band["height"]) * np.exp(-4.0 * math.log(2.0) * widths**2)
        return lines

    return total(wavelength) / total(GRID_NM).max()


def _photopic(wavelength: np.ndarray) -> np.ndarray:
    """Lumens per umol s-1: Km V / (photons per joule). [lm s umol-1]"""
    v = _tabulated(wavelength, GRID_NM, observer()[:, 1])
    return KM_LM_PER_W * v / (UMOL_PER_J_NM * wavelength)


def _from_file(path: Path, wavelength: np.ndarray) -> np.ndarray:
    table = read_table(path)
    points, value = table.numbers("wavelength_nm"), table.numbers("weight")
    if np.any(np.diff(points) <= 0):
        raise DataError("wavelengths must increase from row to row.", where=str(path))
    if np.any(value < 0) or not np.any(value > 0):
        raise DataError("weights must be zero or more, and some above zero.", where=str(path))
    return _tabulated(wavelength, points, value)


_ACTIONS: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "YPF": partial(_mccree, "field"),
    "McCree field": partial(_mccree, "field"),
    "McCree chamber": partial(_mccree, "chamber"),
    "leaf": _leaf,
    "chlorophyll a": partial(_pigment, "chlorophyll a"),
    "chlorophyll b": partial(_pigment, "chlorophyll b"),
    "phytoplankton": _phytoplankton,
    "symbiotic algae": partial(_pigment, "symbiotic algae"),
    "photopic": _photopic,
}
