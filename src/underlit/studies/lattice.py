"""A stand-in for the tracer while lamps are moved about: what a lattice of small emitters gives, added up.

For one height and tilt, small faces on a lattice over the tank are traced at once, each as a source of its own. Light
adds up, so a lamp anywhere is a weighted sum of them, by cubic splines between the emitters.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.interpolate import BSpline, make_interp_spline

from underlit.constants import UMOL_PER_J_NM
from underlit.metrics import ends, maps
from underlit.metrics.estimate import Estimate
from underlit.metrics.spread import Area
from underlit.metrics.zones import Zone, find_zones
from underlit.results.result import Result
from underlit.scene.lamps import Fixture
from underlit.scene.model import Scene
from underlit.spectra import GRID_NM
from underlit.spectra.observer import tristimulus

if TYPE_CHECKING:
    from underlit.scene.world import World

SPACING_M = 0.05
PHOTONS_PER_LAMP, _LEAST_PHOTONS, _MOST_PHOTONS = 1_000_000, 8_000, 40_000  # together; of one emitter
_REPLICATES = 4
METHOD = 2  # how a lattice is traced, counted up with each change: lattices on file by another are not used
_AT_ONCE = 48  # sources in one trace, for the sake of memory: each has maps of its own
_FACE_M = 0.012  # side of an emitter; the outermost touch the panes
_WIDER = (0.5, 2.0)  # how far a trace may change the spread of the light in a zone
_POINTS = 24  # along each side of a lamp's face


@dataclass(frozen=True, eq=False)
class Lattice:
    """What emitters at one height and tilt give.

    A lamp has V settings: one, if its channels keep the mix of the scene, or one for each channel.

    Parameters
    ----------
    fixture : Fixture
        The lamp that they stand for.
    x_m, y_m : ndarray, shape (nx,), (ny,)
        Places of the emitters. [m]
    zones : list of Zone
    light : list of ndarray, shape (nx * ny, V, C)
        Light of the whole lamp in the cells of each zone if it stood there as a small face, for each setting at full.
        [umol m-2 s-1]
    kept : list of float
        Share of the spread in each zone that is no noise, see `spread.Area`.
    spill_umol_s : ndarray, shape (nx * ny, V)
        Light into the room. [umol s-1]
    watts : ndarray, shape (V,)
        [W]
    xyz : ndarray, shape (V, 3)
        Colour of the lamp's light for each setting at full.
    basis : ndarray, shape (M, V)
        Settings of the channels for each setting of the lamp at full.
    """

    fixture: Fixture
    x_m: np.ndarray
    y_m: np.ndarray
    zones: list[Zone]
    light: list[np.ndarray] = field(repr=False)
    kept: list[float]
    spill_umol_s: np.ndarray = field(repr=False)
    watts: np.ndarray
    xyz: np.ndarray
    basis: np.ndarray

    def weights(self, x_m: float, y_m: float) -> np.ndarray:
        """Share of each emitter in a lamp whose middle stands at a place, (nx * ny,)."""
        points = _face_points(self.fixture) + [x_m, y_m]
        along_x, along_y = self._splines
        by_x, by_y = along_x(_within(points[:, 0], self.x_m)), along_y(_within(points[:, 1], self.y_m))
        return (by_y.T @ by_x).ravel() / len(points)

    @cached_property
    def _splines(self) -> tuple[BSpline, BSpline]:
        """Share of each emitter of a row in a point of that row, along x and along y."""
        return _spline(self.x_m), _spline(self.y_m)

    def at(self, places_m: np.ndarray) -> tuple[list[np.ndarray], np.ndarray]:
        """What lamps at given places give, for each setting at full.

        Parameters
        ----------
        places_m : ndarray, shape (n, 2)
            Middles of the lamps. [m]

        Returns
        -------
        list of ndarray, shape (n * V, C)
            Light in the cells of each zone. [umol m-2 s-1]
        ndarray, shape (n * V,)
            Light into the room. [umol s-1]
        """
        weights = np.array([self.weights(x, y) for x, y in places_m])
        # Not `@`, which is BLAS: its threads cost more than they gain on so small arrays.
        light = [np.einsum("ni,ivc->nvc", weights, each).reshape(-1, each.shape[2]) for each in self.light]
        return light, (weights @ self.spill_umol_s).ravel()

    def only(self, names: Collection[str]) -> Lattice:
        """The same for some of the zones; all, if no names are given."""
        which = [i for i, zone in enumerate(self.zones) if not names or zone.plant.name in names]
        return replace(
            self,
            zones=[self.zones[i] for i in which],
            light=[self.light[i] for i in which],
            kept=[self.kept[i] for i in which],
        )

    def put_right(self, stand_in: np.ndarray, traced: np.ndarray) -> Lattice:
        """The same, its light in each zone multiplied and spread so that it agrees with a trace.

        Parameters
        ----------
        stand_in : ndarray, shape (Z, 3)
            Mean, median and P90 of each zone by this lattice. [umol m-2 s-1]
        traced : ndarray, shape (Z, 2)
            Median and P90 of each zone by the trace of the same lamps. [umol m-2 s-1]
        """
        mean, median, p90 = stand_in.T
        ratio = traced[:, 1] / traced[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            wider = np.clip((ratio - 1) * mean / (p90 - mean - ratio * (median - mean)), *_WIDER)
        wider = np.nan_to_num(wider, nan=1.0)
        brighter = traced[:, 0] / (mean + wider * (median - mean))
        light = [f * each for f, each in zip(brighter, self.light, strict=True)]
        return replace(self, light=light, kept=[float(w * k) for w, k in zip(wider, self.kept, strict=True)])


def trace_lattice(
    scene: Scene,
    fixture: Fixture,
    *,
    free: bool = False,
    spacing_m: float = SPACING_M,
    photons: int | None = None,
    seed: int = 1,
    threads: int | None = None,
    world: World | None = None,
) -> Lattice:
    """Trace the emitters for a lamp at its height and tilt.

    Parameters
    ----------
    scene : Scene
        Its own lamps are left out.
    fixture : Fixture
        Its place does not matter.
    free : bool
        Whether every channel has a setting of its own, or all keep the mix of the scene.
    spacing_m : float
        Between emitters, at most. [m]
    photons : int, optional
        For each emitter; default so many that a lamp gets about `PHOTONS_PER_LAMP` from those that stand for it.
    seed : int
    threads : int, optional
    world : World, optional
        The scene's shapes, if they are at hand.

    Returns
    -------
    Lattice
    """
    from underlit.tracer import trace

    x, y = (_places(side, spacing_m) for side in (scene.tank.length, scene.tank.width))
    places = [(px, py) for py in y for px in x]
    own, xyz = _lamp(scene, fixture)
    own = own.model_copy(update={"shape": "panel", "size": (_FACE_M, _FACE_M)})
    n_beams = len({repr(channel.beam) for channel in fixture.channel})
    each_photons = (photons or _photons_of_one(fixture, spacing_m)) * n_beams
    basis = basis_of(fixture, free)
    step = max(1, _AT_ONCE // n_beams)
    zones: list[Zone] = []
    light, spill = [], []
    for i in range(0, len(places), step):
        some = places[i : i + step]
        res = trace(
            _with_emitters(scene, own, some), photons=each_photons * len(some), seed=seed + i, threads=threads,
            world=world,
        )  # fmt: skip
        zones = find_zones(res)
        light.append([_light(zone, res, len(some), basis) for zone in zones])
        spill.append(_spill(res, len(some), basis))
    by_emitter = [np.concatenate(parts, axis=1) for parts in zip(*light, strict=True)]
    kept = [Area(Estimate(each.mean(axis=1).sum(axis=1)), zone.area_m2).kept
            for each, zone in zip(by_emitter, zones, strict=True)]  # fmt: skip
    mean = [np.ascontiguousarray(each.mean(axis=0)) for each in by_emitter]
    watts = np.array([channel.power for channel in fixture.channel]) @ basis
    return Lattice(fixture, x, y, zones, mean, kept, np.concatenate(spill), watts, basis.T @ xyz, basis)


def _light(zone: Zone, res: Result, n: int, basis: np.ndarray) -> np.ndarray:
    """Light of n emitters in the cells of a zone for each setting at full, in each replicate, (K, n, V, C)."""
    each = zone.light(maps.ppfd_by_channel(res, zone.surface)).cells.samples
    return np.einsum("kimc,mv->kivc", each.reshape(len(each), n, len(basis), -1), basis, optimize=True)


def _photons_of_one(fixture: Fixture, spacing_m: float) -> int:
    """Photons for one emitter: fewer where many stand for a lamp."""
    a, b = (side / spacing_m + 1 for side in fixture.size)
    return int(min(max(PHOTONS_PER_LAMP / (a * b), _LEAST_PHOTONS), _MOST_PHOTONS))


def basis_of(fixture: Fixture, free: bool) -> np.ndarray:
    """Settings of the channels for each setting of the lamp at full, (M, V): each by itself, or the scene's mix."""
    if free:
        return np.eye(len(fixture.channel))
    dims = np.array([channel.dim for channel in fixture.channel])
    return (dims / dims.max() if dims.max() > 0 else np.ones(len(dims)))[:, None]


