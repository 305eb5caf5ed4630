"""A spectrum, and the 1 nm grid it lives on."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from underlit.constants import UMOL_PER_J_NM
from underlit.errors import DataError

GRID_NM = np.arange(380, 781)
"""Wavelengths of the 1 nm grid, shape (401,); each value stands for the bin of 1 nm around it. [nm]"""

GRID_NM.flags.writeable = False

_KINDS = {"photons": "umol s-1 nm-1", "watts": "W nm-1"}
_NEEDED_NM = (400.0, 700.0)
_ENDS_MAY_BE = 0.02  # of the peak: a spectrum that stops at more than this, inside 400-700 nm, is cut off


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Spectral flux of a lamp.

    Parameters
    ----------
    wavelength_nm : array_like, shape (n,)
        Strictly increasing. [nm]
    value : array_like, shape (n,)
        Spectral flux, not negative. [umol s-1 nm-1 or W nm-1]
    kind : {"photons", "watts"}
        What `value` counts.
    name, source : str
        For tables and reports.
    notes : tuple of str
        What a reader did to the data that the user should know.

    Raises
    ------
    DataError
        Not a spectrum: order, sign, length, finiteness, or nothing but zeros.
    """

    wavelength_nm: np.ndarray
    value: np.ndarray
    kind: str = "photons"
    name: str = ""
    source: str = ""
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        wavelength = np.array(self.wavelength_nm, dtype=float)
        value = np.array(self.value, dtype=float)
        _check(wavelength, value, self.kind, self.name)
        wavelength.flags.writeable = value.flags.writeable = False
        object.__setattr__(self, "wavelength_nm", wavelength)
        object.__setattr__(self, "value", value)

    def photons(self) -> Spectrum:
        """The same light counted in photons. [umol s-1 nm-1]"""
        if self.kind == "photons":
            return self
        return replace(self, value=self.value * UMOL_PER_J_NM * self.wavelength_nm, kind="photons")

    def watts(self) -> Spectrum:
        """The same light counted in energy. [W nm-1]"""
        if self.kind == "watts":
            return self
        return replace(self, value=self.value / (UMOL_PER_J_NM * self.wavelength_nm), kind="watts")

    def on_grid(self) -> Spectrum:
        """The spectrum at `GRID_NM`: straight lines between the points given, nothing beyond them.

        Data finer than 1 nm are averaged over each bin, so that narrow lines keep their flux.

        Raises
        ------
        DataError
            The data leave out part of 400-700 nm while they end well above zero.
        """
        if np.array_equal(self.wavelength_nm, GRID_NM):
            return self
        notes = self.notes + _uncovered(self.wavelength_nm, self.value, self.name)
        sample = _bin_means if np.diff(self.wavelength_nm).min() < 1.0 else _interpolated
        value = sample(self.wavelength_nm, self.value)
        return replace(self, wavelength_nm=GRID_NM, value=value, notes=notes)

    def normalised(self) -> Spectrum:
        """The spectrum in photons on `GRID_NM`, scaled to 1 umol s-1 in 380-780 nm."""
        grid = self.on_grid().photons()
        return replace(grid, value=grid.value / grid.value.sum())

    @property
    def flux_umol_s(self) -> float:
        """Photon flux in 380-780 nm. [umol s-1]"""
        return float(self.on_grid().photons().value.sum())

    @property
    def flux_w(self) -> float:
        """Radiant flux in 380-780 nm. [W]"""
        return float(self.on_grid().watts().value.sum())


def max_efficacy_umol_per_J(spectrum: Spectrum) -> float:
    """Photons per joule of this light: no lamp can give more per joule it draws. [umol J-1]

    At one wavelength it is wavelength / 119.6 nm; here it is averaged over the spectrum.
    """
    return spectrum.flux_umol_s / spectrum.flux_w


def _interpolated(wavelength: np.ndarray, value: np.ndarray) -> np.ndarray:
    return np.interp(GRID_NM, wavelength, value, left=0.0, right=0.0)


def _bin_means(wavelength: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Mean over each bin of the straight lines through the points, exactly."""
    edges = np.append(GRID_NM - 0.5, GRID_NM[-1] + 0.5)
    points = np.union1d(wavelength, edges)
    height = np.interp(points, wavelength, value, left=0.0, right=0.0)
    steps = np.diff(points) * 0.5 * (height[1:] + height[:-1])
    running = np.concatenate([[0.0], np.cumsum(steps)])
    return np.diff(running[np.searchsorted(points, edges)])


def _check(wavelength: np.ndarray, value: np.ndarray, kind: str, name: str) -> None:
    where = name or "spectrum"
    if kind not in _KINDS:
        raise DataError(f"got quantity `{kind}`, expected `photons` or `watts`.", where=where)
    if wavelength.ndim != 1 or wavelength.shape != value.shape or wavelength.size < 2:
        raise DataError("expected as many values as wavelengths, and at least two.", where=where)
    if not (np.all(np.isfinite(wavelength)) and np.all(np.isfinite(value))):
        raise DataError("expected finite numbers throughout.", where=where)
    if np.any(np.diff(wavelength) <= 0):
        at = wavelength[1:][np.diff(wavelength) <= 0][0]
        raise DataError(f"wavelengths must increase from row to row; they do not at {at:g} nm.", where=where)
    if np.any(value < 0):
        at = wavelength[value < 0][0]
        raise DataError(f"a spectrum cannot be negative, as it is at {at:g} nm.", where=where)
    if not np.any(value[(wavelength >= GRID_NM[0]) & (wavelength <= GRID_NM[-1])] > 0):
        raise DataError("there is no light in 380-780 nm.", where=where)


def _uncovered(wavelength: np.ndarray, value: np.ndarray, name: str) -> tuple[str, ...]:
    """Notes on the parts of the grid without data; an error where 400-700 nm is cut off."""
    low, high = wavelength[0], wavelength[-1]
    tall = _ENDS_MAY_BE * value.max()
    cut = (low > _NEEDED_NM[0] and value[0] > tall) or (high < _NEEDED_NM[1] and value[-1] > tall)
    if cut:
        raise DataError(
            f"the data run over {low:g}-{high:g} nm and end well above zero.",
            where=name or "spectrum",
            hint="A lamp spectrum must cover 400-700 nm, or reach zero before its ends.",
        )
    ends = [
        (low > GRID_NM[0], value[0], f"below {low:g}"),
        (high < GRID_NM[-1], value[-1], f"above {high:g}"),
    ]
    return tuple(
        f"{name or 'spectrum'}: no data {part} nm; counted as no light there."
        for missing, end, part in ends
        if missing and end > tall
    )
