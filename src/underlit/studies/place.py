"""Where to hang lamps: the fewest watts, the lowest price or the least spill that gives every plant zone its light."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.optimize import differential_evolution, linprog

from underlit.errors import StudyError
from underlit.metrics.balance import MET, Balance, balance
from underlit.metrics.spread import quantiles
from underlit.metrics.summary import PPFD_UNIT, Summary, Table, Value
from underlit.results.result import Result
from underlit.scene.document import Document
from underlit.scene.edit import change
from underlit.scene.faults import written
from underlit.scene.lamps import Fixture
from underlit.scene.loader import from_text
from underlit.scene.model import Scene
from underlit.studies.lattice import PHOTONS_PER_EMITTER, SPACING_M, Lattice, trace_lattice
from underlit.studies.store import PHOTONS, Job, Store, run_all

GOALS = ("watts", "price", "spill")
_SHORT_COSTS = 1e3  # lamps at full setting that a wholly unlit zone counts as
_HEADER = re.compile(r"\s*\[\[?\s*([\w.\- ]+?)\s*\]\]?\s*(?:#.*)?$")
_NEAR = 0.06  # of the area on either side of a quantile that stands for it


@dataclass(frozen=True)
class Dimmed:
    """Settings found by linear programming: of each lamp, and the worst zone's missing share of its target."""

    settings: np.ndarray
    short: float


@dataclass(frozen=True, eq=False)
class Candidate:
    """Lamps hung as well as can be for one height, tilt and number, by the stand-in.

    Parameters
    ----------
    height_m, tilt_rad : float
    places_m : ndarray, shape (n, 2)
        Middles of the lamps. [m]
    settings : ndarray, shape (n,)
        0-1.
    short : float
        Missing share of the target in the worst zone.
    watts, spill_umol_s, price : float
    medians : ndarray, shape (Z,)
        Of the zones. [umol m-2 s-1]
    """

    height_m: float
    tilt_rad: float
    places_m: np.ndarray
    settings: np.ndarray
    short: float
    watts: float
    spill_umol_s: float
    price: float
    medians: np.ndarray

    @property
    def possible(self) -> bool:
        """Whether every zone gets its target under its ceiling."""
        return self.short < MET

    def cost(self, goal: str) -> float:
        """What is to be least."""
        return {"watts": self.watts, "price": self.price, "spill": self.spill_umol_s}[goal]


@dataclass(frozen=True, eq=False)
class Finalist:
    """A candidate after a real trace.

    Parameters
    ----------
    candidate : Candidate
    scene : Scene
        With these lamps, at the settings found on the trace.
    balance : Balance
        Settings by linear programming on the trace, and what binds.
    stand_in_error : ndarray, shape (Z,)
        Median by the stand-in over that by the trace, at equal settings, less one.
    """

    candidate: Candidate
    scene: Scene
    balance: Balance
    stand_in_error: np.ndarray


@dataclass(frozen=True, eq=False)
class Placing:
    """What a search found: all candidates, best first, and the finalists, best first by their traces."""

    goal: str
    candidates: list[Candidate]
    finalists: list[Finalist]
    lattices: list[Lattice] = field(repr=False)

    @property
    def best(self) -> Finalist:
        """The answer."""
        return self.finalists[0]

    def tables(self) -> Summary:
        """Tables `finalists` and `choices`: the trade between height, number, watts and spill."""
        return Summary([self._finalists(), self._choices()])

    def _finalists(self) -> Table:
        rows: list[dict[str, Value]] = []
        for one in self.finalists:
            c, b = one.candidate, one.balance
            lacks = max((z.short for z in b.zones), default=0.0)
            rows.append({
                "lamps": len(c.places_m), "height": 100 * c.height_m, "tilt": math.degrees(c.tilt_rad),
                "places": _places(c), "power": b.power_w, "missing": 100 * lacks,
                "stand-in off by": 100 * float(np.sqrt(np.mean(one.stand_in_error**2))), "bound by": "; ".join(b.binds),
            })  # fmt: skip
        columns = {"lamps": "", "height": "cm", "tilt": "deg", "places": "cm", "power": "W", "missing": "%",
                   "stand-in off by": "%", "bound by": ""}  # fmt: skip
        note = "Traced. `missing`: of the target of the worst zone. `stand-in off by`: root mean square over the zones."
        return Table("finalists", "Best places", columns, rows, note)

    def _choices(self) -> Table:
        rows: list[dict[str, Value]] = []
        zones = [zone.plant.name for zone in self.lattices[0].zones]
        for c in sorted(self.candidates, key=lambda c: (len(c.places_m), c.height_m, c.tilt_rad)):
            row: dict[str, Value] = {
                "lamps": len(c.places_m), "height": 100 * c.height_m, "tilt": math.degrees(c.tilt_rad),
                "power": c.watts, "spill": c.spill_umol_s, "missing": 100 * c.short,
            }  # fmt: skip
            rows.append(row | dict(zip(zones, map(float, c.medians), strict=True)) | {"": self._mark(c)})
        columns = {
            "lamps": "",
            "height": "cm",
            "tilt": "deg",
            "power": "W",
            "spill": "µmol s⁻¹",
            "missing": "%",
        }
        columns |= {**dict.fromkeys(zones, PPFD_UNIT), "": ""}
        note = (
            "By the stand-in, at the best places of each. `*`: none other has both less power and less spill."
        )
        return Table("choices", "Heights and numbers", columns, rows, note)

    def _mark(self, one: Candidate) -> str:
        if not one.possible:
            return "not enough"
        rivals = [c for c in self.candidates if c.possible and c is not one]
        beaten = any(c.watts <= one.watts and c.spill_umol_s <= one.spill_umol_s for c in rivals)
        return "" if beaten else "*"


