"""Spectra made from a few numbers: single-colour LEDs, white LEDs, daylight."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from underlit.errors import DataError
from underlit.spectra.observer import planckian_xy, tristimulus
from underlit.spectra.spectrum import GRID_NM, Spectrum
from underlit.spectra.tables import shipped

# Ohno's line (g + 2 g^5) / 3 with g = exp(-c t^2) and t in half widths: c that makes it 1/2 at t = 1.
_OHNO_C = 0.21235

Part = tuple[float, float]  # peak and full width at half maximum [nm]


def led(peak_nm: float, width_nm: float, name: str = "") -> Spectrum:
    """Spectrum of a single-colour LED.

    Parameters
    ----------
    peak_nm : float
        Wavelength of the greatest power per nm, 380-780. [nm]
    width_nm : float
        Full width at half maximum of the power spectrum, 2-200. [nm]

    Returns
    -------
    Spectrum
        In photons, 1 umol s-1 in 380-780 nm.

    Notes
    -----
    Line shape (g + 2 g^5)/3, g Gaussian: narrower at the top and wider at the foot than a Gaussian, as LEDs
    are (Ohno 2005, Opt. Eng. 44:111302).
    """
    _check_part(peak_nm, width_nm)
    watts = _line(peak_nm, width_nm)
    source = f"peak {peak_nm:g} nm, width {width_nm:g} nm, line shape of Ohno 2005"
    return Spectrum(GRID_NM, watts, "watts", name or f"LED {peak_nm:g} nm", source).normalised()


def _line(peak_nm: float, width_nm: float) -> np.ndarray:
    g = np.exp(-_OHNO_C * (2.0 * (GRID_NM - peak_nm) / width_nm) ** 2)
    return (g + 2.0 * g**5) / 3.0


def _phosphor(peak_nm: float, width_nm: float) -> np.ndarray:
    """Phosphor emission, Gaussian in photon energy: in wavelength its red side falls more slowly."""
    edges = np.array([peak_nm - width_nm / 2.0, peak_nm + width_nm / 2.0])
    width = np.ptp(1.0 / edges)
    return np.exp(-4.0 * math.log(2.0) * ((1.0 / GRID_NM - 1.0 / peak_nm) / width) ** 2)


def white(
    cct_k: float,
    duv: float = 0.0,
    pump: Part | None = None,
    phosphors: Sequence[Part] | None = None,
    name: str = "",
) -> Spectrum:
    """Spectrum of a white LED: a blue pump and two phosphors that make up a wanted colour.

    Three parts have just one mixture of a given chromaticity, so colour temperature and Duv come out exactly.

    Parameters
    ----------
    cct_k : float
        Correlated colour temperature. [K]
    duv : float
        Distance from the Planckian locus, positive towards green.
    pump : (peak_nm, width_nm), optional
        Default: `blue pump` of `data/lamps.csv`. [nm]
    phosphors : two of (peak_nm, width_nm), optional
        Default: the phosphors of `data/lamps.csv`. [nm]

    Returns
    -------
    Spectrum
        In photons, 1 umol s-1 in 380-780 nm.

    Raises
    ------
    DataError
        The parts cannot make that white.
    """
    pump = pump or parts("pump")[0]
    phosphors = list(phosphors or parts("phosphor"))
    if len(phosphors) != 2:
        raise DataError(f"got {len(phosphors)} phosphors, expected two.", where=name or "white")
    for peak, width in (pump, *phosphors):
        _check_part(peak, width)
    mixed = np.stack([_line(*pump), *(_phosphor(*part) for part in phosphors)])
    shares = _solve_mixture(tristimulus(mixed), planckian_xy(cct_k, duv))
    if shares.min() < 0.0:
        raise DataError(
            f"a pump at {pump[0]:g} nm with phosphors at {phosphors[0][0]:g} and {phosphors[1][0]:g} nm "
            f"cannot make {cct_k:g} K at Duv {duv:g}.",
            where=name or "white",
            hint="Choose phosphors farther apart, or another colour temperature.",
        )
    source = f"pump and two phosphors solved for {cct_k:g} K, Duv {duv:g}"
    return Spectrum(GRID_NM, shares @ mixed, "watts", name or f"white {cct_k:g} K", source).normalised()


def _solve_mixture(xyz: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """Shares of three parts (rows X, Y, Z) whose sum has chromaticity x, y and Y = 1."""
    x, y = xy
    return np.linalg.solve(xyz.T, [x / y, 1.0, (1.0 - x - y) / y])


def parts(kind: str) -> list[Part]:
    """Peak and width of the shipped parts of one kind: `led`, `pump` or `phosphor`. [nm]"""
    rows = [row for row in shipped("lamps").rows() if row["kind"] == kind]
    return [(float(row["peak_nm"]), float(row["width_nm"])) for row in rows]


def _check_part(peak_nm: float, width_nm: float) -> None:
    if not 380.0 <= peak_nm <= 780.0:
        raise DataError(f"got a peak at {peak_nm:g} nm, expected 380-780 nm.")
    if not 2.0 <= width_nm <= 200.0:
        raise DataError(f"got a width of {width_nm:g} nm, expected 2-200 nm at half maximum.")
