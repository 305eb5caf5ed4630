"""The view from the front for the page: a small picture of each channel's light, which add up as light does."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from PIL import Image

from underlit.errors import StudyError
from underlit.figures import screen
from underlit.figures.reading import Reading
from underlit.figures.view import can_be_seen, channels_seen, usual_exposure_cd_m2
from underlit.journal.parcel import Parcel

GAMMA = 2.2  # of what the pictures hold: steps as even to the eye as those of a screen
_ALL_PIXELS = 800_000  # of all channels' pictures together
_PIXELS = (90_000, 220_000)  # of one of them, least and most
_QUALITY = 90
_BRIGHTEST = 99.9  # percentile that is the last step; the few pixels above it are glints
LIMITS = (
    "What a viewer before the front pane would see: traced light on matt surfaces, through water and glass, in the "
    "colours of this screen. Grain of soil and hardscape and the clumps of leaves are decoration. Soil is as bright "
    "as its light on the horizontal says. Plants without a canopy, floating plants, the haze of cloudy water, waves, "
    "gloss, caustics and the lamps are not drawn; the room is dark. An eye is used to its light in part: what it "
    "sees lies between the two whites. Colours differ from screen to screen: compare lamps on one screen only."
)


def front_record(read: Reading, parcel: Parcel) -> dict[str, Any] | None:
    """Pictures and what turns them into light again; None where nothing can be seen.

    Parameters
    ----------
    read : Reading
        At the setting that the usual exposure is for; if that is dark, of all lamps at full.
    parcel : Parcel
        Takes in the pictures, a JPEG for each channel at full setting.

    Notes
    -----
    Red, green and blue of a picture hold X, Y and Z of the light over `scale`, to the power of 1 / `gamma`.
    """
    n = len(read.res.channels)
    full = read.at(np.ones(n))
    if not can_be_seen(full):
        return None
    n_pixels = int(np.clip(_ALL_PIXELS // n, *_PIXELS))
    pictures = read.once("front pictures", lambda: [_coded(xyz) for xyz in channels_seen(read, n_pixels)])
    x, soil = read.soil_along(0, 0.0)
    return {
        "size": list(pictures[0][0].shape[1::-1]),
        "gamma": GAMMA,
        "scales": [scale.tolist() for _, scale in pictures],
        "pictures": [parcel.add(np.frombuffer(_jpeg(steps), np.uint8), "u1") for steps, _ in pictures],
        "lamps": _lamp_colours(read).tolist(),
        "exposure": _exposure(read, full),
        "soil": np.round(np.column_stack([x, soil]), 5).tolist(),
    }


def screen_record() -> dict[str, Any]:
    """What the page needs to show light as `figures.screen` does."""
    from colour.adaptation import CHROMATIC_ADAPTATION_TRANSFORMS

    linear, cones = screen.xyz_to_linear(), np.asarray(CHROMATIC_ADAPTATION_TRANSFORMS["CAT02"])
    return {
        "linear": linear.tolist(),
        "luminance": np.linalg.inv(linear)[1].tolist(),
        "cones": cones.tolist(),
        "fromCones": np.linalg.inv(cones).tolist(),
        "white": screen.d65_xyz().tolist(),
        "knee": screen.KNEE,
    }


def _coded(xyz: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Steps 0..255 of X, Y, Z (height, width, 3), and the light of the last step, (3,)."""
    scale = np.maximum(np.percentile(xyz.reshape(-1, 3), _BRIGHTEST, axis=0), 1e-9)
    steps = 255.0 * np.clip(xyz / scale, 0.0, 1.0) ** (1.0 / GAMMA)
    return np.round(steps).astype(np.uint8), scale


def _jpeg(steps: np.ndarray) -> bytes:
    held = io.BytesIO()
    Image.fromarray(steps).save(held, "JPEG", quality=_QUALITY, subsampling=0, optimize=True)
    return held.getvalue()


def _lamp_colours(read: Reading) -> np.ndarray:
    """X, Y, Z that each channel adds to the light of the lamps at full setting, (M, 3), in units of their own."""
    return np.array([channel.spectrum for channel in read.res.channels]) @ screen.photon_weights().T


def _exposure(read: Reading, full: Reading) -> float:
    try:
        return usual_exposure_cd_m2(read)
    except StudyError:
        return usual_exposure_cd_m2(full)
