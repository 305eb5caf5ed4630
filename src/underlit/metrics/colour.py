"""Colour of light: chromaticity, colour temperature, rendering, screen colour.

colour-science does the computing and is loaded only when a figure is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import ModuleType

import numpy as np

from underlit.constants import UMOL_PER_J_NM
from underlit.errors import StudyError
from underlit.metrics.photons import Photons, photons_on_grid
from underlit.spectra import GRID_NM
from underlit.spectra.observer import tristimulus

DUV_LIMIT = 0.0054
"""|Duv| beyond which light is too far from white for a rendering index (CIE 13.3)."""


@dataclass(frozen=True)
class Colour:
    """Colour figures of one spectrum.

    Attributes
    ----------
    x, y : float
        CIE 1931 chromaticity.
    cct_k : float
        Correlated colour temperature. [K]
    duv : float
        Distance from the Planckian locus in CIE 1960 u, v; positive towards green.
    ra : float or None
        CIE 13.3 general rendering index; None where it has no meaning.
    ra_note : str
        Why `ra` is None.
    """

    x: float
    y: float
    cct_k: float
    duv: float
    ra: float | None
    ra_note: str = ""


def describe(spectrum: Photons) -> Colour:
    """All colour figures of one spectrum; a rendering index only where CIE 13.3 allows one."""
    x, y = xy(spectrum)
    cct_k, duv = cct_duv(spectrum)
    try:
        return Colour(float(x), float(y), cct_k, duv, cri_ra(spectrum))
    except StudyError as error:
        return Colour(float(x), float(y), cct_k, duv, None, error.what)


def xy(spectrum: Photons) -> np.ndarray:
    """CIE 1931 chromaticity x, y, shape (..., 2), of spectra of shape (..., 401)."""
    xyz = _xyz(spectrum)
    return xyz[..., :2] / xyz.sum(axis=-1, keepdims=True)


def cct_duv(spectrum: Photons) -> tuple[float, float]:
    """Correlated colour temperature and distance from the Planckian locus.

    Parameters
    ----------
    spectrum : Spectrum, or ndarray of shape (401,)

    Returns
    -------
    cct_k, duv : float
        By Ohno 2014 (Leukos 10:47-55), in CIE 1960 u, v. [K, -]

    Raises
    ------
    StudyError
        So far from white, or so red or blue, that there is no colour temperature.
    """
    x, y, z = _xyz(spectrum)
    uv = np.array([4.0 * x, 6.0 * y]) / (x + 15.0 * y + 3.0 * z)
    colour = _colour()
    with colour.utilities.suppress_warnings(colour_runtime_warnings=True):  # of the bounds checked below
        cct_k, duv = (float(value) for value in colour.temperature.uv_to_CCT(uv, method="Ohno 2013"))
    if not (1000.0 <= cct_k <= 100_000.0 and abs(duv) <= 0.05):
        raise StudyError(
            f"this light has no colour temperature (nearest {cct_k:.0f} K, at Duv {duv:+.3f}).",
            hint="CIE 15 allows one within Duv 0.05. A single-colour channel has a peak, not a temperature.",
        )
    return cct_k, duv


def cri_ra(spectrum: Photons, duv_limit: float = DUV_LIMIT) -> float:
    """General colour rendering index Ra.

    Parameters
    ----------
    spectrum : Spectrum, or ndarray of shape (401,)
    duv_limit : float
        Refuse beyond it.

    Returns
    -------
    float
        CIE 13.3-1995, unrounded.

    Raises
    ------
    StudyError
        |Duv| beyond the limit: the index has no meaning there.
    """
    cct_k, duv = cct_duv(spectrum)
    if abs(duv) > duv_limit:
        raise StudyError(
            f"no rendering index: Duv {duv:+.4f} at {cct_k:.0f} K is beyond {duv_limit} (CIE 13.3).",
            hint="Report the colour temperature with its Duv instead.",
        )
    colour = _colour()
    power = colour.SpectralDistribution(_watts(spectrum), GRID_NM)
    return float(colour.colour_rendering_index(power, method="CIE 1995"))


def srgb(spectrum: Photons) -> np.ndarray:
    """Screen colour of light, its largest channel at full, for swatches; shape (..., 3), 0-1.

    Colours no screen can show are brought in by cutting negative parts.
    """
    xyz = _xyz(spectrum)
    xyz = xyz / np.maximum(xyz.max(axis=-1, keepdims=True), np.finfo(float).tiny)
    linear = np.maximum(_colour().XYZ_to_sRGB(xyz, apply_cctf_encoding=False), 0.0)
    linear = linear / np.maximum(linear.max(axis=-1, keepdims=True), np.finfo(float).tiny)
    return np.clip(_colour().models.eotf_inverse_sRGB(linear), 0.0, 1.0)


def _xyz(spectrum: Photons) -> np.ndarray:
    xyz = tristimulus(_watts(spectrum))
    if not np.all(xyz[..., 1] > 0.0):
        raise StudyError("there is no light to give a colour to.")
    return xyz


def _watts(spectrum: Photons) -> np.ndarray:
    return photons_on_grid(spectrum) / (UMOL_PER_J_NM * GRID_NM)


def _colour() -> ModuleType:
    import colour

    return colour
