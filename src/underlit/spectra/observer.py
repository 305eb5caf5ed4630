"""The CIE 1931 observer and the Planckian locus: enough colour science to build white light."""

from __future__ import annotations

from functools import cache

import numpy as np

from underlit.errors import DataError
from underlit.spectra.spectrum import GRID_NM
from underlit.spectra.tables import shipped

SECOND_RADIATION_M_K = 1.438776877e-2  # h c / k, exact SI values


@cache
def observer() -> np.ndarray:
    """CIE 1931 2 degree colour-matching functions on `GRID_NM`, shape (401, 3); column 1 is V."""
    table = shipped("cie_1931_observer")
    return np.stack([table.numbers(c) for c in "xyz"], axis=1)


def tristimulus(watts_nm: np.ndarray) -> np.ndarray:
    """X, Y, Z of spectra on `GRID_NM`, in units of their own (no 683 lm/W).

    Parameters
    ----------
    watts_nm : ndarray, shape (..., 401)
        [W nm-1]

    Returns
    -------
    ndarray, shape (..., 3)
    """
    return watts_nm @ observer()


def planckian(cct_k: float) -> np.ndarray:
    """Spectrum of a black body on `GRID_NM`, shape (401,), largest value 1, in power per nm."""
    metres = GRID_NM * 1e-9
    with np.errstate(over="ignore"):
        power = metres**-5 / np.expm1(SECOND_RADIATION_M_K / (metres * cct_k))
    return power / power.max()


def planckian_xy(cct_k: float, duv: float = 0.0) -> np.ndarray:
    """Chromaticity x, y at a correlated colour temperature, `duv` above the Planckian locus.

    The offset is taken along the normal of the locus in the CIE 1960 diagram, positive towards green.
    """
    if not 1000.0 <= cct_k <= 25000.0:
        raise DataError(f"got a colour temperature of {cct_k:g} K, expected 1000-25000 K.")
    uv = _uv(planckian(cct_k))
    along = _uv(planckian(cct_k * 1.001)) - _uv(planckian(cct_k * 0.999))
    # Hotter runs towards smaller u, so the normal that points to larger v (green) is this one.
    normal = np.array([along[1], -along[0]]) / np.hypot(*along)
    u, v = uv + duv * normal
    return np.array([3.0 * u, 2.0 * v]) / (2.0 * u - 8.0 * v + 4.0)


def _uv(watts_nm: np.ndarray) -> np.ndarray:
    x, y, z = tristimulus(watts_nm)
    return np.array([4.0 * x, 6.0 * y]) / (x + 15.0 * y + 3.0 * z)
