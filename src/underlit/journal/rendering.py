"""What the page needs for the rendering index Ra of any mix of the lamps (CIE 13.3)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from underlit.constants import UMOL_PER_J_NM
from underlit.journal.parcel import Parcel
from underlit.metrics.colour import DUV_LIMIT
from underlit.spectra import GRID_NM
from underlit.spectra.observer import observer, planckian, tristimulus

N_SAMPLES = 8  # of the test colours of CIE 13.3: Ra is their mean
DAYLIGHT_FROM_K = 5000.0  # daylight is the reference there and above, a black body below
_STEP_MIRED = 8.0
_MOST_MIRED = 1000.0
_LEAST_MIRED = 40.0  # 25 000 K: CIE 15 knows no daylight bluer than that


def photon_weights() -> dict[str, np.ndarray]:
    """What turns photons into X, Y, Z of a white sheet and of each test colour, (401,) each, by name."""
    seen = observer().T / (UMOL_PER_J_NM * GRID_NM)
    sheets = [np.ones(len(GRID_NM)), *_test_colours()]
    return {
        f"{letter}{n or ''}": sheet * row
        for n, sheet in enumerate(sheets)
        for letter, row in zip("XYZ", seen, strict=True)
    }


def rendering_record(parcel: Parcel) -> dict[str, Any]:
    """X, Y, Z of the sheet and the test colours in the reference light, by its colour temperature.

    For black bodies and for daylight: `first` and `step` in mired (1e6 K over the temperature), `xyz` of shape
    (n, 9, 3).
    """
    turn = 1e6 / DAYLIGHT_FROM_K
    daylight = np.arange(_LEAST_MIRED, turn + 1.0, _STEP_MIRED)
    black = np.arange(turn, _MOST_MIRED + 1.0, _STEP_MIRED)
    return {
        "limit": DUV_LIMIT,
        "turn": turn,
        "daylight": _table(daylight, _daylight, parcel),
        "black": _table(black, planckian, parcel),
    }


def _table(mired: np.ndarray, light: Callable[[float], np.ndarray], parcel: Parcel) -> dict[str, Any]:
    xyz = np.array([_seen(light(1e6 / each)) for each in mired])
    return {"first": mired[0], "step": _STEP_MIRED, "xyz": parcel.add(xyz, "f4")}


def _seen(watts_nm: np.ndarray) -> np.ndarray:
    """X, Y, Z of the sheet and the test colours in a light, (9, 3), Y of the sheet 100."""
    xyz = tristimulus(watts_nm * np.vstack([np.ones(len(GRID_NM)), *_test_colours()]))
    return 100.0 * xyz / xyz[0, 1]


def _test_colours() -> np.ndarray:
    """Reflectances of the first eight test colours of CIE 13.3, (8, 401)."""
    from colour.quality.datasets.tcs import INDEXES_TO_NAMES_TCS_CIE1995, SDS_TCS_CIE1995

    named = [SDS_TCS_CIE1995[INDEXES_TO_NAMES_TCS_CIE1995[n]] for n in range(1, N_SAMPLES + 1)]
    return np.array([np.interp(GRID_NM, colour.wavelengths, colour.values) for colour in named])


def _daylight(cct_k: float) -> np.ndarray:
    """A phase of daylight (CIE 15) on `GRID_NM`, in power per nm."""
    from colour.colorimetry import sd_CIE_illuminant_D_series
    from colour.temperature import CCT_to_xy_CIE_D

    daylight = sd_CIE_illuminant_D_series(CCT_to_xy_CIE_D(cct_k))
    return np.interp(GRID_NM, daylight.wavelengths, daylight.values)
