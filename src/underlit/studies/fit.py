"""From readings back to the tank: output of the lamps and colour of the water, with their uncertainties."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import norm as normal
from scipy.stats import t as student

from underlit.errors import StudyError
from underlit.scene.model import Scene
from underlit.studies.fitted import Fit, Quantity
from underlit.studies.readings import Head, Spot
from underlit.studies.response import LEAST, Response, trace_response

NOISE, PLACING_M, DISPLAY = 0.05, 0.01, 0.5  # usual errors: relative, of place, of the display's step
OUTLIER = 4.0  # expected errors, after allowing for readings that scatter more than expected
_CHECK = "Look at the column `z_cm`, at the immersion factor and at `lamp_pct`."


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
    model = trace_response(scene, spots, folder, head or Head(), colour=colour, photons=photons, seed=seed)
    return solve(model, list(spots), scene.water.colour_a440, colour=colour, noise=noise, placing_m=placing_m)


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
    colour = colour and any(spot.in_water for spot in spots)
    problem = _Problem(model, reading, start_colour, colour, noise, placing_m)
    if len(spots) < problem.n_free + 2:
        raise StudyError(
            f"got {len(spots)} readings for {problem.n_free} unknown numbers, expected {problem.n_free + 2} or more.",
            hint="Take more readings.",
        )
    begin, error = _robust(problem)
    off = np.abs(reading - problem.shown(begin)) / error
    used = off <= OUTLIER * max(1.0, 1.4826 * float(np.median(off)))
    if used.sum() < problem.n_free + 2:
        raise StudyError("the readings agree neither with the scene nor with each other.", hint=_CHECK)
    final = least_squares(lambda p: ((problem.shown(p) - reading) / error)[used], begin, x_scale="jac")
    scatter = math.sqrt(2 * final.cost / (int(used.sum()) - problem.n_free))
    factors, water = _quantities(problem, final, int(used.sum()), scatter)
    before = model.readings(np.ones(len(model.groups)), start_colour)
    return Fit(spots, model.groups, factors, water, before, problem.shown(final.x), error, ~used, scatter)


@dataclass(frozen=True, eq=False)
class _Problem:
    """Readings to be explained: by the logarithms of the lamps' factors and, if wanted, the water's colour."""

    model: Response
    reading: np.ndarray
    start_colour: float
    colour: bool
    noise: float
    placing_m: float

    @property
    def n_free(self) -> int:
        return len(self.model.groups) + self.colour

    def shown(self, p: np.ndarray) -> np.ndarray:
        """Readings at given unknowns. [umol m-2 s-1]"""
        n = len(self.model.groups)
        return self.model.readings(np.exp(p[:n]), p[n] if self.colour else self.start_colour)

    def expected_error(self, shown: np.ndarray) -> np.ndarray:
        """Standard error that each reading is expected to have. [umol m-2 s-1]"""
        relative = self.noise**2 + self.model.rel_err**2
        relative = relative + self.placing_m**2 * (self.model.slope**2).sum(axis=1)
        return np.sqrt(shown**2 * relative + DISPLAY**2)

    def begin(self) -> np.ndarray:
        """All lamps alike, the water as the scene has it."""
        n = len(self.model.groups)
        before = self.model.readings(np.ones(n), self.start_colour)
        if not (before > LEAST * 10).any() or not (self.reading > 0).any():
            raise StudyError("there is no light at the spots.", hint=_CHECK)
        ratio = float(np.median(self.reading[before > 0] / before[before > 0]))
        common = math.log(min(max(ratio, 0.01), 100.0))
        return np.array([common] * n + [self.start_colour] * self.colour)


def _robust(problem: _Problem) -> tuple[np.ndarray, np.ndarray]:
    """Unknowns that no single reading can drag along, and the errors that the readings are expected to have there."""
    found = problem.begin()
    error = problem.expected_error(problem.shown(found))
    for _ in range(2):  # the expected errors follow the fit
        robust = least_squares(
            lambda p, e=error: (problem.shown(p) - problem.reading) / e, found, loss="soft_l1", x_scale="jac"
        )
        found, error = robust.x, problem.expected_error(problem.shown(robust.x))
    return found, error


def _quantities(
    problem: _Problem, final, n_used: int, scatter: float
) -> tuple[list[Quantity], Quantity | None]:
    """Factors of the lamps, and the colour of the water if it was fitted, with their intervals."""
    spread = np.sqrt(np.diag(_covariance(final.jac))) * max(1.0, scatter)
    # 95 %: by the expected errors, or by Student's t for those that the scatter shows, whichever reaches further.
    by_scatter = float(student.ppf(0.975, n_used - problem.n_free)) * scatter
    reach = max(float(normal.ppf(0.975)), by_scatter) / max(1.0, scatter)
    n = len(problem.model.groups)
    factors = [
        Quantity(math.exp(p), math.exp(p) * s, math.exp(p - reach * s), math.exp(p + reach * s))
        for p, s in zip(final.x[:n], spread[:n], strict=True)
    ]
    if not problem.colour:
        return factors, None
    a, s = float(final.x[-1]), float(spread[-1])
    return factors, Quantity(max(a, 0.0), s, max(a - reach * s, 0.0), max(a + reach * s, 0.0))


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
