"""`place` against a random search: as many traces as are asked for, each with its lamps somewhere over the tank.

Both get the same lamp, heights and largest number, the same zones, the same linear program for the settings; the random
search may be content with fewer photons. The best of both are judged alike: traces of 4 million photons.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import underlit
from benchmarks.study_parts import SCENES_FOLDER, Clock, add_row, markdown, rows_of
from underlit.metrics import maps
from underlit.metrics.balance import MET
from underlit.metrics.estimate import Estimate
from underlit.metrics.spread import Area
from underlit.metrics.zones import find_zones
from underlit.scene.lamps import Fixture
from underlit.scene.world import World, build_world
from underlit.studies.finalist import Goal, judge
from underlit.studies.hang import hang
from underlit.studies.lattice import basis_of
from underlit.studies.lattice_store import kept_lattice
from underlit.studies.place import AROUND, place
from underlit.studies.search import Candidate, evaluate, overlap, room_over
from underlit.studies.settings import Aim, best_settings
from underlit.studies.store import PHOTONS

SCENES = {"b-rock-slope": ("bar", 2), "c-driftwood": ("bar", 2), "f-diy-bars": ("first bar", 4)}
DRAWS, FINALISTS, SEED = 500, 3, 1
_FULL_SAMPLE = 3  # draws traced with as many photons as a finalist, for their time
_AS_GOOD = 0.01  # of watts; and of the missing share, in parts of a target


@dataclass(frozen=True, eq=False)
class Contest:
    """One scene, its lamp and where that may hang."""

    name: str
    scene: underlit.Scene
    lamp: Fixture
    most: int
    world: World

    @classmethod
    def of(cls, name: str) -> Contest:
        """A scene by the name of its folder."""
        lamp_name, most = SCENES[name]
        scene = underlit.load_scene(SCENES_FOLDER / name / "scene.toml")
        (lamp,) = (fixture for fixture in scene.fixture if fixture.name == lamp_name)
        return cls(name, scene, lamp, most, build_world(scene))

    @property
    def heights_m(self) -> list[float]:
        """Those that `place` tries by itself."""
        return [round(self.lamp.height * factor, 3) for factor in AROUND]

    def draws(self, n: int) -> list[tuple[float, np.ndarray]]:
        """Random heights and places, (k, 2), of one lamp up to the most; lamps that meet are drawn again."""
        rng, room = np.random.default_rng(SEED), np.array(room_over(self.scene, self.lamp))
        found: list[tuple[float, np.ndarray]] = []
        while len(found) < n:
            height, lamps = float(rng.choice(self.heights_m)), int(rng.integers(1, self.most + 1))
            for _ in range(1000):
                places = rng.uniform(room[:, 0], room[:, 1], (lamps, 2))
                if overlap(self.lamp, places) == 0.0:
                    found.append((height, places))
                    break
        return found

    def hung(self, height_m: float, places_m: np.ndarray) -> underlit.Scene:
        """The scene with lamps there, all at full."""
        full = np.tile(basis_of(self.lamp, False)[:, 0], (len(places_m), 1))
        return hang(self.scene, self.lamp, places_m, full, height_m, self.lamp.tilt)


def measure(folder: Path, options: Any) -> str:
    """Run both searches on each scene; a table of their times and outcomes."""
    rows = [_contest(Contest.of(name), folder / name, options) for name in options.scenes]
    columns = ["", *options.scenes]
    return markdown(columns, [[label, *(row[label] for row in rows)] for label in rows[0]])


def _contest(contest: Contest, folder: Path, options: Any) -> dict[str, str]:
    underlit.trace(contest.scene, photons=2_000)  # compiled, and in memory
    ours = _placed(contest, folder)
    drawn = _drawn(contest, folder, options.draws, options.draw_photons)
    full = _drawn(contest, folder, _FULL_SAMPLE, PHOTONS)
    foretold = len(drawn) < DRAWS
    theirs = _judged(contest, folder, _picked(drawn) if not foretold else
                     _foretold(contest, folder))  # fmt: skip
    wall, cpu, full_cpu = (np.median([row[key] for row in rows]) for rows, key in
                           ((drawn, "wall_s"), (drawn, "cpu_s"), (full, "cpu_s")))  # fmt: skip
    as_good = [i for i, row in enumerate(drawn, 1) if _as_good(row, ours)]
    errors = [100 * np.mean([row["rel_err"] for row in rows]) for rows in (drawn, full)]
    return {
        "`place`, answer": _outcome(ours),
        "`place`, wall and processor time": f"{ours['wall_s']:.0f} s, {ours['cpu_s']:.0f} s",
        "random, traces made": f"{len(drawn)} of {options.draw_photons:,} photons",
        "random, error of a median": f"{errors[0]:.2f} % (with {PHOTONS:,} photons {errors[1]:.2f} %)",
        "random, wall and processor time of one": f"{wall:.2f} s, {cpu:.2f} s "
        f"(with {PHOTONS:,} photons {full_cpu:.1f} s)",
        f"random, best of {DRAWS}{', foretold by the stand-in' if foretold else ''}": _outcome(theirs),
        "random, draws as good as `place`": f"{len(as_good)}"
        + (f", the first is number {as_good[0]}" if as_good else ""),
        f"ratio of wall times for {DRAWS}": f"{DRAWS * wall / ours['wall_s']:.0f}",
        "ratio of processor times": f"{DRAWS * cpu / ours['cpu_s']:.0f}",
        "the same at the finalists' photons": f"{DRAWS * full_cpu / ours['cpu_s']:.0f}",
    }  # fmt: skip


def _placed(contest: Contest, folder: Path) -> dict[str, Any]:
    """Time and outcome of `place`, once."""
    path = folder / "place.jsonl"
    if not rows_of(path):

        def tell(number: int, of: int, text: str) -> None:
            print(f"{contest.name}: {number} of {of}: {text}", flush=True)

        clock = Clock()
        found = place(
            contest.scene, folder / "traces", fixture=contest.lamp.name, most=contest.most, done=tell
        )
        row = clock.read() | {"short": found.best.short, "watts": float(found.best.balance.power_w.value)}
        add_row(path, row | {"agrees": all(check.agrees for check in found.checks)})
    return rows_of(path)[-1]


def _drawn(contest: Contest, folder: Path, n: int, photons: int) -> list[dict[str, Any]]:
    """Outcomes of the first n draws, those that are not on file traced."""
    path = folder / f"draws-{photons}.jsonl"
    for i, (height, places) in enumerate(contest.draws(n)):
        if i < len(rows_of(path)):
            continue
        clock = Clock()
        res = underlit.trace(
            contest.hung(height, places), photons=photons, seed=1000 + i, world=contest.world
        )
        short, watts = _settled(contest, res, len(places))
        row = clock.read() | {"short": short, "watts": watts, "rel_err": _rel_err(res)}
        add_row(path, row)
        print(f"{contest.name}: draw {i + 1} of {n}, {photons:,} photons", flush=True)
    return rows_of(path)[:n]


def _settled(contest: Contest, res: underlit.Result, n: int) -> tuple[float, float]:
    """Missing share and watts at the best settings, by the linear program that `place` uses."""
    basis, zones = np.kron(np.eye(n), basis_of(contest.lamp, False)), find_zones(res)
    light, kept = [], []
    for zone in zones:
        each = zone.light(maps.ppfd_by_channel(res, zone.surface)).cells.samples
        each = np.einsum("kmc,mv->kvc", each, basis, optimize=True)
        light.append(each.mean(axis=0))
        kept.append(Area(Estimate(each.sum(axis=1)), zone.area_m2).kept)
    watts = np.array([channel.power_w for channel in res.channels]) @ basis
    found = best_settings(Aim(zones, kept, light, watts), rounds=3)
    return found.short, found.cost


def _rel_err(res: underlit.Result) -> float:
    """Relative standard error of the median, root mean square over the zones."""
    medians = [zone.light(maps.ppfd(res, zone.surface)).quantiles(0.5)[0] for zone in find_zones(res)]
    return float(np.sqrt(np.mean([(median.std_err / median.value) ** 2 for median in medians])))


def _picked(drawn: list[dict[str, Any]]) -> list[int]:
    """The best draws by their own traces."""
    return sorted(range(len(drawn)), key=lambda i: _rank(drawn[i]))[:FINALISTS]


def _foretold(contest: Contest, folder: Path) -> list[int]:
    """The draws that a random search of full length would pick, by the stand-in."""
    outcomes: list[Candidate] = []
    for height, places in contest.draws(DRAWS):
        lamp = contest.lamp.model_copy(update={"height": height})
        lattice, _ = kept_lattice(contest.scene, lamp, folder / "traces", seed=contest.scene.run.seed)
        outcomes.append(evaluate(lattice, places))
    return sorted(range(DRAWS), key=lambda i: outcomes[i].rank("watts"))[:FINALISTS]


def _judged(contest: Contest, folder: Path, which: list[int]) -> dict[str, Any]:
    """The best of some draws by traces like those of the finalists of `place`."""
    path, draws = folder / "judged.jsonl", contest.draws(DRAWS)
    known = {row["draw"]: row for row in rows_of(path)}
    for i in which:
        if i not in known:
            height, places = draws[i]
            hung = contest.hung(height, places)
            res = underlit.trace(hung, photons=PHOTONS, seed=contest.scene.run.seed, world=contest.world)
            blank = Candidate(height, 0.0, places, np.ones(1), 0.0, 0.0, 0.0, 0.0, np.ones((1, 3)))
            found = judge(blank, hung, res, Goal())
            known[i] = {"draw": i, "short": found.short, "watts": float(found.balance.power_w.value)}
            add_row(path, known[i])
    return min((known[i] for i in which), key=_rank)


def _rank(row: dict[str, Any]) -> tuple[float, float]:
    return (0.0 if row["short"] < MET else row["short"], row["watts"])


def _as_good(row: dict[str, Any], ours: dict[str, Any]) -> bool:
    short, own = (0.0 if each["short"] < MET else each["short"] for each in (row, ours))
    if own > 0:
        return short <= own + _AS_GOOD
    return short == 0 and row["watts"] <= ours["watts"] * (1 + _AS_GOOD)


def _outcome(row: dict[str, Any]) -> str:
    missing = "all targets met" if row["short"] < MET else f"{100 * row['short']:.1f} % missing"
    return f"{missing}, {row['watts']:.1f} W"
