"""From the light of a scene to the colours of a screen: adaptation of the eye, tone curve, gamut, sRGB.

colour-science gives the matrices and the transfer function; it is loaded when a picture is asked for.
"""

from __future__ import annotations

import numpy as np

from underlit.constants import UMOL_PER_J_NM
from underlit.errors import StudyError
from underlit.figures.style import _known
from underlit.spectra import GRID_NM
from underlit.spectra.observer import observer, tristimulus

CD_PER_W = 683.0  # lm/W at 555 nm
WHITES = ("adapted", "D65")
KNEE = 0.7  # of the exposure's white: below it the tone curve is straight
_D65_XY = (0.3127, 0.3290)  # white of sRGB, IEC 61966-2-1


def photon_weights() -> np.ndarray:
    """What turns photons into X, Y, Z: shape (3, 401). [cd m-2 per (umol s-1 m-2 sr-1)]

    CIE 1931 2 degree observer; Y of a radiance is its luminance.
    """
    return CD_PER_W * observer().T / (UMOL_PER_J_NM * GRID_NM)


def white_xyz(spectrum: np.ndarray) -> np.ndarray:
    """Tristimulus values of a light by its photon spectrum (401,), Y = 1; shape (3,)."""
    xyz = tristimulus(spectrum / (UMOL_PER_J_NM * GRID_NM))
    if not xyz[1] > 0.0:
        raise StudyError("all lamps are off: there is no light to see by.", hint="Set a channel above 0.")
    return xyz / xyz[1]


def to_screen(
    xyz: np.ndarray, exposure_cd_m2: float, lamp_xyz: np.ndarray, white: str = "adapted"
) -> np.ndarray:
    """Screen colours of light.

    Parameters
    ----------
    xyz : ndarray, shape (..., 3)
        CIE 1931; Y is the luminance. [cd m-2]
    exposure_cd_m2 : float
        Luminance that a straight tone curve would show as the white of the screen. [cd m-2]
    lamp_xyz : ndarray, shape (3,)
        White that the eye is adapted to.
    white : {"adapted", "D65"}
        `adapted`: colours as an eye sees them that is fully adapted to the lamps (CAT02), so that the lamps' own
        light is neutral. `D65`: as an eye does that is adapted to daylight: warm light is yellow.

    Returns
    -------
    ndarray, shape (..., 3)
        sRGB (IEC 61966-2-1), 0 to 1.

    Notes
    -----
    Colours with a negative channel, more vivid than the screen, are first mixed with the grey of their luminance. The
    tone curve then acts on the largest channel and takes the others along, which keeps hue and saturation: straight
    up to `KNEE`, then bent so that it reaches the screen's full only at infinite light.
    """
    _known(white, dict.fromkeys(WHITES), "white")
    matrix = xyz_to_linear() @ (_adaptation(lamp_xyz) if white == "adapted" else np.eye(3))
    linear = np.asarray(xyz, float) @ matrix.T / exposure_cd_m2
    shown = _without_negatives(linear)
    most = shown.max(axis=-1, keepdims=True)
    return _encode(shown * np.divide(tone(most), most, out=np.zeros_like(most), where=most > 0.0))


def tone(light: np.ndarray) -> np.ndarray:
    """Light shown, of 1, for light over the exposure's white."""
    room = 1.0 - KNEE
    bent = KNEE + room * -np.expm1(-np.maximum(light - KNEE, 0.0) / room)
    return np.where(light <= KNEE, light, bent)


def _without_negatives(linear: np.ndarray) -> np.ndarray:
    """The same colours, mixed with the grey of their luminance as far as they must be."""
    grey = np.maximum(linear @ _luminance_of_linear(), 0.0)[..., None]
    least = np.minimum(linear.min(axis=-1, keepdims=True), 0.0)
    kept = np.divide(grey, grey - least, out=np.zeros_like(grey), where=grey > 0.0)
    return np.maximum(grey + kept * (linear - grey), 0.0)


def _encode(linear: np.ndarray) -> np.ndarray:
    """Transfer function of sRGB."""
    import colour

    return np.clip(colour.models.eotf_inverse_sRGB(np.clip(linear, 0.0, 1.0)), 0.0, 1.0)


def xyz_to_linear() -> np.ndarray:
    """Matrix from X, Y, Z to linear sRGB, (3, 3)."""
    import colour

    return np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB)


def _luminance_of_linear() -> np.ndarray:
    return np.linalg.inv(xyz_to_linear())[1]


def _adaptation(lamp_xyz: np.ndarray) -> np.ndarray:
    """Matrix from colours under the lamps to those under D65 that look the same, CAT02."""
    from colour.adaptation import matrix_chromatic_adaptation_VonKries

    return matrix_chromatic_adaptation_VonKries(lamp_xyz, d65_xyz(), transform="CAT02")


def d65_xyz() -> np.ndarray:
    """White of the screen, Y = 1."""
    x, y = _D65_XY
    return np.array([x / y, 1.0, (1.0 - x - y) / y])
