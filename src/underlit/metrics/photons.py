"""Photon quantities of a spectrum: every one a weighted sum over wavelength.

A spectrum here is an array of shape (..., 401) on `spectra.GRID_NM`. A flux gives a flux, a flux density a
flux density: `umol s-1 nm-1` in, `umol s-1` out; `umol m-2 s-1 nm-1` in, `umol m-2 s-1` out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.errors import StudyError
from underlit.spectra import GRID_NM, Spectrum, weighting

MOL_PER_UMOL_HOUR = 3600.0 * 1e-6

Photons = Spectrum | np.ndarray


def weighted(spectrum: Photons, name: str) -> np.ndarray:
    """Photons of a spectrum under a named weighting.

    Parameters
    ----------
    spectrum : Spectrum, or ndarray of shape (..., 401)
        [umol s-1 nm-1, or per m2]
    name : str
        See `spectra.weighting`.

    Returns
    -------
    ndarray, shape (...)
        [umol s-1, or per m2]
    """
    return photons_on_grid(spectrum) @ weighting(name)


def photons_on_grid(spectrum: Photons) -> np.ndarray:
    """The plain array behind a spectrum, shape (..., 401). [umol s-1 nm-1]"""
    if isinstance(spectrum, Spectrum):
        return spectrum.on_grid().photons().value
    value = np.asarray(spectrum, dtype=float)
    if value.shape[-1:] != GRID_NM.shape:
        raise StudyError(
            f"got a spectrum of {value.shape[-1:]} values, expected {GRID_NM.size} (380-780 nm)."
        )
    return value


def par(spectrum: Photons) -> np.ndarray:
    """Photosynthetic photon flux (or flux density), 400-700 nm. [umol s-1, or per m2]"""
    return weighted(spectrum, "PAR")


def epar(spectrum: Photons) -> np.ndarray:
    """Extended photosynthetic photon flux, 400-750 nm (Zhen & Bugbee 2020). [umol s-1, or per m2]"""
    return weighted(spectrum, "ePAR")


def ypf(spectrum: Photons) -> np.ndarray:
    """Yield photon flux: photons weighted by McCree's field mean, 380-725 nm. [umol s-1, or per m2]

    The published table ends at 725 nm; nothing is added beyond. Per photon, never per watt.
    """
    return weighted(spectrum, "YPF")


def illuminance_lx(spectrum: Photons) -> np.ndarray:
    """Lux of a flux density, or lumens of a flux: 683 lm/W V(wavelength), integrated. [lx or lm]"""
    return weighted(spectrum, "photopic")


@dataclass(frozen=True)
class Usable:
    """Photosynthetically usable radiation under one named weighting.

    Attributes
    ----------
    weighting : str
        Its name; there is no single standard, so the number means nothing without it.
    flux : ndarray
        Weighted photons, 400-700 nm. [umol s-1, or per m2]
    share : ndarray
        The same over the photons of 400-700 nm, 0-1.
    """

    weighting: str
    flux: np.ndarray
    share: np.ndarray


def pur(spectrum: Photons, name: str) -> Usable:
    """Photosynthetically usable radiation: photons of 400-700 nm times an action (Morel 1978).

    Parameters
    ----------
    spectrum : Spectrum, or ndarray of shape (..., 401)
    name : str
        An action spectrum of `spectra.ACTIONS` or a CSV file; scaled to 1 at its maximum.

    Returns
    -------
    Usable
    """
    photons, band = photons_on_grid(spectrum), weighting("PAR")
    action = weighting(name)
    flux = photons @ (band * action / action.max())
    return Usable(name, flux, _ratio(flux, photons @ band))


def colour_split(spectrum: Photons) -> dict[str, np.ndarray]:
    """Shares of blue 400-500, green 500-600 and red 600-700 nm in PAR, and far red 700-780 nm next to PAR.

    The first three add up to 1; far red is outside PAR and so is a ratio to it, not a share of it.
    """
    photons = photons_on_grid(spectrum)
    total = par(photons)
    return {name: _ratio(weighted(photons, name), total) for name in ("blue", "green", "red", "far red")}


def red_far_red(spectrum: Photons) -> np.ndarray:
    """Photons of 655-665 nm over photons of 725-735 nm (10 nm bands, Smith 1982); inf without far red."""
    photons = photons_on_grid(spectrum)
    with np.errstate(divide="ignore", invalid="ignore"):
        return weighted(photons, "red 655-665") / weighted(photons, "far red 725-735")


def equivalent_full_hours(hours_h: float, ramp_h: float = 0.0) -> float:
    """Hours of full light that give the same daily photons as a day with straight ramps at both ends.

    Parameters
    ----------
    hours_h : float
        From the first light to the last, ramps included. [h]
    ramp_h : float
        Length of each ramp, at most half of `hours_h`. [h]

    Returns
    -------
    float
        `hours_h - ramp_h`: each ramp counts half, so a plateau of P between ramps of R counts P + R. [h]
    """
    if not 0.0 <= hours_h <= 24.0:
        raise StudyError(f"got {hours_h:g} hours of light, expected 0-24.")
    if not 0.0 <= ramp_h <= hours_h / 2.0:
        raise StudyError(f"got ramps of {ramp_h:g} h in {hours_h:g} h of light, expected at most half of it.")
    return hours_h - ramp_h


def dli(ppfd_umol_m2_s: np.ndarray, full_hours_h: float) -> np.ndarray:
    """Daily light integral of a PPFD held for `equivalent_full_hours`. [mol m-2 d-1]"""
    return np.asarray(ppfd_umol_m2_s) * full_hours_h * MOL_PER_UMOL_HOUR


def _ratio(part: np.ndarray, whole: np.ndarray) -> np.ndarray:
    """part / whole, and 0 where there is no light at all."""
    whole = np.asarray(whole)
    return np.divide(part, whole, out=np.zeros(np.shape(whole)), where=whole > 0.0)
