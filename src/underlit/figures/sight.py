"""Lines of sight into a tank: bent by the front pane, mirrored by panes and water surface, up to what they meet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from underlit.figures.glow import Glow, side_by_side
from underlit.figures.thicket import Thicket, between, unevenness
from underlit.kernels.bvh import build_bvh, new_stack
from underlit.kernels.cast import closest_hits
from underlit.kernels.held import Held

FACES = ("left", "right", "front", "back", "bottom", "top")
_WATER, _SOLID = len(FACES), len(FACES) + 1  # what else a line of sight can meet
_MOST_TURNS = 12
_FAINTEST = 0.004  # share of a line's light below which it is followed no further
_NEAR_M = 1e-7
_INTO_AIR = (
    0.934  # of diffuse light, times 1/n^2: transmittance from water to air (external reflectance 0.066)
)


@dataclass(frozen=True)
class Backing:
    """What a pane shows to a line of sight from inside.

    Attributes
    ----------
    film : Glow, optional
        Light of the film or wall behind it, at the corners of a grid; without one, a dark room.
    u_m, v_m : ndarray
        Corners of that grid along the pane and up. [m]
    bonded : bool
        Glued on: nothing is mirrored by the pane.
    mirror : float
        Reflectance of a mirror behind; 0 for none.
    clear : float
        Share of light that the dirt lets through at each crossing.
    """

    film: Glow | None = None
    u_m: np.ndarray = field(default_factory=lambda: np.zeros(0))
    v_m: np.ndarray = field(default_factory=lambda: np.zeros(0))
    bonded: bool = False
    mirror: float = 0.0
    clear: float = 1.0


@dataclass(frozen=True)
class Solids:
    """Soil and hardscape together: triangles and their glow.

    Attributes
    ----------
    vertices_m : ndarray, shape (V, 3)
    faces : ndarray, shape (F, 3)
    glow : Glow
    grain_m, grain : ndarray, shape (F,)
        Decoration: size of the grains [m] and how much they differ, in the logarithm of light.
    """

    vertices_m: np.ndarray
    faces: np.ndarray
    glow: Glow
    grain_m: np.ndarray
    grain: np.ndarray


@dataclass(frozen=True)
class Tank:
    """A tank to look into.

    Attributes
    ----------
    size_m : ndarray, shape (3,)
        Inside. [m]
    level_m : float
        Of the water; 0 for none. [m]
    glass_m : float
        Thickness of the front pane. [m]
    n_water, n_glass : float
    cover : float
        Share of the water surface under floating plants; from below they are taken as dark.
    panes : mapping of str to Backing
        `left`, `right`, `front`, `back`.
    solids : Solids
    thickets : sequence of Thicket
    """

    size_m: np.ndarray
    level_m: float
    glass_m: float
    n_water: float
    n_glass: float
    cover: float
    panes: Mapping[str, Backing]
    solids: Solids
    thickets: Sequence[Thicket] = ()


@dataclass
class Rays:
    """Lines of sight on their way, all arrays of one length."""

    number: np.ndarray
    at_m: np.ndarray
    way: np.ndarray
    wet: np.ndarray
    weight: np.ndarray
    path_m: np.ndarray

    def some(self, which: np.ndarray) -> Rays:
        return Rays(*(array[which] for array in vars(self).values()))


def fresnel(cosine: np.ndarray, eta: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """Reflectance for unpolarised light and the cosine beyond; `eta`: index before over index beyond."""
    sine2 = np.square(eta) * (1.0 - np.square(cosine))
    beyond = np.sqrt(np.maximum(1.0 - sine2, 0.0))
    s = (eta * cosine - beyond) / np.maximum(eta * cosine + beyond, 1e-12)
    p = (cosine - eta * beyond) / np.maximum(cosine + eta * beyond, 1e-12)
    return np.where(sine2 >= 1.0, 1.0, 0.5 * (s * s + p * p)), beyond


def enter(tank: Tank, eye_m: np.ndarray, pane_m: np.ndarray) -> Rays:
    """Lines of sight from an eye in the room, just behind the front pane.

    Parameters
    ----------
    eye_m : ndarray, shape (3,)
        y below 0, in front of the pane. [m]
    pane_m : ndarray, shape (n, 2)
        x, z on the outer face of the pane. [m]

    Notes
    -----
    Refraction at a plane pane is exact: the components of the direction along the pane are kept, times the index.
    """
    points = np.column_stack([pane_m[:, 0], np.full(len(pane_m), -tank.glass_m), pane_m[:, 1]])
    way = points - eye_m
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    first, in_glass = fresnel(way[:, 1], 1.0 / tank.n_glass)
    side = way[:, [0, 2]]
    points[:, [0, 2]] += side / tank.n_glass * (tank.glass_m / in_glass)[:, None]
    points[:, 1] = 0.0
    wet = points[:, 2] < tank.level_m
    index = np.where(wet, tank.n_water, 1.0)
    second, ahead = fresnel(in_glass, tank.n_glass / index)
    bent = np.column_stack([side[:, 0] / index, ahead, side[:, 1] / index])
    within = np.all((points[:, [0, 2]] > 0) & (points[:, [0, 2]] < tank.size_m[[0, 2]]), axis=1)
    weight = (1.0 - first) * (1.0 - second) * tank.panes["front"].clear * within
    return Rays(np.arange(len(points)), points, bent, wet, weight, np.zeros(len(points)))


def in_all_lights(tanks: Sequence[Tank]) -> Tank:
    """The same tank in several lights as one, so that each line of sight is followed once."""

    def film(side: str) -> Glow | None:
        films = [tank.panes[side].film for tank in tanks]
        return side_by_side([one for one in films if one]) if films[0] else None

    first = tanks[0]
    return replace(
        first,
        panes={side: replace(pane, film=film(side)) for side, pane in first.panes.items()},
        solids=replace(first.solids, glow=side_by_side([tank.solids.glow for tank in tanks])),
        thickets=[
            replace(same[0], glow=side_by_side([one.glow for one in same]))
            for same in zip(*(tank.thickets for tank in tanks), strict=True)
        ],
    )


class Sight:
    """A tank made ready to be looked into."""

    def __init__(self, tank: Tank) -> None:
        self.tank = tank
        self.bvh = Held(build_bvh(tank.solids.vertices_m, tank.solids.faces))
        corners = tank.solids.vertices_m[tank.solids.faces]
        self.corner, self.sides = corners[:, 0], corners[:, 1:] - corners[:, :1]

    def look(self, rays: Rays) -> np.ndarray:
        """Light that comes along each line of sight: X, Y, Z, (n, 3), of each light of the tank in turn. [cd m-2]"""
        seen = np.zeros((len(rays.number), self.tank.solids.glow.log_xyz.shape[-1]))
        rays = rays.some(rays.weight > 0)
        for _ in range(_MOST_TURNS):
            if not len(rays.number):
                break
            start = replace(rays)
            met, face = self._advance(rays)
            self._see_leaves(start, rays, seen)
            self._see_solids(rays.some(met == _SOLID), face[met == _SOLID], seen)
            self._meet_water(rays, met == _WATER)
            for wall, name in enumerate(FACES[:4]):
                self._meet_pane(rays, met == wall, name, seen)
            rays.weight[(met == _SOLID) | (met == FACES.index("bottom")) | (met == FACES.index("top"))] = 0.0
            rays = rays.some(rays.weight > _FAINTEST)
        return seen

    def _advance(self, rays: Rays) -> tuple[np.ndarray, np.ndarray]:
        """Move each line on to what it meets first: a number of `FACES`, water or solid; and the triangle."""
        with np.errstate(divide="ignore", invalid="ignore"):
            far = np.where(rays.way > 0, self.tank.size_m, 0.0)
            to_wall = np.where(rays.way == 0, np.inf, (far - rays.at_m) / rays.way)
            to_water = (self.tank.level_m - rays.at_m[:, 2]) / rays.way[:, 2]
        ends = np.column_stack([to_wall, np.where(to_water > _NEAR_M, to_water, np.inf)])
        which = ends.argmin(axis=1)
        limit = np.maximum(ends.min(axis=1), 0.0)
        axis = np.minimum(which, 2)
        upper = np.take_along_axis(rays.way, axis[:, None], 1)[:, 0] > 0
        met = np.where(which == 3, _WATER, 2 * axis + upper)
        length, face = np.empty(len(limit)), np.empty(len(limit), np.int64)
        closest_hits(self.bvh, rays.at_m, rays.way, limit, new_stack(), length, face)
        rays.at_m = rays.at_m + length[:, None] * rays.way
        rays.path_m = rays.path_m + np.where(rays.wet, length, 0.0)
        return np.where(face >= 0, _SOLID, met), face

    def _see_leaves(self, start: Rays, rays: Rays, seen: np.ndarray) -> None:
        """Leaves between the start of each stretch and where it has come to."""
        for thicket in self.tank.thickets:
            length = np.linalg.norm(rays.at_m - start.at_m, axis=1)
            light, left = thicket.along(start.at_m, start.way, length, start.path_m, start.wet)
            start.weight = rays.weight
            seen[rays.number] += self._dim(start)[:, None] * light
            rays.weight = rays.weight * left

    def _dim(self, rays: Rays) -> np.ndarray:
        """What radiance loses from where a line is to the air in front: its own share, and 1/n^2 from water."""
        return rays.weight / np.where(rays.wet, self.tank.n_water**2, 1.0)

    def _see_solids(self, rays: Rays, face: np.ndarray, seen: np.ndarray) -> None:
        a, b = self.sides[face, 0], self.sides[face, 1]
        p = rays.at_m - self.corner[face]
        aa, ab, bb = (np.einsum("nj,nj->n", u, v) for u, v in ((a, a), (a, b), (b, b)))
        pa, pb = (np.einsum("nj,nj->n", p, u) for u in (a, b))
        area = np.maximum(aa * bb - ab * ab, 1e-30)
        u, v = (bb * pa - ab * pb) / area, (aa * pb - ab * pa) / area
        share = np.clip(np.column_stack([1.0 - u - v, u, v]), 0.0, 1.0)
        share /= share.sum(axis=1, keepdims=True)
        solids = self.tank.solids
        light = solids.glow.seen(solids.faces[face], share, rays.path_m)
        grains = unevenness(rays.at_m / solids.grain_m[face, None])
        light *= np.exp(solids.grain[face] * grains - 0.5 * solids.grain[face] ** 2)[:, None]
        seen[rays.number] += self._dim(rays)[:, None] * light

    def _meet_water(self, rays: Rays, met: np.ndarray) -> None:
        """From below a mirror, the more so the flatter; from above, in. What comes through from above is dark."""
        below, above = met & rays.wet, met & ~rays.wet
        reflectance, _ = fresnel(np.abs(rays.way[below, 2]), self.tank.n_water)
        rays.weight[below] *= reflectance * (1.0 - self.tank.cover)
        rays.way[below, 2] *= -1.0
        reflectance, ahead = fresnel(np.abs(rays.way[above, 2]), 1.0 / self.tank.n_water)
        rays.weight[above] *= (1.0 - reflectance) * (1.0 - self.tank.cover)
        rays.way[above] /= self.tank.n_water
        rays.way[above, 2] = -ahead
        rays.wet[above] = True

    def _meet_pane(self, rays: Rays, met: np.ndarray, name: str, seen: np.ndarray) -> None:
        """A pane mirrors what strikes it flatly; of the rest, what is behind it is seen."""
        pane, axis = self.tank.panes[name], FACES.index(name) // 2
        index = np.where(rays.wet[met], self.tank.n_water, 1.0)
        mirrored, _ = fresnel(np.abs(rays.way[met, axis]), index)
        through = 1.0 - mirrored
        if pane.bonded:
            mirrored, through = np.zeros(len(index)), np.ones(len(index))
        rays.weight[met] *= pane.clear
        if pane.film is not None:
            rest = rays.some(met)
            kept = through * (1.0 if pane.bonded else _INTO_AIR)
            seen[rest.number] += (kept * self._dim(rest))[:, None] * _on_film(pane, rest, 1 - axis)
        rays.weight[met] *= (mirrored + through * pane.mirror) * pane.clear
        rays.way[met, axis] *= -1.0


def _on_film(pane: Backing, rays: Rays, along: int) -> np.ndarray:
    """Light of the film where lines of sight end on it, (n, 3). [cd m-2]"""
    assert pane.film is not None
    (i, u), (j, v) = (
        between(corners, rays.at_m[:, axis]) for corners, axis in ((pane.u_m, along), (pane.v_m, 2))
    )
    row = len(pane.u_m)
    vertex = np.column_stack([j * row + i, j * row + i + 1, (j + 1) * row + i, (j + 1) * row + i + 1])
    share = np.column_stack([(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v])
    return pane.film.seen(vertex, share, rays.path_m)
