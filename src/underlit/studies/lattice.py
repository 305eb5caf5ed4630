"""A stand-in for the tracer while lamps are moved about: what a lattice of small emitters gives, added up.

For one height and tilt, small faces on a lattice over the tank are traced at once, each as a source of its own. Light
adds up, so a lamp anywhere is a weighted sum of them. What lies between the emitters is taken as straight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from underlit.metrics import ends, maps
from underlit.metrics.estimate import Estimate
from underlit.metrics.spread import Area
from underlit.metrics.zones import Zone, find_zones
from underlit.scene.lamps import Fixture
from underlit.scene.model import Scene

SPACING_M = 0.05
PHOTONS_PER_EMITTER = 20_000
_REPLICATES, _CELL_M, _PLANE_CELL_M = 4, 0.02, 0.02
_FACE = 0.5  # side of an emitter over their spacing
_POINTS = 24  # along each side of a lamp's face


@dataclass(frozen=True, eq=False)
class Lattice:
    """What emitters at one height and tilt give.

    Parameters
    ----------
    fixture : Fixture
        The lamp that they stand for.
    x_m, y_m : ndarray, shape (nx,), (ny,)
        Places of the emitters. [m]
    zones : list of Zone
    light : list of ndarray, shape (nx * ny, C)
        Light of the whole lamp, its channels in the mix of the scene, in the cells of each zone if it stood there as a
        small face. [umol m-2 s-1]
    kept : list of float
        Share of the spread in each zone that is no noise, see `spread.Area`.
    spill_umol_s : ndarray, shape (nx * ny,)
        Light into the room. [umol s-1]
    watts : float
        Of the lamp at full setting in that mix. [W]
    """

    fixture: Fixture
    x_m: np.ndarray
    y_m: np.ndarray
    zones: list[Zone]
    light: list[np.ndarray] = field(repr=False)
    kept: list[float]
    spill_umol_s: np.ndarray = field(repr=False)
    watts: float

    def weights(self, x_m: float, y_m: float) -> np.ndarray:
        """Share of each emitter in a lamp whose middle stands at a place, (nx * ny,)."""
        points = _face_points(self.fixture) + [x_m, y_m]
        i, u = _between(self.x_m, points[:, 0])
        j, v = _between(self.y_m, points[:, 1])
        found = np.zeros((len(self.y_m), len(self.x_m)))
        for dj, wj in ((0, 1 - v), (1, v)):
            for di, wi in ((0, 1 - u), (1, u)):
                np.add.at(found, (j + dj, i + di), wi * wj / len(points))
        return found.ravel()

    def at(self, x_m: float, y_m: float) -> tuple[list[np.ndarray], float]:
        """Light in the cells of each zone [umol m-2 s-1], and into the room [umol s-1], of a lamp at a place."""
        weights = self.weights(x_m, y_m)
        return [weights @ light for light in self.light], float(weights @ self.spill_umol_s)


def trace_lattice(
    scene: Scene,
    fixture: Fixture,
    *,
    spacing_m: float = SPACING_M,
    photons: int = PHOTONS_PER_EMITTER,
    seed: int = 1,
    threads: int | None = None,
) -> Lattice:
    """Trace the emitters for a lamp at its height and tilt.

    Parameters
    ----------
    scene : Scene
        Its own lamps are left out.
    fixture : Fixture
        Its place does not matter.
    spacing_m : float
        Between emitters, at most. [m]
    photons : int
        For each emitter.
    seed : int
    threads : int, optional

    Returns
    -------
    Lattice
    """
    from underlit.tracer import trace

    tank = scene.tank
    x, y = (_places(side, spacing_m) for side in (tank.length, tank.width))
    own, mix, watts = _lamp(scene, fixture)
    small = _FACE * min(x[1] - x[0], y[1] - y[0])
    emitters = tuple(
        own.model_copy(
            update={"name": f"{i}", "position": (px, py), "shape": "panel", "size": (small, small)}
        )
        for i, (py, px) in enumerate((py, px) for py in y for px in x)
    )
    run: dict[str, Any] = {"cell": _CELL_M, "plane_cell": _PLANE_CELL_M, "replicates": _REPLICATES}
    if all(plant.read_height == 0 for plant in scene.plant):
        run["planes"] = ()
    made = scene.model_copy(
        update={"fixture": emitters, "window": None, "run": scene.run.model_copy(update=run)}
    )
    n, m = len(emitters), len(mix)
    beams = len({repr(channel.beam) for channel in own.channel})
    res = trace(made, photons=photons * n * beams, seed=seed, threads=threads)
    zones = find_zones(res)
    light, kept = [], []
    for zone in zones:
        each = zone.light(maps.ppfd_by_channel(res, zone.surface)).cells.samples
        by_emitter = np.einsum("kimc,m->kic", each.reshape(len(each), n, m, -1), mix)
        light.append(by_emitter.mean(axis=0))
        kept.append(Area(Estimate(by_emitter.mean(axis=1)), zone.area_m2).kept)
    weights = (maps.channel_weights(res, "all") * np.tile(mix, n)[:, None]).reshape(n, m, -1)
    into = [ends.group_of(res, name) == ends.ROOM for name in res.budget_names]
    room = res.budget.share[:, :, into].sum(axis=2).mean(axis=0)
    sources = np.array([channel.source for channel in res.channels]).reshape(n, m)
    spill = np.einsum("imb,imb->i", weights, room[sources])
    return Lattice(fixture, x, y, zones, light, kept, spill, watts)


def _lamp(scene: Scene, fixture: Fixture) -> tuple[Fixture, np.ndarray, float]:
    """The lamp with its output as photons, whatever its size; its mix, the brightest channel at 1; its watts."""
    from underlit.tracer.sources import build_lamps

    alone = build_lamps(scene.model_copy(update={"fixture": (fixture,), "window": None}))
    dims = np.array([channel.dim for channel in fixture.channel])
    mix = dims / dims.max() if dims.max() > 0 else np.ones(len(dims))
    channels = tuple(
        channel.model_copy(update={
            "flux": float(built.spectrum.sum()), "efficacy": None, "lumens": None, "reading": None, "leds": 0,
            "positions": None, "dim": 1.0,
        })
        for channel, built in zip(fixture.channel, alone.channels, strict=True)
    )  # fmt: skip
    watts = float(mix @ [channel.power for channel in fixture.channel])
    return fixture.model_copy(update={"channel": channels, "shade": None}), mix, watts


def _places(side_m: float, spacing_m: float) -> np.ndarray:
    """Evenly from pane to pane, the outermost half a step inside."""
    n = max(3, math.ceil(side_m / spacing_m))
    return (np.arange(n) + 0.5) / n * side_m


def _face_points(fixture: Fixture) -> np.ndarray:
    """Points spread evenly over the glowing face about its middle, as seen from above, (n, 2). [m]"""
    u = (np.arange(_POINTS) + 0.5) / _POINTS - 0.5
    x, y = (part.ravel() for part in np.meshgrid(u * fixture.size[0], u * fixture.size[1]))
    if fixture.shape in ("disc", "pendant"):
        inside = np.hypot(x / fixture.size[0], y / fixture.size[1]) <= 0.5
        x, y = x[inside], y[inside]
    c, s = math.cos(fixture.turn), math.sin(fixture.turn)
    return np.stack([c * x - s * y, s * x + c * y], axis=1)


def _between(places: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Emitter to the left of each point, and how far on to the next, 0-1; beyond the last, that of the last."""
    position = np.clip((at - places[0]) / (places[1] - places[0]), 0.0, len(places) - 1.0)
    index = np.minimum(position.astype(int), len(places) - 2)
    return index, position - index