def place(
    scene: Scene,
    folder: Path,
    *,
    fixture: str | None = None,
    heights_m: Sequence[float] = (),
    tilts_rad: Sequence[float] = (),
    most: int = 2,
    goal: str = "watts",
    finalists: int = 3,
    spacing_m: float = SPACING_M,
    emitter_photons: int = PHOTONS_PER_EMITTER,
    photons: int | None = None,
    seed: int | None = None,
    done: Callable[[str], None] | None = None,
) -> Placing:
    """Search places, height, tilt, number and settings of a lamp.

    Parameters
    ----------
    scene : Scene
        With plant zones; its lamps are taken down.
    folder : Path
        Where the traces of the finalists are kept.
    fixture : str, optional
        The lamp to hang, one or several of it; default the only one.
    heights_m, tilts_rad : sequence of float
        To choose from; default that of the lamp as it is. [m, rad]
    most : int
        Most lamps.
    goal : str
        One of `GOALS`: what is to be least, once every zone gets its target under its ceiling.
    finalists : int
        How many candidates to trace.
    spacing_m, emitter_photons
        Of the stand-in, see `lattice.trace_lattice`.
    photons, seed : int, optional
        Of the finalists' traces.
    done : callable, optional
        Told what has been done.

    Returns
    -------
    Placing

    Raises
    ------
    StudyError
        No zone, no such lamp, or a lamp larger than the tank.
    """
    lamp = _chosen(scene, fixture)
    if goal not in GOALS:
        raise StudyError(f"`{goal}` is no goal.", hint=f"Take one of {', '.join(GOALS)}.")
    if goal == "price" and lamp.price is None:
        raise StudyError(f"the lamp `{lamp.name}` has no price.", hint="Give its `price` in the scene.")
    if not scene.plant:
        raise StudyError("the scene has no plant zone to light.", hint="Add a `[[plant]]`.")
    seed = scene.run.seed if seed is None else seed
    lattices, candidates = [], []
    for height in heights_m or (lamp.height,):
        for tilt in tilts_rad or (lamp.tilt,):
            hung = lamp.model_copy(update={"height": float(height), "tilt": float(tilt)})
            lattice = trace_lattice(scene, hung, spacing_m=spacing_m, photons=emitter_photons, seed=seed)
            lattices.append(lattice)
            candidates += [best_places(scene, lattice, n, goal, seed) for n in range(1, most + 1)]
            if done is not None:
                done(f"height {100 * height:g} cm, tilt {math.degrees(tilt):g} deg")
    candidates.sort(key=lambda c: (0.0 if c.possible else c.short, c.cost(goal), c.watts))
    store, traced = Store(folder), []
    for candidate in candidates[:finalists]:
        job = Job(hang(scene, lamp, candidate), photons or scene.run.photons or PHOTONS, seed)
        ((_, result),) = run_all([job], store)
        traced.append(_finalist(candidate, job.scene, result))
        if done is not None:
            done(f"traced finalist {len(traced)}")
    traced.sort(key=lambda f: _rank(f, goal))
    return Placing(goal, candidates, traced, lattices)


def best_places(scene: Scene, lattice: Lattice, n: int, goal: str, seed: int) -> Candidate:
    """Best places of n lamps at the height and tilt of a lattice, by differential evolution.

    Parameters
    ----------
    scene : Scene
    lattice : Lattice
    n : int
    goal : str
    seed : int

    Returns
    -------
    Candidate
    """
    bounds = [bound for _ in range(n) for bound in _room(scene, lattice.fixture)]

    def score(at: np.ndarray) -> float:
        one = evaluate(lattice, at.reshape(n, 2), goal)
        return (
            one.cost(goal) + 1e-6 * one.watts + _SHORT_COSTS * max(0.0, one.short - MET / 2) * lattice.watts
        )

    found = differential_evolution(
        score,
        bounds,
        rng=np.random.default_rng(seed),
        popsize=6,
        maxiter=25,
        tol=1e-3,
        polish=False,
        init="sobol",
    )
    places = found.x.reshape(n, 2)
    return evaluate(lattice, places[np.argsort(places[:, 0], kind="stable")], goal)


