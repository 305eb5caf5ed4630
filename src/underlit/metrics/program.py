"""The linear program behind `balance`: settings that give every zone its target, under ceilings and other limits.

The median of a zone is no linear function of the settings, but it grows in proportion to them and bends little: near
given settings it is the light of the cells around the median, summed over the lamps. So the program is solved, its
outcome scaled to where the true medians and ceilings allow, the cells looked up anew, and so on; a step that makes
things no better is tried again with less reach, until none does (sequential linear programming, after
R. E. Griffith and R. A. Stewart, Management Science 7 (1961) 379, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from underlit.errors import StudyError
from underlit.metrics.colour_window import ColourWindow, nearest_k

_ROUNDS = 40
_LEAST_REACH = 2e-4  # of a setting; steps smaller than this are not tried
_BETTER = 1e-6  # by how much a step must help to be taken
_COST_WEIGHT = 1e-4  # of all watts, against missing light
_SHARE_AROUND = 0.04  # of a zone's area, taken to either side of the median to look up its cells


@dataclass(frozen=True, eq=False)
class Zoned:
    """What one zone asks, and the light that each free factor gives it.

    Parameters
    ----------
    name : str
    light : ndarray, shape (V, C)
        [umol m-2 s-1]
    share : ndarray, shape (C,)
        Share of its area in each cell.
    kept : float
        Spread to keep, see `spread.Area`.
    target, ceiling : float
        Of the median, and of what nine tenths of it stay below. [umol m-2 s-1]
    """

    name: str
    light: np.ndarray
    share: np.ndarray
    kept: float
    target: float
    ceiling: float

    def level(self, factors: np.ndarray, q: float) -> np.ndarray:
        """Row g with g · factors the quantile of the light, exactly at these factors, shape (V,)."""
        total = factors @ self.light
        order = np.argsort(total)
        middle = np.cumsum(self.share[order]) - self.share[order] / 2
        quantile = np.interp(q, middle, total[order])
        near = np.clip(1.0 - abs(middle - q) / _SHARE_AROUND, 0.0, None) * self.share[order]
        if not near.any():
            near[np.argmin(abs(middle - q))] = 1.0
        row = self.light[:, order] @ near / near.sum()
        at = factors @ row
        row = row * (quantile / at) if at > 0 else row
        return self.kept * row + (1.0 - self.kept) * (self.light @ self.share)


@dataclass(frozen=True)
class Limit:
    """One limit `row · factors <= most`; `scale` is what a relaxation of 1 adds to `most`."""

    name: str
    row: np.ndarray = field(repr=False)
    most: float
    scale: float


@dataclass(frozen=True, eq=False)
class Program:
    """A dimming problem.

    Parameters
    ----------
    zones : list of Zoned
    basis : ndarray, shape (M, V)
        Settings of the channels per free factor.
    least : ndarray, shape (V,)
        Lowest value of each factor.
    names : list of str
        Of the channels.
    power_w : ndarray, shape (M,)
        [W]
    most : ndarray, shape (M,)
        Highest setting of each channel.
    watts : dict of str to (ndarray of shape (M,), float)
        Which channels share a limit, by its name, and the limit. [W]
    window : ColourWindow, optional
    xyz : ndarray, shape (V, 3), optional
        Colour that each factor gives where the window holds.
    cost : ndarray, shape (M,), optional
        What is to be least, of each channel at full; default the watts.
    """

    zones: list[Zoned]
    basis: np.ndarray
    least: np.ndarray
    names: list[str]
    power_w: np.ndarray
    most: np.ndarray
    watts: dict[str, tuple[np.ndarray, float]]
    window: ColourWindow | None = None
    xyz: np.ndarray | None = None
    cost: np.ndarray | None = None

    @property
    def dear(self) -> np.ndarray:
        """What is to be least, of each channel at full, (M,)."""
        return self.power_w if self.cost is None else self.cost

    def with_light(self, light: list[np.ndarray], xyz: np.ndarray | None) -> Program:
        """The same problem under other light."""
        zones = [replace(zone, light=each) for zone, each in zip(self.zones, light, strict=True)]
        return replace(self, zones=zones, xyz=xyz)

    def limits(self, factors: np.ndarray) -> list[Limit]:
        """All limits but the targets, straightened at these factors."""
        found = [
            Limit(f"ceiling of {zone.name}", zone.level(factors, 0.9), zone.ceiling, zone.ceiling)
            for zone in self.zones
        ]
        for name, row, most in zip(self.names, self.basis, self.most, strict=True):
            found.append(Limit(f"full power of {name}", row, most, most or 1.0))
        for name, (mine, most) in self.watts.items():
            found.append(Limit(name, (mine * self.power_w) @ self.basis, most, most))
        if self.window is not None and self.xyz is not None:
            rows = self.window.rows(nearest_k(factors @ self.xyz))
            brightness = float((factors @ self.xyz)[1]) or 1.0
            for name, row in rows.items():
                found.append(Limit(f"colour window, not to be {name}", -self.xyz @ row, 0.0, brightness))
        return found


@dataclass(frozen=True, eq=False)
class Solution:
    """Outcome of a program.

    Parameters
    ----------
    factors : ndarray, shape (V,)
    short : ndarray, shape (Z,)
        Share of each target that is missing, 0 where it is met.
    excess : float
        How far the light lies outside the colour window or over a ceiling, relative; about 0.
    cost : float
        Watts, or what else is to be least.
    """

    factors: np.ndarray
    short: np.ndarray
    excess: float
    cost: float

    def beats(self, other: Solution) -> bool:
        """Less missing, or as little at less cost."""
        mine, its = (_missing(one.short) + 10.0 * one.excess for one in (self, other))
        if abs(mine - its) > _BETTER:
            return mine < its
        return self.cost < other.cost * (1.0 - _BETTER)


def solve(program: Program, start: np.ndarray | None = None, reach: float = 1.0) -> Solution:
    """Factors that miss the targets least, the worst-off zone first, and then cost the least (watts, if nothing else).

    Parameters
    ----------
    program : Program
    start : ndarray, shape (V,), optional
        Where the search begins; default all lamps as bright as they go.
    reach : float
        How far settings may move in the first step.

    Returns
    -------
    Solution
    """
    near = _start(program) if start is None else start
    best = _judged(program, near)
    for _ in range(_ROUNDS):
        step = _step(program, best.factors, reach)
        found = None if step is None else _judged(program, step)
        if found is not None and found.beats(best):
            best = found
        else:
            reach *= 0.3
        if reach < _LEAST_REACH:
            break
    return best


def binding(program: Program, solution: Solution) -> list[str]:
    """What decides: limits that hold targets back where some are missing, else targets and limits met just so."""
    limits, wanted = program.limits(solution.factors), _wanted(program, solution.factors)
    short, held_by = _fewest_missing(program, limits, wanted)
    return held_by if short.max(initial=0.0) > 1e-4 else _least_cost(program, limits, wanted, short)


def _missing(short: np.ndarray) -> float:
    return float(short.max(initial=0.0) + 0.1 * short.mean())


def _step(program: Program, factors: np.ndarray, reach: float) -> np.ndarray | None:
    """Outcome of the straightened program within reach of given factors; None if there is none."""
    limits, wanted = program.limits(factors), _wanted(program, factors)
    present = program.basis @ factors
    fence = [
        Limit("", sign * row, sign * at + reach, 1.0)
        for row, at in zip(program.basis, present, strict=True)
        for sign in (1.0, -1.0)
    ]
    try:
        return _missing_then_cost(program, limits + fence, wanted)
    except StudyError:
        if reach < 1.0:
            return None
        raise


def _judged(program: Program, factors: np.ndarray) -> Solution:
    """The best multiple of some factors, and what it comes to in truth."""
    limits, wanted = program.limits(factors), _wanted(program, factors)
    if not program.least.any():
        used = [(limit.row @ factors, limit.most) for limit in limits if limit.most > 0]
        given = wanted @ factors
        with np.errstate(divide="ignore"):
            scale = min(np.divide(1.0, given).max(), *(most / at for at, most in used if at > 0), 1e9)
        factors = factors * scale
    over = [(limit.row @ factors - limit.most) / limit.scale for limit in limits]
    return Solution(
        factors,
        np.maximum(1.0 - wanted @ factors, 0.0),
        max(0.0, *over),
        float(program.dear @ program.basis @ factors),
    )


def relaxations(program: Program, solution: Solution, binds: list[str]) -> dict[str, float]:
    """For each limit that holds targets back: what it would have to be for all targets to be met, others kept.

    Returns
    -------
    dict of str to float
        New limit over the present one (for the colour window: 0), only where that alone would do.
    """
    limits, wanted = program.limits(solution.factors), _wanted(program, solution.factors)
    found = {}
    for eased in limits:
        if eased.name in binds:
            more = _ease(program, limits, wanted, eased)
            if more is not None:
                found[eased.name] = 1.0 + more if eased.most > 0 else 0.0
    return found


def _start(program: Program) -> np.ndarray:
    """All factors alike, as high as the first channel at its top allows."""
    with np.errstate(divide="ignore", invalid="ignore"):
        tops = program.most / program.basis.sum(axis=1)
    tops = tops[np.isfinite(tops)]
    return np.full(program.basis.shape[1], tops.min() if len(tops) else 1.0)


def _wanted(program: Program, factors: np.ndarray) -> np.ndarray:
    """Median of each zone over its target, per factor, (Z, V)."""
    return np.array([zone.level(factors, 0.5) / zone.target for zone in program.zones])


def _matrix(limits: list[Limit], n: int) -> np.ndarray:
    return np.array([limit.row for limit in limits]).reshape(-1, n)


def _missing_then_cost(program: Program, limits: list[Limit], wanted: np.ndarray) -> np.ndarray:
    """Factors that miss the least and, next to that, cost the least, in one program."""
    rows, most, cost = _tableau(program, limits, wanted)
    n = program.basis.shape[1]
    cost[:n] = _COST_WEIGHT * _cost(program) / max(float(program.dear @ program.most), 1e-6)
    return _linprog(program, cost, rows, most).x[:n]


def _fewest_missing(
    program: Program, limits: list[Limit], wanted: np.ndarray
) -> tuple[np.ndarray, list[str]]:
    """Missing share of each target, and the limits that hold them back."""
    rows, most, cost = _tableau(program, limits, wanted)
    n, z = program.basis.shape[1], len(program.zones)
    done = _linprog(program, cost, rows, most)
    felt = done.ineqlin.marginals[: len(limits)] * [limit.scale for limit in limits]
    return done.x[n : n + z], [limit.name for limit, m in zip(limits, felt, strict=True) if m < -1e-6]


def _tableau(
    program: Program, limits: list[Limit], wanted: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows, their most, and cost of what is missing.

    Unknowns: the factors, the missing share of each zone, and the largest of them.
    """
    n, z = program.basis.shape[1], len(program.zones)
    rows = np.block(
        [
            [_matrix(limits, n), np.zeros((len(limits), z + 1))],
            [-wanted, -np.eye(z), np.zeros((z, 1))],
            [np.zeros((z, n)), np.eye(z), -np.ones((z, 1))],
        ]
    )
    most = np.concatenate([[limit.most for limit in limits], -np.ones(z), np.zeros(z)])
    return rows, most, np.concatenate([np.zeros(n), np.full(z, 0.1 / z), [1.0]])


