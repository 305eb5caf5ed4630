"""What to dim to: a median on its target, with nine tenths of the area under a ceiling."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from underlit.metrics.estimate import Estimate
from underlit.metrics.spread import Area, covering, quantiles


def dim_to(light: Area, target: float, ceiling: float) -> tuple[Estimate, str]:
    """Setting of everything that lights an area.

    Parameters
    ----------
    light : Area
        Light at the present setting.
    target, ceiling : float
        For the median, and for what nine tenths of the area stay below. [umol m-2 s-1]

    Returns
    -------
    percent : Estimate
        Relative to the present setting; above 100 where more light is needed, infinite in the dark. [%]
    binds : str
        `target` or `ceiling`.
    """
    share = light.share

    def percent(cells: np.ndarray, kept: float) -> float:
        median, p90 = quantiles(cells, share, (0.5, 0.9), kept)
        with np.errstate(divide="ignore"):
            return 100.0 * min(np.divide(target, median), np.divide(ceiling, p90))

    median, p90 = quantiles(light.cells.value, share, (0.5, 0.9), light.kept)
    return light.of(percent), "target" if target * p90 <= ceiling * median else "ceiling"


def dim_one_to(rest: Area, own: Area, target: float, ceiling: float) -> Estimate:
    """Setting of one fixture, the others staying as they are.

    Parameters
    ----------
    rest, own : Area
        Light of all others and of this one, at the present settings.
    target, ceiling : float
        As for `dim_to`. [umol m-2 s-1]

    Returns
    -------
    Estimate
        Relative to its present setting; 0 if the others alone reach target or ceiling, infinite if it lights
        nothing there. [%]
    """
    share = rest.share
    both = Area(rest.cells + own.cells, rest.area_m2)

    def percent(others: np.ndarray, mine: np.ndarray, kept: float = both.kept) -> float:
        def level(q: float, goal: float) -> float:
            return _root(lambda s: quantiles(others + s * mine, share, (q,), kept)[0], goal)

        return 100.0 * min(level(0.5, target), level(0.9, ceiling))

    found = Estimate.of(percent, rest.cells, own.cells)
    shift = both.otherwise - both.cells.value
    return covering(found, percent(rest.cells.value + shift, own.cells.value, 1.0))


def _root(function: Callable[[float], float], goal: float, most: float = 1e4) -> float:
    """Where a rising function of s >= 0 reaches a goal: 0 if it starts above it, infinity if it never does.

    False position with the Illinois change, for a function that is nearly a straight line.
    """
    low, f_low = 0.0, function(0.0) - goal
    if f_low >= 0:
        return 0.0
    high, f_high = 1.0, function(1.0) - goal
    while f_high < 0:
        if high > most:
            return np.inf
        low, f_low, high = high, f_high, 2 * high
        f_high = function(high) - goal
    s, last = high, 0
    for _ in range(60):
        if high - low <= 1e-12 * high:
            break
        s = (low * f_high - high * f_low) / (f_high - f_low)
        f = function(s) - goal
        if abs(f) <= 1e-9 * goal:
            break
        if f < 0:
            low, f_low, f_high, last = s, f, f_high * (0.5 if last < 0 else 1.0), -1
        else:
            high, f_high, f_low, last = s, f, f_low * (0.5 if last > 0 else 1.0), 1
    return float(s)


def dim_all_to(lights: list[Area], targets: list[float], ceilings: list[float]) -> tuple[Estimate, int, str]:
    """One setting of everything for several areas: as bright as the neediest asks, but over no ceiling.

    Parameters
    ----------
    lights : list of Area
        Light of each area at the present setting.
    targets, ceilings : list of float
        For its median, and for what nine tenths of it stay below. [umol m-2 s-1]

    Returns
    -------
    percent : Estimate
        Relative to the present setting; infinite in the dark. [%]
    binds_area : int
        Index of the area that decides.
    binds : str
        `target` or `ceiling` of that area.
    """
    spread_kept = [light.kept for light in lights]

    def levels(cells: Sequence[np.ndarray], kept: Sequence[float]) -> np.ndarray:
        """Settings that each target and each ceiling asks for, shape (areas, 2)."""
        ranges = zip(cells, lights, kept, strict=True)
        found = np.array([quantiles(cell, light.share, (0.5, 0.9), keep) for cell, light, keep in ranges])
        with np.errstate(divide="ignore"):
            return np.divide(np.column_stack([targets, ceilings]), found)

    def percent(cells: Sequence[np.ndarray], kept: Sequence[float]) -> float:
        wanted, most = levels(cells, kept).T
        return 100.0 * min(wanted.max(), most.min())

    wanted, most = levels([light.cells.value for light in lights], spread_kept).T
    by_target = wanted.max() <= most.min()
    decides = int(np.argmax(wanted) if by_target else np.argmin(most))
    value = Estimate.of(lambda *cells: percent(cells, spread_kept), *(light.cells for light in lights))
    value = covering(value, percent([light.otherwise for light in lights], [1.0] * len(lights)))
    return value, decides, "target" if by_target else "ceiling"