def overlap(fixture: Fixture, places_m: np.ndarray) -> float:
    """How far lamps at given places reach into each other, over their size; 0 where all hang free."""
    c, s = math.cos(fixture.turn), math.sin(fixture.turn)
    along = places_m @ np.array([[c, -s], [s, c]])
    total = 0.0
    for i in range(len(along)):
        apart = np.abs(along[i + 1 :] - along[i]) / fixture.size
        total += float(np.maximum(1.0 - apart.max(axis=1, initial=0.0), 0.0).sum()) if len(apart) else 0.0
    return total


def evaluate(lattice: Lattice, places_m: np.ndarray, goal: str = "watts") -> Candidate:
    """Lamps at given places, (n, 2), at their best settings."""
    each = [lattice.at(x, y) for x, y in places_m]
    light = [np.array([zones[z] for zones, _ in each]) for z in range(len(lattice.zones))]
    spill = np.array([s for _, s in each])
    found = dim(lattice, light, spill if goal == "spill" else np.full(len(each), lattice.watts))
    medians = [
        quantiles(found.settings @ one, zone.area_m2 / zone.area_m2.sum(), (0.5,), kept)[0]
        for one, zone, kept in zip(light, lattice.zones, lattice.kept, strict=True)
    ]
    price = math.nan if lattice.fixture.price is None else len(each) * lattice.fixture.price
    return Candidate(
        lattice.fixture.height, lattice.fixture.tilt, np.array(places_m), found.settings, found.short,
        float(found.settings.sum() * lattice.watts), float(found.settings @ spill), price, np.array(medians),
    )  # fmt: skip


def dim(lattice: Lattice, light: list[np.ndarray], cost: np.ndarray) -> Dimmed:
    """Settings that miss the least of the worst zone's target, and cost the least among those.

    Parameters
    ----------
    lattice : Lattice
    light : list of ndarray, shape (n, C)
        Of each lamp at full setting in the cells of each zone. [umol m-2 s-1]
    cost : ndarray, shape (n,)
        Of each lamp at full setting.

    Notes
    -----
    A linear program: the median is to reach the target, and nine tenths of the area to stay under the ceiling. The
    cells about these two quantiles stand for them; which they are depends on the settings, so it is solved twice.
    """
    n = len(cost)
    settings = np.ones(n)
    for _ in range(2):
        upper, limits = [], []
        for one, zone, kept in zip(light, lattice.zones, lattice.kept, strict=True):
            share = zone.area_m2 / zone.area_m2.sum()
            middle, high = (_stands_for(settings @ one, share, q) for q in (0.5, 0.9))
            mean = one @ share
            median, p90 = (mean + kept * (one @ cells - mean) for cells in (middle, high))
            upper += [[*(-median / zone.plant.target), -1.0], [*(p90 / zone.plant.ceiling), 0.0]]
            limits += [-1.0, 1.0]
        dear = [*(cost / max(cost.sum(), 1e-12)), _SHORT_COSTS]
        found = linprog(dear, A_ub=upper, b_ub=limits, bounds=[(0, 1)] * n + [(0, 1)], method="highs")
        if not found.success or found.x[:n].sum() < 1e-9:
            return Dimmed(np.zeros(n), 1.0)
        settings = np.array(found.x[:n])
    return _scaled(lattice, light, settings)


def _scaled(lattice: Lattice, light: list[np.ndarray], settings: np.ndarray) -> Dimmed:
    """All lamps dimmed alike, so that the quantiles themselves are met, which the cells about them only stood for."""
    lacking, room = [], [1.0 / settings.max()]
    for one, zone, kept in zip(light, lattice.zones, lattice.kept, strict=True):
        share = zone.area_m2 / zone.area_m2.sum()
        median, p90 = quantiles(settings @ one, share, (0.5, 0.9), kept)
        lacking.append(zone.plant.target / max(float(median), 1e-9))
        room.append(zone.plant.ceiling / max(float(p90), 1e-9))
    factor = min(max(lacking), *room)
    return Dimmed(settings * factor, max(0.0, 1.0 - factor / max(lacking)))


