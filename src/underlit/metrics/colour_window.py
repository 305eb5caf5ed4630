"""A colour-temperature window as straight lines: linear in the light, so that it fits a linear program.

In the CIE 1960 u, v diagram lights of one correlated colour temperature lie on a straight line square to the locus of
black bodies (that is its definition). A light is hotter than T where (p - p_T) · t > 0, with p = (4 X, 6 Y) / D,
D = X + 15 Y + 3 Z, and t the direction of the locus at T. Times D, this is linear in X, Y, Z. Distance from the locus
is measured along the normal at the light's own temperature, so its bounds are straight only near that temperature.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from underlit.errors import StudyError
from underlit.spectra.observer import planckian_xy

_COOLEST_K, _HOTTEST_K = 1500.0, 20_000.0


@dataclass(frozen=True)
class ColourWindow:
    """What counts as the right colour.

    Parameters
    ----------
    low_k, high_k : float
        Correlated colour temperature. [K]
    duv : float
        Largest distance from the black-body locus, to either side.
    """

    low_k: float
    high_k: float
    duv: float = 0.01

    def __post_init__(self) -> None:
        if not _COOLEST_K <= self.low_k < self.high_k <= _HOTTEST_K:
            raise StudyError(
                f"got a colour window of {self.low_k:g}-{self.high_k:g} K, "
                f"expected a range within {_COOLEST_K:g}-{_HOTTEST_K:g} K.",
                hint="Such as 5500-7500 K.",
            )
        if not 0.0 < self.duv <= 0.05:
            raise StudyError(f"got a largest Duv of {self.duv:g}, expected one above 0 and up to 0.05.")

    def rows(self, near_k: float) -> dict[str, np.ndarray]:
        """Rows r with r · (X, Y, Z) >= 0 within the window.

        Parameters
        ----------
        near_k : float
            Colour temperature that the bounds of Duv are right at. [K]

        Returns
        -------
        dict of str to ndarray of shape (3,)
            By what each keeps the light from being: `warmer`, `cooler`, `greener`, `pinker`.
        """
        (low, along_low), (high, along_high) = _locus(self.low_k), _locus(self.high_k)
        middle, along = _locus(min(max(near_k, self.low_k), self.high_k))
        green = np.array([along[1], -along[0]])
        return {
            "warmer": _half_plane(low, along_low),
            "cooler": _half_plane(high, -along_high),
            "greener": _half_plane(middle + self.duv * green, -green),
            "pinker": _half_plane(middle - self.duv * green, green),
        }


def nearest_k(xyz: np.ndarray) -> float:
    """Correlated colour temperature of a light, within 0.1 %; kept to 1500-20000 K. [K]"""
    mired, rows = _isotherms()
    hotter = rows @ xyz
    crossing = np.flatnonzero((hotter[:-1] <= 0.0) & (hotter[1:] > 0.0))
    if not len(crossing):
        return _HOTTEST_K if hotter[0] > 0.0 else _COOLEST_K
    i = crossing[0]
    part = hotter[i] / (hotter[i] - hotter[i + 1])
    return float(1e6 / (mired[i] + part * (mired[i + 1] - mired[i])))


@cache
def _isotherms() -> tuple[np.ndarray, np.ndarray]:
    """Lines of one temperature, close together from hot to cool in mired, along which colour changes evenly."""
    mired = np.linspace(1e6 / _HOTTEST_K, 1e6 / _COOLEST_K, 400)
    return mired, np.array([_half_plane(*_locus(1e6 / m)) for m in mired])


def _locus(cct_k: float) -> tuple[np.ndarray, np.ndarray]:
    """Point of the black-body locus in u, v, and the unit direction in which it gets hotter."""
    ends = _uv(planckian_xy(cct_k * 0.999)), _uv(planckian_xy(cct_k * 1.001))
    along = ends[1] - ends[0]
    return _uv(planckian_xy(cct_k)), along / np.hypot(*along)


def _uv(xy: np.ndarray) -> np.ndarray:
    x, y = xy
    return np.array([4.0 * x, 6.0 * y]) / (-2.0 * x + 12.0 * y + 3.0)


def _half_plane(point: np.ndarray, inward: np.ndarray) -> np.ndarray:
    """Row that is positive for X, Y, Z on the inward side of a line through a point of the u, v diagram."""
    a, b = inward
    c = point @ inward
    return np.array([4.0 * a - c, 6.0 * b - 15.0 * c, -3.0 * c])
