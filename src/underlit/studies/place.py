"""Where to hang lamps: the fewest watts, the lowest price or the least spill that gives every plant zone its light."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from underlit.errors import SceneError, StudyError
from underlit.metrics.balance import MET
from underlit.metrics.colour_window import ColourWindow
from underlit.metrics.summary import Summary
from underlit.results.result import Result
from underlit.scene.lamps import Fixture
from underlit.scene.model import Scene
from underlit.studies.finalist import Check, Finalist, Goal, check, judge
from underlit.studies.hang import hang
from underlit.studies.lattice import SPACING_M, Lattice
from underlit.studies.lattice_store import kept_lattice
from underlit.studies.search import Candidate, best_places
from underlit.studies.store import PHOTONS, Job, Store, Worlds, run_all

GOALS = ("watts", "price", "spill")
AROUND = (0.5, 0.75, 1.0, 1.5)  # heights to try where none are given, over that of the lamp
FINALISTS_SHARE = 0.25
_RIVALS = 2  # kinds that are searched on
_MOST_SEED = 2**31

Report = Callable[[int, int, str], None]


@dataclass(frozen=True, eq=False)
class Placing:
    """What a search found.

    Parameters
    ----------
    goal : Goal
    lamp : Fixture
        What is hung.
    candidates : list of Candidate
        The best places for each number, height and tilt, best first.
    finalists : list of Finalist
        Those that were traced, best first by their traces, those traced in full before all others.
    checks : list of Check
        The light of the answer in each zone, held against a fresh trace.
    result : Result
        The fresh trace.
    lattices : list of Lattice
    """

    goal: Goal
    lamp: Fixture
    candidates: list[Candidate]
    finalists: list[Finalist]
    checks: list[Check]
    result: Result = field(repr=False)
    lattices: list[Lattice] = field(repr=False)

    @property
    def best(self) -> Finalist:
        """The answer."""
        return self.finalists[0]

    def tables(self) -> Summary:
        """Tables `answer`, `zones`, `finalists` and `choices`."""
        from underlit.studies.place_tables import tables

        return tables(self)


class _Progress:
    """Counts steps for whoever wants to be told."""

    def __init__(self, steps: int, told: Report | None) -> None:
        self.steps, self.number, self._told = steps, 0, told

    def __call__(self, text: str) -> None:
        self.number += 1
        if self._told is not None:
            self._told(self.number, self.steps, text)


def place(
    scene: Scene,
    folder: Path,
    *,
    fixture: str | None = None,
    heights_m: Sequence[float] = (),
    tilts_rad: Sequence[float] = (),
    most: int = 2,
    goal: str = "watts",
    free: bool = False,
    window: ColourWindow | None = None,
    zones: Sequence[str] = (),
    finalists: int = 3,
    spacing_m: float = SPACING_M,
    emitter_photons: int | None = None,
    photons: int | None = None,
    seed: int | None = None,
    done: Report | None = None,
) -> Placing:
    """Search places, height, tilt, number and settings of a lamp.

    Parameters
    ----------
    scene : Scene
        With plant zones; its lamps are taken down.
    folder : Path
        Where all traces are kept; what is there is not traced again.
    fixture : str, optional
        The lamp to hang, one or several of it; default the only one.
    heights_m, tilts_rad : sequence of float
        To choose from; default `AROUND` the height of the lamp as it is, and its tilt. [m, rad]
    most : int
        Most lamps.
    goal : str
        One of `GOALS`: what is to be least, once every zone gets its target under its ceiling.
    free : bool
        Whether each channel of each lamp is set by itself; otherwise lamps keep the mix of the scene.
    window : ColourWindow, optional
        Colour that the light of all lamps together is to have; frees the channels.
    zones : sequence of str
        Plant zones that count; default all.
    finalists : int
        How many candidates to trace.
    spacing_m, emitter_photons
        Of the stand-in, see `lattice.trace_lattice`.
    photons, seed : int, optional
        Of the traces of the answer; the finalists get `FINALISTS_SHARE` of the photons.
    done : callable, optional
        Called with the number of the step done, that of all steps, and what was done.

    Returns
    -------
    Placing

    Raises
    ------
    StudyError
        No zone, no such lamp, or a height at which it cannot hang.

    Notes
    -----
    For the best two kinds (number, height and tilt) the trace puts the stand-in right: its light in each zone is
    multiplied and spread so that it says what the trace says, the kind is searched once more, and what comes out is
    traced too. The best of each kind is then traced with all photons, and the better of these is the answer. It is
    traced again with other random numbers.
    """
    lamp = _chosen(scene, fixture)
    _refuse(scene, lamp, goal, zones)
    aim = Goal(goal, free or window is not None, window, tuple(zones))
    seed = scene.run.seed if seed is None else seed
    hung = _hung(scene, lamp, heights_m, tilts_rad)
    tell = _Progress(len(hung) * (1 + most) + finalists + 2 * _RIVALS + 1, done)
    tracer = _Tracer(scene, lamp, aim, Store(folder), seed)
    lattices, candidates = _searched(
        scene, hung, folder, most, aim, tell, spacing_m=spacing_m, photons=emitter_photons, seed=seed,
        worlds=tracer.worlds,
    )  # fmt: skip
    full = photons or scene.run.photons or PHOTONS
    few = max(1, round(full * FINALISTS_SHARE))
    traced = [tracer.finalist(each, few, tell, "traced") for each in candidates[:finalists]]
    traced.sort(key=lambda f: f.rank(goal))
    for kind in _best_kinds(traced):
        again = _searched_again(scene, _best_of(kind, traced), lattices, aim, seed)
        traced += [tracer.finalist(again, few, tell, "put right by a trace")] if again else []
    traced.sort(key=lambda f: f.rank(goal))
    tell.number = tell.steps - 1 - _RIVALS
    # Which of the best kinds it is, is settled by traces of full length: short ones are too alike in their errors.
    rivals = [_best_of(kind, traced).candidate for kind in _best_kinds(traced)]
    settled = [tracer.finalist(rival, full, tell, "in full") for rival in rivals]
    settled.sort(key=lambda f: f.rank(goal))
    best, others = settled[0], [f for f in traced if f.candidate not in rivals]
    tell.number = tell.steps - 1
    fresh = tracer.fresh(best, full)
    tell("the answer traced afresh")
    checks = check(best, tracer.results[best.candidate], fresh)
    return Placing(aim, lamp, candidates, [*settled, *others], checks, fresh, lattices)


class _Tracer:
    """Traces scenes with the lamps of candidates."""

    def __init__(self, scene: Scene, lamp: Fixture, goal: Goal, store: Store, seed: int) -> None:
        self._scene, self._lamp, self._goal, self._store, self._seed = scene, lamp, goal, store, seed
        self.worlds = Worlds()
        self.results: dict[Candidate, Result] = {}

    def finalist(self, candidate: Candidate, photons: int, tell: _Progress, what: str) -> Finalist:
        """A candidate traced, its settings found again."""
        hung = hang(
            self._scene, self._lamp, candidate.places_m, candidate.settings, candidate.height_m, candidate.tilt_rad
        )  # fmt: skip
        self.results[candidate] = self._trace(hung, photons, self._seed)
        found = judge(candidate, hung, self.results[candidate], self._goal)
        tell(f"{what}: {_words(candidate, found.short, float(found.balance.power_w.value))}")
        return found

    def fresh(self, finalist: Finalist, photons: int) -> Result:
        """A finalist with its settings, traced with other random numbers."""
        return self._trace(finalist.scene, photons, (self._seed + 1) % _MOST_SEED)

    def _trace(self, scene: Scene, photons: int, seed: int) -> Result:
        ((_, result),) = run_all([Job(scene, photons, seed)], self._store, worlds=self.worlds)
        return result


def _best_kinds(finalists: list[Finalist]) -> list[tuple[int, float, float]]:
    """The first few kinds, each once."""
    return list(dict.fromkeys(f.candidate.kind for f in finalists))[:_RIVALS]


def _best_of(kind: tuple[int, float, float], finalists: list[Finalist]) -> Finalist:
    """The first of a kind."""
    return next(f for f in finalists if f.candidate.kind == kind)


def _searched(
    scene: Scene, hung: list[Fixture], folder: Path, most: int, goal: Goal, tell: _Progress, **settings,
) -> tuple[list[Lattice], list[Candidate]]:  # fmt: skip
    """A lattice for each height and tilt, and the best places of each number of lamps, best first."""
    lattices: list[Lattice] = []
    best: dict[tuple[int, float, float], Candidate] = {}
    for each in hung:
        lattice, was_there = kept_lattice(scene, each, folder, free=goal.free, **settings)
        lattice = lattice.only(goal.zones)
        lattices.append(lattice)
        tell(f"{_hangs(each)}: stand-in {'on file' if was_there else 'traced'}")
        for n in range(1, most + 1):
            found = best_places(scene, lattice, n, goal.word, settings["seed"], goal.window)
            if found is None:
                tell(f"{_hangs(each)}: {n} lamps do not fit")
                continue
            idle = len(found.places_m) < n
            tell(
                f"{_hangs(each)}: of {n} lamps, some would stay off"
                if idle
                else _words(found, found.short, found.watts)
            )
            rival = best.setdefault(found.kind, found)
            best[found.kind] = min(rival, found, key=lambda c: c.rank(goal.word))
    return lattices, sorted(best.values(), key=lambda c: c.rank(goal.word))


def _searched_again(
    scene: Scene, traced: Finalist, lattices: list[Lattice], goal: Goal, seed: int
) -> Candidate | None:
    """Places by the stand-in put right by a trace; None where they are the same, or it cannot be put right."""
    old = traced.candidate
    if old.medians.min() <= 0 or traced.traced.min() <= 0:
        return None  # nothing to go by
    (lattice,) = (
        one for one in lattices if (one.fixture.height, one.fixture.tilt) == (old.height_m, old.tilt_rad)
    )
    right = lattice.put_right(old.levels, traced.traced)
    found = best_places(scene, right, len(old.places_m), goal.word, seed + 1, goal.window)
    same = found is None or (
        found.places_m.shape == old.places_m.shape and np.allclose(found.places_m, old.places_m, atol=2e-3)
    )
    return None if same else found


def _refuse(scene: Scene, lamp: Fixture, goal: str, zones: Sequence[str]) -> None:
    if goal not in GOALS:
        raise StudyError(f"`{goal}` is no goal.", hint=f"Take one of {', '.join(GOALS)}.")
    if goal == "price" and lamp.price is None:
        raise StudyError(f"the lamp `{lamp.name}` has no price.", hint="Give its `price` in the scene.")
    if not scene.plant:
        raise StudyError("the scene has no plant zone to light.", hint="Add a `[[plant]]`.")
    known = [plant.name for plant in scene.plant]
    for name in zones:
        if name not in known:
            raise StudyError(f"there is no plant zone `{name}`.", hint=f"Zones: {', '.join(known)}.")


def _chosen(scene: Scene, name: str | None) -> Fixture:
    known = ", ".join(f"`{fixture.name}`" for fixture in scene.fixture)
    if name is None and len(scene.fixture) != 1:
        raise StudyError(
            "which lamp is to be hung?",
            hint=f"Name one of {known} with --lamp." if known else "The scene has none.",
        )
    for fixture in scene.fixture:
        if name in (None, fixture.name):
            return fixture
    raise StudyError(f"there is no lamp `{name}`.", hint=f"The scene has {known}.")


def _hung(
    scene: Scene, lamp: Fixture, heights_m: Sequence[float], tilts_rad: Sequence[float]
) -> list[Fixture]:
    """The lamp at each height and tilt, from the lowest; heights of our own choice only where it can hang."""
    found = []
    usual = [round(lamp.height * factor, 3) for factor in AROUND]
    for height in sorted(set(heights_m or usual)):
        for tilt in sorted(set(tilts_rad or (lamp.tilt,))):
            middle = [(scene.tank.length / 2, scene.tank.width / 2)]
            try:
                hang(scene, lamp, middle, np.ones((1, len(lamp.channel))), height, tilt)
            except SceneError as fault:
                if heights_m:
                    raise StudyError(
                        f"the lamp cannot hang {100 * height:g} cm high, tilted by {math.degrees(tilt):g} deg:\n{fault}"
                    ) from fault
                continue
            found.append(lamp.model_copy(update={"height": float(height), "tilt": float(tilt)}))
    return found


def _hangs(lamp: Fixture) -> str:
    return f"{100 * lamp.height:g} cm, {math.degrees(lamp.tilt):g} deg"


def _words(one: Candidate, short: float, watts: float) -> str:
    lamps = "1 lamp" if len(one.places_m) == 1 else f"{len(one.places_m)} lamps"
    light = f"{watts:.3g} W" if short < MET else f"{100 * short:.2g} % short of a target"
    return f"{100 * one.height_m:g} cm, {math.degrees(one.tilt_rad):g} deg, {lamps}: {light}"