def hang(scene: Scene, lamp: Fixture, candidate: Candidate) -> Scene:
    """The scene with the lamps of a candidate in place of its own."""
    document = Document(scene.text, scene.name)
    number = [fixture.name for fixture in scene.fixture].index(lamp.name)
    table = dict(document.data["fixture"][number])
    text = _without_lamps(scene)
    for i, ((x, y), setting) in enumerate(zip(candidate.places_m, candidate.settings, strict=True), start=1):
        own = table | {
            "name": lamp.name if len(candidate.places_m) == 1 else f"{lamp.name} {i}",
            "position": [f"{1000 * x:.0f} mm", f"{1000 * y:.0f} mm"],
            "height": f"{1000 * candidate.height_m:.6g} mm",
            "tilt": f"{math.degrees(candidate.tilt_rad):.6g} deg",
        }
        mix = np.array([channel.dim for channel in lamp.channel])
        mix = mix / mix.max() if mix.max() > 0 else np.ones(len(mix))
        own["channel"] = [
            channel | {"dim": round(float(setting * share), 4)}
            for channel, share in zip(table["channel"], mix, strict=True)
        ]
        text += "\n[[fixture]]\n" + "".join(f"{key} = {written(value)}\n" for key, value in own.items())
    return from_text(text, scene.folder, scene.name)


def _without_lamps(scene: Scene) -> str:
    """The text of a scene less its [[fixture]] tables."""
    kept, within = [], False
    for line in scene.text.splitlines():
        header = _HEADER.match(line)
        if header:
            within = header[1].split(".")[0].strip() == "fixture"
        if not within:
            kept.append(line)
    text = "\n".join(kept) + "\n"
    if "fixture" in Document(text, scene.name).data:
        raise StudyError(
            "the lamps of this scene cannot be replaced.", hint="Write them as [[fixture]] tables."
        )
    return text


def _finalist(candidate: Candidate, scene: Scene, result: Result) -> Finalist:
    """Settings by linear programming on the trace."""
    from underlit.metrics import maps
    from underlit.metrics.zones import find_zones

    found = balance(result)
    medians = [
        float(zone.light(maps.ppfd(result, zone.surface)).quantiles(0.5)[0].value)
        for zone in find_zones(result)
    ]
    values = {
        f'fixture."{channel.fixture}".channel."{channel.name}".dim': round(float(dim), 4)
        for channel, dim in zip(result.channels, found.settings.value, strict=True)
        if channel.fixture != maps.WINDOW
    }
    with np.errstate(divide="ignore", invalid="ignore"):
        error = np.nan_to_num(candidate.medians / np.array(medians) - 1, posinf=0.0)
    return Finalist(candidate, change(scene, values), found, error)


def _rank(one: Finalist, goal: str) -> tuple[float, float]:
    short = max((zone.short for zone in one.balance.zones), default=0.0)
    watts = float(one.balance.power_w.value)
    share = watts / one.candidate.watts if one.candidate.watts else 1.0
    costs = {"watts": watts, "price": one.candidate.price, "spill": one.candidate.spill_umol_s * share}
    return (0.0 if short < MET else short, costs[goal])


def _chosen(scene: Scene, name: str | None) -> Fixture:
    known = ", ".join(f"`{fixture.name}`" for fixture in scene.fixture)
    if name is None and len(scene.fixture) != 1:
        raise StudyError(
            "which lamp is to be hung?", hint=f"Name one of {known}." if known else "The scene has none."
        )
    for fixture in scene.fixture:
        if name in (None, fixture.name):
            return fixture
    raise StudyError(f"there is no lamp `{name}`.", hint=f"The scene has {known}.")


def _room(scene: Scene, fixture: Fixture) -> list[tuple[float, float]]:
    """Where the middle of a lamp may be, so that its face stays over the tank. [m]"""
    c, s = abs(math.cos(fixture.turn)), abs(math.sin(fixture.turn))
    a, b = fixture.size
    found = []
    for side, half in ((scene.tank.length, (c * a + s * b) / 2), (scene.tank.width, (s * a + c * b) / 2)):
        slack = max(side / 2 - half, 1e-6)
        found.append((side / 2 - slack, side / 2 + slack))
    return found


def _stands_for(light: np.ndarray, share: np.ndarray, level: float) -> np.ndarray:
    """Weights, summing to 1, of the cells about a quantile."""
    order = np.argsort(light, kind="stable")
    middle = np.empty(len(light))
    middle[order] = np.cumsum(share[order]) - share[order] / 2
    near = share * (np.abs(middle - level) <= _NEAR)
    if not near.any():
        near = share * (np.abs(middle - level) == np.abs(middle - level).min())
    return near / near.sum()


def _places(one: Candidate) -> str:
    return "; ".join(f"{100 * x:.1f}, {100 * y:.1f}" for x, y in one.places_m)