def _with_emitters(scene: Scene, own: Fixture, places_m: list[tuple[float, float]]) -> Scene:
    """The scene with small faces for lamps."""
    emitters = tuple(
        own.model_copy(update={"name": f"{i}", "position": place}) for i, place in enumerate(places_m)
    )
    run: dict[str, Any] = {"replicates": _REPLICATES}
    if all(plant.read_height == 0 for plant in scene.plant):
        run["planes"] = ()
    return scene.model_copy(
        update={"fixture": emitters, "window": None, "run": scene.run.model_copy(update=run)}
    )


def _lamp(scene: Scene, fixture: Fixture) -> tuple[Fixture, np.ndarray]:
    """The lamp with its output as photons, whatever its size, its channels at full and evenly lit; their X, Y, Z."""
    from underlit.tracer.sources import build_lamps

    alone = build_lamps(scene.model_copy(update={"fixture": (fixture,), "window": None}))
    channels = tuple(
        channel.model_copy(update={
            "flux": float(built.spectrum.sum()), "efficacy": None, "lumens": None, "reading": None, "leds": 0,
            "positions": None, "dim": 1.0, "beam": channel.beam.model_copy(update={"face": "fixture"}),
        })
        for channel, built in zip(fixture.channel, alone.channels, strict=True)
    )  # fmt: skip
    photons = np.array([built.spectrum for built in alone.channels])
    xyz = tristimulus(photons / (UMOL_PER_J_NM * GRID_NM))
    return fixture.model_copy(update={"channel": channels, "shade": None}), xyz


