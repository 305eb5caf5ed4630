"""The best places for lamps over a lattice: differential evolution, their settings found at each step."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import differential_evolution

from underlit.metrics.balance import MET
from underlit.metrics.colour_window import ColourWindow
from underlit.metrics.spread import quantiles
from underlit.scene.lamps import Fixture
from underlit.scene.model import Scene
from underlit.studies.lattice import Lattice
from underlit.studies.settings import SHORT_COSTS, Aim, best_settings

GAP_M = 0.01  # between lamps
OFF = 0.005  # a lamp that is set lower need not be hung
_DOES_NOT_FIT = 1e9  # dearer than any place that does
_STEPS, _MEMBERS = 25, 6  # of the evolution; members per number that is searched


@dataclass(frozen=True, eq=False)
class Candidate:
    """Lamps hung at some places for one height, tilt and number, by the stand-in.

    Parameters
    ----------
    height_m, tilt_rad : float
    places_m : ndarray, shape (n, 2)
        Middles of the lamps. [m]
    settings : ndarray, shape (n, M)
        Of the channels of each, 0-1.
    short : float
        Missing share of the target in the worst zone.
    watts, spill_umol_s, price : float
    levels : ndarray, shape (Z, 3)
        Mean, median and P90 of each zone. [umol m-2 s-1]
    """

    height_m: float
    tilt_rad: float
    places_m: np.ndarray
    settings: np.ndarray
    short: float
    watts: float
    spill_umol_s: float
    price: float
    levels: np.ndarray

    @property
    def medians(self) -> np.ndarray:
        """Of the zones, (Z,). [umol m-2 s-1]"""
        return self.levels[:, 1]

    @property
    def possible(self) -> bool:
        """Whether every zone gets its target under its ceiling."""
        return self.short < MET

    @property
    def kind(self) -> tuple[int, float, float]:
        """Number of lamps, height and tilt."""
        return len(self.places_m), self.height_m, self.tilt_rad

    def cost(self, goal: str) -> float:
        """What is to be least."""
        return {"watts": self.watts, "price": self.price, "spill": self.spill_umol_s}[goal]

    def rank(self, goal: str) -> tuple[float, float, float]:
        """Smaller is better: what is missing, then what is to be least, then watts."""
        return 0.0 if self.possible else self.short, self.cost(goal), self.watts


def evaluate(
    lattice: Lattice,
    places_m: np.ndarray,
    goal: str = "watts",
    window: ColourWindow | None = None,
    rounds: int = 3,
) -> Candidate:
    """Lamps at given places, (n, 2), at their best settings; see `settings.best_settings`."""
    n, v = len(places_m), len(lattice.watts)
    light, spill = lattice.at(places_m)
    watts = np.tile(lattice.watts, n)
    xyz = None if window is None else np.tile(lattice.xyz, (n, 1))
    cost = spill if goal == "spill" else watts
    found = best_settings(Aim(lattice.zones, lattice.kept, light, cost, window, xyz), rounds)
    levels = [
        [found.values @ one @ zone.share, *quantiles(found.values @ one, zone.share, (0.5, 0.9), kept)]
        for one, zone, kept in zip(light, lattice.zones, lattice.kept, strict=True)
    ]
    price = math.nan if lattice.fixture.price is None else n * lattice.fixture.price
    return Candidate(
        lattice.fixture.height, lattice.fixture.tilt, np.array(places_m),
        found.values.reshape(n, v) @ lattice.basis.T, found.short, float(found.values @ watts),
        float(found.values @ spill), price, np.array(levels),
    )  # fmt: skip


def best_places(
    scene: Scene, lattice: Lattice, n: int, goal: str, seed: int, window: ColourWindow | None = None
) -> Candidate | None:
    """Best places of n lamps at the height and tilt of a lattice, by differential evolution.

    Parameters
    ----------
    scene : Scene
    lattice : Lattice
    n : int
    goal : str
    seed : int
    window : ColourWindow, optional

    Returns
    -------
    Candidate or None
        With fewer lamps if some would stay off; None if so many do not fit over the tank.
    """
    bounds = room_over(scene, lattice.fixture) * n

    def score(at: np.ndarray) -> float:
        places = at.reshape(n, 2)
        crowded = overlap(lattice.fixture, places)
        if crowded > 0:
            return _DOES_NOT_FIT * (1.0 + crowded)
        one = evaluate(lattice, places, goal, window, rounds=1)
        missing = SHORT_COSTS * max(0.0, one.short - MET / 2) * float(lattice.watts.sum())
        return one.cost(goal) + 1e-6 * one.watts + missing

    found = differential_evolution(
        score, bounds, rng=np.random.default_rng(seed), popsize=_MEMBERS, maxiter=_STEPS, tol=1e-3, polish=False,
        init="sobol",
    )  # fmt: skip
    if found.fun >= _DOES_NOT_FIT:
        return None
    places = found.x.reshape(n, 2)
    best = evaluate(lattice, np.round(places[np.lexsort(places.T)], 3), goal, window)
    lit = best.settings.max(axis=1) >= OFF
    return best if lit.all() or not lit.any() else evaluate(lattice, best.places_m[lit], goal, window)


def room_over(scene: Scene, fixture: Fixture) -> list[tuple[float, float]]:
    """Where the middle of a lamp may be, along x and along y, so that its face stays over the tank. [m]

    A face that is longer than the tank hangs in the middle.
    """
    c, s = abs(math.cos(fixture.turn)), abs(math.sin(fixture.turn))
    a, b = fixture.size
    found = []
    for side, half in ((scene.tank.length, (c * a + s * b) / 2), (scene.tank.width, (s * a + c * b) / 2)):
        slack = max(side / 2 - half, 1e-6)
        found.append((side / 2 - slack, side / 2 + slack))
    return found


def overlap(fixture: Fixture, places_m: np.ndarray) -> float:
    """How far lamps reach into each other, or into the gap between, over their size; 0 where all hang free."""
    c, s = math.cos(fixture.turn), math.sin(fixture.turn)
    along = places_m @ np.array([[c, -s], [s, c]])
    total = 0.0
    for i in range(len(along) - 1):
        apart = np.abs(along[i + 1 :] - along[i]) / (np.array(fixture.size) + GAP_M)
        total += float(np.maximum(1.0 - apart.max(axis=1), 0.0).sum())
    return total