def _cost(program: Program) -> np.ndarray:
    """Cost per factor, with a whisper of light in it so that lamps that draw nothing are not left on at random."""
    return (program.dear + 1e-6) @ program.basis


def _least_cost(program: Program, limits: list[Limit], wanted: np.ndarray, short: np.ndarray) -> list[str]:
    """What decides the factors that cost the least with no more missing than must be."""
    n, cost = program.basis.shape[1], _cost(program)
    rows = np.vstack([_matrix(limits, n), -wanted])
    most = np.concatenate([[limit.most for limit in limits], short - 1.0 + 1e-9])
    done = _linprog(program, cost, rows, most)
    names = [limit.name for limit in limits] + [f"target of {zone.name}" for zone in program.zones]
    felt = zip(names, done.ineqlin.marginals, strict=True)
    return [name for name, marginal in felt if marginal < -1e-9 * max(cost.max(), 1.0)]


def _ease(program: Program, limits: list[Limit], wanted: np.ndarray, eased: Limit) -> float | None:
    """How far one limit must give way, in its own scale, for all targets to be met; None if that is not enough."""
    n = program.basis.shape[1]
    gives = np.array([-limit.scale if limit is eased else 0.0 for limit in limits])[:, None]
    rows = np.vstack(
        [
            np.hstack([_matrix(limits, n), gives]),
            np.hstack([-wanted, np.zeros((len(wanted), 1))]),
        ]
    )
    most = np.concatenate([[limit.most for limit in limits], -np.ones(len(wanted))])
    done = _linprog(program, np.append(np.zeros(n), 1.0), rows, most, must=False)
    return float(done.x[-1]) if done.status == 0 else None


def _linprog(
    program: Program, cost: np.ndarray, rows: np.ndarray, most: np.ndarray, must: bool = True
) -> Any:
    from scipy.optimize import linprog

    least = np.append(program.least, np.zeros(len(cost) - len(program.least)))
    bounds = np.column_stack([least, np.full(len(cost), np.inf)])
    done = linprog(cost, A_ub=rows, b_ub=most, bounds=bounds, method="highs")
    if must and done.status == 2:
        raise StudyError(
            "the limits cannot be kept even with all lamps off: light from the window alone breaks them.",
            hint="Raise the ceilings, drop the colour window, or shade the window.",
        )
    if must and done.status != 0:
        raise RuntimeError(f"the dimming program failed: {done.message}")
    return done