def _spill(res: Result, n: int, basis: np.ndarray) -> np.ndarray:
    """Light into the room of each of n emitters, (n, V). [umol s-1]"""
    weights = maps.channel_weights(res, "all").reshape(n, len(basis), -1)
    into = [ends.group_of(res, name) == ends.ROOM for name in res.budget_names]
    room = res.budget.share[:, :, into].sum(axis=2).mean(axis=0)
    sources = np.array([channel.source for channel in res.channels]).reshape(n, len(basis))
    return np.einsum("imb,imb->im", weights, room[sources]) @ basis


def _places(side_m: float, spacing_m: float) -> np.ndarray:
    """Evenly from pane to pane: light changes fast as a lamp comes up to one."""
    n = max(3, math.ceil((side_m - _FACE_M) / spacing_m) + 1)
    return np.linspace(_FACE_M / 2, side_m - _FACE_M / 2, n)


def _face_points(fixture: Fixture) -> np.ndarray:
    """Points spread evenly over the glowing face about its middle, as seen from above, (n, 2). [m]"""
    u = (np.arange(_POINTS) + 0.5) / _POINTS - 0.5
    x, y = (part.ravel() for part in np.meshgrid(u * fixture.size[0], u * fixture.size[1]))
    if fixture.shape in ("disc", "pendant"):
        inside = np.hypot(x / fixture.size[0], y / fixture.size[1]) <= 0.5
        x, y = x[inside], y[inside]
    c, s = math.cos(fixture.turn), math.sin(fixture.turn)
    return np.stack([c * x - s * y, s * x + c * y], axis=1)


def _within(at: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Places beyond the last emitter taken as its own."""
    return np.clip(at, places[0], places[-1])


def _spline(places: np.ndarray) -> BSpline:
    """Cubic splines through 1 at one place each and 0 at all others."""
    return make_interp_spline(places, np.eye(len(places)), k=min(3, len(places) - 1))
