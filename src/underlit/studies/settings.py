"""Settings of lamps at given places, by linear programming: quick enough for a search's inner loop."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from underlit.metrics.colour_window import ColourWindow, nearest_k
from underlit.metrics.spread import quantiles
from underlit.metrics.zones import Zone

SHORT_COSTS = 1e3  # lamps at full setting that a wholly unlit zone counts as
_NEAR = 0.06  # of the area on either side of a quantile that stands for it
_LEVELS = (0.5, 0.9)


@dataclass(frozen=True, eq=False)
class Aim:
    """What settings are to do: the light of each at full, what it costs, and the colour that is wanted.

    Parameters
    ----------
    zones : list of Zone
    kept : list of float
        Share of the spread in each zone that is no noise, see `spread.Area`.
    light : list of ndarray, shape (n, C)
        Of each setting at full in the cells of each zone. [umol m-2 s-1]
    cost : ndarray, shape (n,)
        Of each setting at full.
    window : ColourWindow, optional
        For the light of all lamps together.
    xyz : ndarray, shape (n, 3), optional
        Colour that each setting at full adds.
    """

    zones: list[Zone]
    kept: list[float]
    light: list[np.ndarray]
    cost: np.ndarray
    window: ColourWindow | None = None
    xyz: np.ndarray | None = None


@dataclass(frozen=True, eq=False)
class Settings:
    """Settings found.

    Parameters
    ----------
    values : ndarray, shape (n,)
        0-1.
    short : float
        Missing share of the target in the worst zone.
    cost : float
    """

    values: np.ndarray
    short: float
    cost: float

    def beats(self, other: Settings) -> bool:
        """Less missing, or as little at less cost."""
        if abs(self.short - other.short) > 1e-4:
            return self.short < other.short
        return self.cost < other.cost


def best_settings(aim: Aim, rounds: int = 2) -> Settings:
    """Settings that miss the least of the worst zone's target, and cost the least among those.

    Parameters
    ----------
    aim : Aim
    rounds : int
        How often the program is solved; the best outcome is kept.

    Notes
    -----
    The median of each zone is to reach the target, and nine tenths of its area to stay under the ceiling. The cells
    about these two quantiles stand for them; which they are depends on the settings, so each round looks them up anew.
    A single setting needs no program: it is as low as the targets and the ceilings allow.
    """
    if len(aim.cost) == 1:
        return _scaled(aim, np.ones(1))
    best, values = None, np.ones(len(aim.cost))
    for _ in range(rounds):
        step = _program(aim, values)
        if step is None:
            break
        found = _scaled(aim, step)
        if best is None or found.beats(best):
            best = found
        values = found.values
    return best or Settings(np.zeros(len(aim.cost)), 1.0, 0.0)


def _program(aim: Aim, values: np.ndarray) -> np.ndarray | None:
    """Outcome of the linear program, its quantiles straightened at given settings; None if only darkness is left."""
    n = len(values)
    upper, limits = [], []
    for light, zone, kept in _zones(aim):
        mean = light @ zone.share
        middle, high = (_stands_for(values @ light, zone.share, q) for q in _LEVELS)
        median, p90 = (mean + kept * (light @ cells - mean) for cells in (middle, high))
        upper += [[*(-median / zone.plant.target), -1.0], [*(p90 / zone.plant.ceiling), 0.0]]
        limits += [-1.0, 1.0]
    if aim.window is not None and aim.xyz is not None:
        rows = aim.window.rows(nearest_k(values @ aim.xyz)).values()
        size = float(aim.xyz[:, 1].sum()) or 1.0
        upper += [[*(-aim.xyz @ row / size), 0.0] for row in rows]
        limits += [0.0] * len(rows)
    dear = [*(aim.cost / max(aim.cost.sum(), 1e-12)), SHORT_COSTS]
    found = linprog(dear, A_ub=upper, b_ub=limits, bounds=(0, 1), method="highs")
    return found.x[:n] if found.success and found.x[:n].sum() > 1e-9 else None


def _scaled(aim: Aim, values: np.ndarray) -> Settings:
    """All lamps dimmed alike, so that the quantiles themselves are met, which the cells about them only stood for."""
    lacking, room = [], [1.0 / values.max()]
    for light, zone, kept in _zones(aim):
        median, p90 = quantiles(values @ light, zone.share, _LEVELS, kept)
        lacking.append(zone.plant.target / max(float(median), 1e-9))
        room.append(zone.plant.ceiling / max(float(p90), 1e-9))
    factor = min(max(lacking), *room)
    return Settings(values * factor, max(0.0, 1.0 - factor / max(lacking)), float(aim.cost @ values) * factor)


def _zones(aim: Aim) -> Iterator[tuple[np.ndarray, Zone, float]]:
    return zip(aim.light, aim.zones, aim.kept, strict=True)


def _stands_for(light: np.ndarray, share: np.ndarray, level: float) -> np.ndarray:
    """Weights, summing to 1, of the cells about a quantile."""
    order = np.argsort(light, kind="stable")
    middle = np.empty(len(light))
    middle[order] = np.cumsum(share[order]) - share[order] / 2
    near = share * (np.abs(middle - level) <= _NEAR)
    if not near.any():
        near = share * (np.abs(middle - level) == np.abs(middle - level).min())
    return near / near.sum()
