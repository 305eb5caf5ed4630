"""What the spots of a meter would show, as a function of the lamps' output and the colour of the water."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicSpline

from underlit.results.result import Result
from underlit.scene.model import Scene
from underlit.studies.meter import by_channel, jobs, lit
from underlit.studies.readings import Head, Spot
from underlit.studies.store import Job, Store, run_all

COLOURS_PER_M = (0.0, 0.4, 1.2, 3.0, 8.0)  # a440 traced; between them the log of the light is a smooth curve
LEAST = 1e-6  # light where there is none, so that its logarithm is known [umol m-2 s-1]
_STEP_M = 0.01


@dataclass(frozen=True, eq=False)
class Response:
    """What the spots would show, as a function of what is to be fitted.

    Parameters
    ----------
    colour_per_m : ndarray, shape (A,)
        a440 of the traces. [m-1]
    shown : ndarray, shape (A, n, G)
        What the meter shows for each group of channels as the scene has them. [umol m-2 s-1]
    slope : ndarray, shape (n, 3)
        Relative change of the reading with the place of the head. [m-1]
    rel_err : ndarray, shape (n,)
        Relative standard error of the trace.
    groups : list of tuple of str
        Labels of the channels that share one factor, as no reading tells them apart.
    """

    colour_per_m: np.ndarray
    shown: np.ndarray = field(repr=False)
    slope: np.ndarray = field(repr=False)
    rel_err: np.ndarray = field(repr=False)
    groups: list[tuple[str, ...]]

    def at(self, colour_per_m: float) -> np.ndarray:
        """Readings by group at one colour of the water, (n, G).

        Beyond the traced colours the logarithm goes on straight, on to colours below nought too, which no water has:
        so errors near clear water stay symmetric.
        """
        log = CubicSpline(self.colour_per_m, np.log(np.maximum(self.shown, LEAST)), axis=0, bc_type="natural")
        inside = float(np.clip(colour_per_m, self.colour_per_m[0], self.colour_per_m[-1]))
        return np.exp(log(inside) + (colour_per_m - inside) * log(inside, 1))

    def readings(self, factors: np.ndarray, colour_per_m: float) -> np.ndarray:
        """What the spots show, (n,)."""
        return self.at(colour_per_m) @ factors


def trace_response(
    scene: Scene,
    spots: Sequence[Spot],
    folder: Path,
    head: Head,
    *,
    colour: bool = True,
    photons: int | None = None,
    seed: int | None = None,
) -> Response:
    """Trace what the spots would show at a few colours of the water; arguments as of `fit.fit`."""
    level = scene.water.level
    colours = COLOURS_PER_M if colour and level > 0 else (scene.water.colour_a440,)
    wanted = [jobs(scene, spots, photons, seed, {"water.colour_a440": f"{a:g} 1/m"}) for a in colours]
    traced = _traced(wanted, Store(folder))
    settings = lit(next(iter(traced[0].values())), spots)
    labels = [c.label for c in next(iter(traced[0].values())).channels]
    groups, belongs = groups_of(settings, labels)
    factors = np.array([head.shown(spot) for spot in spots])
    weights = head.weights()
    shown = [by_channel(each, spots, weights) for each in traced]
    grouped = [
        np.einsum("nm,mg,n,knm->kng", settings, belongs, factors, e.samples, optimize=True) for e in shown
    ]
    near = int(np.argmin(np.abs(np.array(colours) - scene.water.colour_a440)))
    total = grouped[near].sum(axis=2)
    with np.errstate(divide="ignore", invalid="ignore"):
        error = np.nan_to_num(total.std(axis=0, ddof=1) / np.sqrt(len(total)) / total.mean(axis=0))
    slope = _slopes(traced[near], spots, weights, settings)
    every = np.stack([g.mean(axis=0) for g in grouped])
    if len(colours) == 1:  # no colour to fit: the same light at any
        return Response(np.array([0.0, 1.0]), np.repeat(every, 2, axis=0), slope, error, groups)
    return Response(np.array(colours), every, slope, error, groups)


def _traced(wanted: list[dict[bool, Job]], store: Store) -> list[dict[bool, Result]]:
    """Traces of all colours, one after the other."""
    flat = [(number, full, job) for number, each in enumerate(wanted) for full, job in each.items()]
    found: list[dict[bool, Result]] = [{} for _ in wanted]
    for (number, full, _), (_, result) in zip(flat, run_all([job for *_, job in flat], store), strict=True):
        found[number][full] = result
    return found


def groups_of(settings: np.ndarray, labels: list[str]) -> tuple[list[tuple[str, ...]], np.ndarray]:
    """Channels that always burned together share a factor: their labels, and who belongs where, (M, G)."""
    patterns: dict[tuple[bool, ...], list[int]] = {}
    for m in range(len(labels)):
        pattern = tuple((settings[:, m] > 0).tolist())
        if any(pattern):
            patterns.setdefault(pattern, []).append(m)
    belongs = np.zeros((len(labels), len(patterns)))
    for g, members in enumerate(patterns.values()):
        belongs[members, g] = 1.0
    return [tuple(labels[m] for m in members) for members in patterns.values()], belongs


def _slopes(
    traced: dict[bool, Result], spots: Sequence[Spot], weights: np.ndarray, settings: np.ndarray
) -> np.ndarray:
    """Relative change of the light with the place of the head, (n, 3). [m-1]"""

    def light(at: np.ndarray) -> np.ndarray:
        each = by_channel(traced, spots, weights, tuple(at))
        return np.log(np.maximum(np.einsum("nm,nm->n", settings, each.value), LEAST))

    columns = []
    for axis in range(3):
        step = np.zeros(3)
        step[axis] = _STEP_M
        columns.append((light(step) - light(-step)) / (2 * _STEP_M))
    return np.stack(columns, axis=1)
