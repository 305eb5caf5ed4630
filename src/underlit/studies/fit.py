"""From readings back to the tank: output of the lamps and colour of the water, with their uncertainties."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares
from scipy.stats import norm as normal
from scipy.stats import t as student

from underlit.errors import SceneError, StudyError
from underlit.metrics.summary import PPFD_UNIT, Table, Value, facts
from underlit.results.result import Result
from underlit.scene.edit import change
from underlit.scene.model import Scene
from underlit.studies.meter import by_channel, jobs, lit
from underlit.studies.readings import Head, Spot
from underlit.studies.store import Job, Store, run_all

COLOURS_PER_M = (
    0.0,
    0.4,
    1.2,
    3.0,
    8.0,
)  # a440 that are traced; between them the log of the light is a smooth curve
NOISE, PLACING_M, DISPLAY = (
    0.05,
    0.01,
    0.5,
)  # usual errors of a reading: relative, of place, and of the display's step
OUTLIER = 4.0  # expected errors, after allowing for readings that scatter more than expected
_STEP_M = 0.01
_LEAST = 1e-6  # light where there is none, so that its logarithm is known [umol m-2 s-1]


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
        log = CubicSpline(
            self.colour_per_m, np.log(np.maximum(self.shown, _LEAST)), axis=0, bc_type="natural"
        )
        inside = float(np.clip(colour_per_m, self.colour_per_m[0], self.colour_per_m[-1]))
        return np.exp(log(inside) + (colour_per_m - inside) * log(inside, 1))

    def readings(self, factors: np.ndarray, colour_per_m: float) -> np.ndarray:
        """What the spots show, (n,)."""
        return self.at(colour_per_m) @ factors


@dataclass(frozen=True)
class Quantity:
    """A fitted number with its standard error and 95 % interval."""

    value: float
    std_err: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Fit:
    """What readings say about a tank.

    Parameters
    ----------
    spots : list of Spot
    groups : list of tuple of str
        Channels that share a factor.
    factors : list of Quantity
        Output of each group over that of the scene.
    colour_per_m : Quantity or None
        a440 of the water; None if it was not fitted. [m-1]
    before, after : ndarray, shape (n,)
        Readings by the scene as it was, and as fitted. [umol m-2 s-1]
    expected_error : ndarray, shape (n,)
        Standard error that a reading was expected to have. [umol m-2 s-1]
    outlier : ndarray of bool, shape (n,)
        Readings that were left out, as they lie too far off.
    scatter : float
        Root of the mean squared residual, in expected errors; about 1 if the expected errors are right.
    """

    spots: list[Spot]
    groups: list[tuple[str, ...]]
    factors: list[Quantity]
    colour_per_m: Quantity | None
    before: np.ndarray
    after: np.ndarray
    expected_error: np.ndarray
    outlier: np.ndarray
    scatter: float

    @property
    def residual(self) -> np.ndarray:
        """Reading less fit, in expected errors."""
        return (np.array([spot.reading for spot in self.spots]) - self.after) / self.expected_error

    def tables(self) -> list[Table]:
        """Tables `fit` and `readings`."""
        rows: list[tuple[str, Value, str]] = []
        for group, factor in zip(self.groups, self.factors, strict=True):
            rows.append((f"output of {' + '.join(group)}", _words(factor), "of the scene's"))
        if self.colour_per_m is not None:
            rows.append(("water colour a440", _words(self.colour_per_m), "m⁻¹"))
        rows.append(("readings used", int((~self.outlier).sum()), f"of {len(self.spots)}"))
        rows.append(("scatter over what was expected", self.scatter, ""))
        note = "± is the standard error, in brackets the 95 % interval."
        return [facts("fit", "What the readings say", rows, note), self._readings()]

    def _readings(self) -> Table:
        rows: list[dict[str, Value]] = []
        for i, spot in enumerate(self.spots):
            x, y, z = spot.place_m
            off = 100 * (spot.reading / self.after[i] - 1) if self.after[i] > 0 else None
            rows.append({
                "x": 100 * x, "y": 100 * y, "z": 100 * z, "reading": spot.reading, "scene": float(self.before[i]),
                "fit": float(self.after[i]), "off": off, "": "outlier" if self.outlier[i] else "",
            })  # fmt: skip
        columns = {"x": "cm", "y": "cm", "z": "cm", "reading": PPFD_UNIT, "scene": PPFD_UNIT, "fit": PPFD_UNIT,
                   "off": "%", "": ""}  # fmt: skip
        return Table("readings", "Readings", columns, rows, "Outliers were left out of the fit.")

    def corrected(self, scene: Scene) -> Scene:
        """The scene with the output of its lamps and the colour of its water put right.

        Raises
        ------
        StudyError
            If a lamp would then give more photons than its watts can make.
        """
        values: dict[str, str] = {}
        of = {label: q.value for group, q in zip(self.groups, self.factors, strict=True) for label in group}
        for i, fixture in enumerate(scene.fixture, start=1):
            for j, channel in enumerate(fixture.channel, start=1):
                factor = of.get(f"{fixture.name} / {channel.name}")
                if factor is not None:
                    word, value, unit = _output(channel)
                    values[f"fixture[{i}].channel[{j}].{word}"] = f"{value * factor:.5g} {unit}"
        if self.colour_per_m is not None:
            values["water.colour_a440"] = f"{max(self.colour_per_m.value, 0.0):.3g} 1/m"
        try:
            return change(scene, values)
        except SceneError as error:
            raise StudyError(
                f"the readings ask for lamps that cannot be:\n{error}",
                hint="Look at the immersion factor, at `lamp_pct`, and at the power of the lamps.",
            ) from error


def fit(
    scene: Scene,
    spots: Sequence[Spot],
    folder: Path,
    head: Head | None = None,
    *,
    colour: bool = True,
    photons: int | None = None,
    seed: int | None = None,
    noise: float = NOISE,
    placing_m: float = PLACING_M,
) -> Fit:
    """Fit output of the lamps and colour of the water to readings.

    Parameters
    ----------
    scene : Scene
    spots : sequence of Spot
        With readings.
    folder : Path
        Where the traces are kept.
    head : Head, optional
    colour : bool
        Whether to fit the colour of the water; that takes readings under water at several depths.
    photons, seed : int, optional
        Of each trace.
    noise : float
        Relative standard error of a reading.
    placing_m : float
        Standard error of the head's place in each direction. [m]

    Returns
    -------
    Fit

    Raises
    ------
    StudyError
        If there are too few readings.
    """
    model = response(scene, spots, folder, head or Head(), colour=colour, photons=photons, seed=seed)
    return solve(model, list(spots), scene.water.colour_a440, colour=colour, noise=noise, placing_m=placing_m)


def response(
    scene: Scene,
    spots: Sequence[Spot],
    folder: Path,
    head: Head,
    *,
    colour: bool = True,
    photons: int | None = None,
    seed: int | None = None,
) -> Response:
    """Trace what the spots would show at a few colours of the water; arguments as of `fit`."""
    level = scene.water.level
    colours = COLOURS_PER_M if colour and level > 0 else (scene.water.colour_a440,)
    wanted = [jobs(scene, spots, photons, seed, {"water.colour_a440": f"{a:g} 1/m"}) for a in colours]
    traced = _traced(wanted, Store(folder))
    settings = lit(next(iter(traced[0].values())), spots)
    labels = [c.label for c in next(iter(traced[0].values())).channels]
    groups, belongs = _groups(settings, labels)
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


def solve(
    model: Response, spots: list[Spot], start_colour: float, *, colour: bool = True, noise: float = NOISE,
    placing_m: float = PLACING_M,
) -> Fit:  # fmt: skip
    """Fit a response that has been traced; arguments as of `fit`.

    Notes
    -----
    Robust least squares first (soft L1), each reading weighed by the error that noise, placing and trace are expected
    to give it. Readings more than `OUTLIER` errors off are left out, and the rest is fitted by plain least squares.
    Its errors are those expected, or those that the scatter shows, whichever is larger.
    """
    reading = np.array([spot.reading for spot in spots])
    n_groups, n = len(model.groups), len(spots)
    colour = colour and any(spot.in_water for spot in spots)
    n_free = n_groups + colour
    if n < n_free + 2:
        raise StudyError(
            f"got {n} readings for {n_free} unknown numbers, expected {n_free + 2} or more.",
            hint="Take more readings.",
        )

    def shown(p: np.ndarray) -> np.ndarray:
        return model.readings(np.exp(p[:n_groups]), p[n_groups] if colour else start_colour)

    begin = _begin(model, reading, start_colour, n_groups, colour)
    error = _expected(model, shown(begin), noise, placing_m)
    used = np.ones(n, bool)
    for _ in range(2):  # the expected errors follow the fit
        robust = least_squares(
            lambda p, e=error: (shown(p) - reading) / e, begin, loss="soft_l1", x_scale="jac"
        )
        begin, error = robust.x, _expected(model, shown(robust.x), noise, placing_m)
    off = np.abs(reading - shown(begin)) / error
    used = off <= OUTLIER * max(1.0, 1.4826 * float(np.median(off)))
    if used.sum() < n_free + 2:
        raise StudyError("the readings agree neither with the scene nor with each other.", hint=_CHECK)
    final = least_squares(lambda p: ((shown(p) - reading) / error)[used], begin, x_scale="jac")
    freedom = int(used.sum()) - n_free
    scatter = math.sqrt(2 * final.cost / freedom)
    spread = np.sqrt(np.diag(_covariance(final.jac))) * max(1.0, scatter)
    # 95 %: by the expected errors, or by Student's t for those that the scatter shows, whichever reaches further.
    reach = max(float(normal.ppf(0.975)), float(student.ppf(0.975, freedom)) * scatter) / max(1.0, scatter)
    factors = [
        Quantity(math.exp(p), math.exp(p) * s, math.exp(p - reach * s), math.exp(p + reach * s))
        for p, s in zip(final.x[:n_groups], spread[:n_groups], strict=True)
    ]
    water = None
    if colour:
        a, s = float(final.x[-1]), float(spread[-1])
        water = Quantity(max(a, 0.0), s, max(a - reach * s, 0.0), max(a + reach * s, 0.0))
    before = model.readings(np.ones(n_groups), start_colour)
    return Fit(spots, model.groups, factors, water, before, shown(final.x), error, ~used, scatter)


_CHECK = "Look at the column `z_cm`, at the immersion factor and at `lamp_pct`."


def _begin(
    model: Response, reading: np.ndarray, start_colour: float, n_groups: int, colour: bool
) -> np.ndarray:
    """All lamps alike, the water as the scene has it."""
    before = model.readings(np.ones(n_groups), start_colour)
    if not (before > _LEAST * 10).any() or not (reading > 0).any():
        raise StudyError("there is no light at the spots.", hint=_CHECK)
    ratio = float(np.median(reading[before > 0] / before[before > 0]))
    common = math.log(min(max(ratio, 0.01), 100.0))
    return np.array([common] * n_groups + [start_colour] * colour)


def _expected(model: Response, shown: np.ndarray, noise: float, placing_m: float) -> np.ndarray:
    """Standard error that each reading is expected to have. [umol m-2 s-1]"""
    relative = noise**2 + model.rel_err**2 + placing_m**2 * (model.slope**2).sum(axis=1)
    return np.sqrt(shown**2 * relative + DISPLAY**2)


def _covariance(jacobian: np.ndarray) -> np.ndarray:
    """Covariance of the fitted numbers for errors of 1."""
    information = jacobian.T @ jacobian
    size = np.sqrt(np.diag(information))
    if not (size > 0).all() or np.linalg.cond(information / np.outer(size, size)) > 1e6:
        raise StudyError(
            "the readings cannot tell the unknown numbers apart.",
            hint="Read at several depths, or each lamp alone (column `lamps`), or leave out the colour: --no-colour.",
        )
    return np.linalg.inv(information)


def _traced(wanted: list[dict[bool, Job]], store: Store) -> list[dict[bool, Result]]:
    """Traces of all colours, one after the other."""
    flat = [(number, full, job) for number, each in enumerate(wanted) for full, job in each.items()]
    found: list[dict[bool, Result]] = [{} for _ in wanted]
    for (number, full, _), (_, result) in zip(flat, run_all([job for *_, job in flat], store), strict=True):
        found[number][full] = result
    return found


def _groups(settings: np.ndarray, labels: list[str]) -> tuple[list[tuple[str, ...]], np.ndarray]:
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
        return np.log(np.maximum(np.einsum("nm,nm->n", settings, each.value), _LEAST))

    columns = []
    for axis in range(3):
        step = np.zeros(3)
        step[axis] = _STEP_M
        columns.append((light(step) - light(-step)) / (2 * _STEP_M))
    return np.stack(columns, axis=1)


def _output(channel) -> tuple[str, float, str]:
    """The key that states a channel's output, its value and unit."""
    if channel.reading is not None:
        return "reading.ppfd", channel.reading.ppfd, "umol/m^2/s"
    for word, unit in (("efficacy", "umol/J"), ("lumens", "lm"), ("flux", "umol/s")):
        if getattr(channel, word) is not None:
            return word, getattr(channel, word), unit
    raise AssertionError("a channel without output is refused when the scene is read")


def _words(one: Quantity) -> str:
    from underlit.metrics.estimate import rounded, with_error

    low, high = (rounded(v, one.std_err) for v in (one.low, one.high))
    return f"{with_error(one.value, one.std_err)} ({low} to {high})"
