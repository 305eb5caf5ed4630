"""From a result to what the drawing functions take: maps, outlines, sections, panes, meshes, shares."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from functools import cached_property
from typing import Any

import numpy as np
from scipy.interpolate import RegularGridInterpolator

import underlit
from underlit.figures.budget import Share, kind_of
from underlit.figures.data import LightMap, Plan, Solid, Zone
from underlit.figures.lamp import Lamp, face
from underlit.figures.outline import FROM_ABOVE, Coverage, cut, footprint, seen_parts
from underlit.figures.painted import Glass, LitMesh
from underlit.figures.panes import SIDES, Pane
from underlit.figures.section import Section
from underlit.figures.settings import settings_words
from underlit.metrics import maps
from underlit.metrics.estimate import Estimate, rounded
from underlit.metrics.footprint import Lattice
from underlit.results.result import Result, Surface
from underlit.scene.model import Scene

LEAST_OPEN_SHARE = 0.2  # of a cell; below it, what little light it caught says nothing
LISTED_PIECES = 6  # of hardscape, in the light budget
_CELLS_ACROSS = 450  # resolution of outlines: cells along the longest side of the tank


class Reading:
    """A result at one setting of its channels, in the words of the figures.

    Parameters
    ----------
    res : Result
    dims : optional
        Settings of the channels, as `metrics.maps.dim_settings` takes them; default those of the scene.
    """

    def __init__(self, res: Result, dims: maps.Dims = None) -> None:
        self.res, self.scene = res, res.scene
        self.dims = maps.dim_settings(res, dims)
        tank = self.scene.tank
        self.size_m = np.array([tank.length, tank.width, tank.height])
        self._maps: dict[str, LightMap] = {}
        self._kept: dict[Hashable, Any] = {}

    @classmethod
    def of(cls, res: Result | Reading, dims: maps.Dims = None) -> Reading:
        """A reading as it is, or one of a result."""
        return res if isinstance(res, Reading) else cls(res, dims)

    def at(self, dims: maps.Dims) -> Reading:
        """The same result at another setting; what does not hang on the setting is not worked out again."""
        other = Reading(self.res, dims)
        other._kept = self._kept
        return other

    def once(self, key: Hashable, make: Callable[[], Any]) -> Any:
        """Something that is the same at every setting, made when it is first asked for."""
        if key not in self._kept:
            self._kept[key] = make()
        return self._kept[key]

    @property
    def title(self) -> str:
        return self.scene.title or self.res.scene_file

    def ppfd(self, name: str) -> Estimate:
        return maps.ppfd(self.res, name, self.dims)

    def names(self, kind: str) -> list[str]:
        """Surfaces whose name begins with a word, such as `hardscape`."""
        return [name for name in self.res.surfaces if name.split(" ")[0] == kind]

    def settings(self) -> str:
        """How the lamps are set: "lamps at 100 %", or channel by channel."""
        return settings_words(self.res.channels, self.dims.tolist())

    def provenance(self) -> str:
        """Photons, seed and program, for the foot of a figure."""
        version = self.res.versions.get("underlit", underlit.__version__)
        return f"{count_words(self.res.n_photons)} photons, seed {self.res.seed}, underlit {version}."

    def error_note(self, name: str) -> str:
        """Standard error of the median cell of a surface, in words."""
        density, surface = self.ppfd(name), self.res.surface(name)
        lit = density.value > 0
        if not lit.any():
            return "No light was counted here."
        relative = 100 * float(np.median(density.rel_err[lit]))
        cell = f"{round(100 * float(np.sqrt(np.median(surface.cell_area_m2))), 1):g} cm"
        what = f"{cell} cell" if surface.kind == "grid" else f"patch of about {cell}"
        return f"Standard error of the median {what}: {rounded(relative, relative / 10)} %."

    @cached_property
    def soil_height(self) -> RegularGridInterpolator:
        """Height of the soil at (y, x), carried on straight from the outermost cells to the panes. [m]"""
        soil = self.res.surface("soil")
        height = soil.cell_centre_m[:, 2].reshape(soil.shape)
        x_edges, y_edges = edges_of(soil)
        axes = middles(y_edges), middles(x_edges)
        return RegularGridInterpolator(axes, height, bounds_error=False, fill_value=None)

    def soil_along(self, axis: int, at_m: float) -> tuple[np.ndarray, np.ndarray]:
        """Soil profile along x (`axis` 0) at a y, or along y (`axis` 1) at an x. [m]"""
        along = np.linspace(0.0, self.size_m[axis], 121)
        points = (np.full(121, at_m), along) if axis == 0 else (along, np.full(121, at_m))
        return along, self.soil_height(points)

    @cached_property
    def cell_m(self) -> float:
        return float(self.size_m.max() / _CELLS_ACROSS)

    @cached_property
    def solids(self) -> list[Solid]:
        """Hardscape as it is seen from above, and where it stands in the soil."""
        box = (0.0, self.size_m[0], 0.0, self.size_m[1])
        names = self.names("hardscape")
        meshes = [(mesh.vertices_m, mesh.faces) for mesh in map(self.res.surface, names)]
        above = seen_parts(meshes, FROM_ABOVE, box, self.cell_m)
        return [
            Solid(
                name.removeprefix("hardscape "), seen,
                footprint(*mesh, lambda x, y: self.soil_height((y, x)), box, self.cell_m),
            )
            for name, mesh, seen in zip(names, meshes, above, strict=True)
        ]  # fmt: skip

    def open_share(self, surface: Surface) -> np.ndarray:
        """Share of each cell of a horizontal grid that lies in neither hardscape nor soil, (C,)."""
        share: np.ndarray = self.once(("open share", surface.name), lambda: self._open_share(surface))
        return share

    def _open_share(self, surface: Surface) -> np.ndarray:
        lattice = Lattice.over(surface)
        free = ~lattice.in_hardscape(self.res)
        if surface.name != "soil":
            y, x = np.meshgrid(lattice.y_m, lattice.x_m, indexing="ij")
            free &= lattice.z_m > self.soil_height((y, x))
        return lattice.shares(free)

    @cached_property
    def lamps(self) -> list[Lamp]:
        return lamps_of(self.scene)

    def horizontal_map(self, name: str = "soil") -> LightMap:
        """PPFD on the open part of each cell of a horizontal grid; NaN where next to nothing is open."""
        if name not in self._maps:
            surface, density = self.res.surface(name), self.ppfd(name)
            share = self.open_share(surface)
            share = np.where(share < LEAST_OPEN_SHARE, np.nan, share)
            value, error = ((v / share).reshape(surface.shape) for v in (density.value, density.std_err))
            self._maps[name] = LightMap(*edges_of(surface), value, error)
        return self._maps[name]

    def plan(self) -> Plan:
        """Everything drawn over a map of the soil."""
        points, values = self._meter_points()
        return Plan(
            self.scene.tank.length,
            self.scene.tank.width,
            self.scene.tank.thickness,
            self.solids,
            zones_of(self.scene),
            [lamp.corners_m[:, :2] for lamp in self.lamps],
            points,
            values,
        )

    def _meter_points(self) -> tuple[np.ndarray, np.ndarray]:
        """Places of the scene's meters seen from above, the lowest of each, and what a meter shows there."""
        lowest: dict[tuple[float, float], float] = {}
        for meter in self.scene.meter:
            for x, y, z in meter.points:
                lowest[x, y] = min(z, lowest.get((x, y), np.inf))
        spots = np.array([(x, y, z) for (x, y), z in lowest.items()]).reshape(-1, 3)
        return spots[:, :2], np.array([self._reading_at(*spot) for spot in spots])

    def _reading_at(self, x: float, y: float, z: float) -> float:
        """PPFD in the cell below a point, on the horizontal surface nearest to its height. [umol m-2 s-1]"""
        heights = {name: self.res.surface(name).cell_centre_m[0, 2] for name in self.names("plane")}
        heights["soil"] = float(self.soil_height((y, x)))
        name = min(heights, key=lambda name: abs(heights[name] - z))
        light = self.horizontal_map(name)
        return float(light.value[cell_at(light.y_edges_m, y), cell_at(light.x_edges_m, x)])

    def sections(self) -> list[Section]:
        """Two upright sections: along the front at a y, and from front to back at an x."""
        x, y = self.section_places()
        return [self.section(0, y), self.section(1, x)] if self.names("plane") else []

    def section_places(self) -> tuple[float, float]:
        """x and y through the highest point of the hardscape; through the middle where that is mostly stone. [m]"""
        middle = self.size_m[:2] / 2
        tops = [self.res.surface(name).vertices_m for name in self.names("hardscape")]
        if not tops:
            return float(middle[0]), float(middle[1])
        vertices = np.concatenate(tops)
        top = vertices[vertices[:, 2].argmax(), :2]
        top = np.clip(top, 0.02 * self.size_m[:2], 0.98 * self.size_m[:2])
        covered = np.sum([solid.above.share for solid in self.solids], axis=0)
        column, row = (int(at) for at in top / self.cell_m)
        if covered[:, column].mean() > 0.5:
            top[0] = middle[0]
        if covered[row].mean() > 0.5:
            top[1] = middle[1]
        return float(top[0]), float(top[1])

    def section(self, axis: int, at_m: float) -> Section:
        """The upright section along x (`axis` 0) at y = `at_m`, or along y (`axis` 1) at x = `at_m`."""
        planes = sorted(self.names("plane"), key=lambda name: self.res.surface(name).cell_centre_m[0, 2])
        rows = [self._row(name, axis, at_m) for name in planes]
        x_soil, z_soil = self.soil_along(axis, at_m)
        edges, soil = self._row("soil", axis, at_m)
        free = np.isfinite(soil)
        words = ("from the left", "from the front")
        return Section(
            name=f"{100 * at_m:.0f} cm {words[1 - axis]}",
            axis_name=words[axis],
            x_edges_m=rows[0][0],
            z_m=np.array([self.res.surface(name).cell_centre_m[0, 2] for name in planes]),
            value=np.array([value for _, value in rows]),
            soil_x_m=x_soil,
            soil_z_m=z_soil,
            length_m=float(self.size_m[axis]),
            height_m=float(self.size_m[2]),
            water_m=self.scene.water.level,
            soil_value=np.interp(x_soil, middles(edges)[free], soil[free]) if free.any() else None,
            solid=self._cut(axis, at_m),
            lamps_m=[(*np.sort(lamp.corners_m[:, axis])[[0, -1]], lamp.height_m) for lamp in self.lamps],
            leaves_m=self._leaves(axis, at_m),
            glass_m=self.scene.tank.thickness,
        )

    def _leaves(self, axis: int, at_m: float) -> list[tuple[float, float, float]]:
        """Stretches of a section that run through a canopy, and its height. [m]"""
        found = []
        for plant in self.scene.plant:
            if plant.canopy is not None and plant.outline is not None:
                spans = stretches(np.array(plant.outline), axis, at_m)
                found += [(start, end, plant.canopy.height) for start, end in spans]
        return found

    def _row(self, name: str, axis: int, at_m: float) -> tuple[np.ndarray, np.ndarray]:
        """Cell edges and values of a horizontal map along one line."""
        light = self.horizontal_map(name)
        if axis == 0:
            return light.x_edges_m, light.value[cell_at(light.y_edges_m, at_m)]
        return light.y_edges_m, light.value[:, cell_at(light.x_edges_m, at_m)]

    def _cut(self, axis: int, at_m: float) -> Coverage | None:
        box = (0.0, self.size_m[axis], 0.0, self.size_m[2])
        meshes = [self.res.surface(name) for name in self.names("hardscape")]
        cuts = [cut(mesh.vertices_m, mesh.faces, 1 - axis, at_m, box, self.cell_m / 1.5) for mesh in meshes]
        if not cuts:
            return None
        return Coverage(cuts[0].x_m, cuts[0].y_m, np.max([one.share for one in cuts], axis=0))

    def panes(self) -> dict[str, Pane]:
        """Inside faces of the four panes."""
        return {side: self._pane(side) for side in SIDES if f"pane {side}" in self.res.surfaces}

    def _pane(self, side: str) -> Pane:
        surface, density = self.res.surface(f"pane {side}"), self.ppfd(f"pane {side}")
        share = self.pane_share(side).reshape(surface.shape)
        share = np.where(share < LEAST_OPEN_SHARE, np.nan, share)
        value, error = (v.reshape(surface.shape) / share for v in (density.value, density.std_err))
        light = LightMap(*edges_of(surface), value, error)
        return Pane(light, *self._soil_at_pane(side), self.scene.water.level)

    def pane_share(self, side: str) -> np.ndarray:
        """Share of each cell of a pane that lies above the soil, (C,)."""
        x_edges, y_edges = edges_of(self.res.surface(f"pane {side}"))
        soil = np.interp(middles(x_edges), *self._soil_at_pane(side))
        low, high = y_edges[:-1, None], y_edges[1:, None]
        return np.clip((high - soil[None, :]) / (high - low), 0.0, 1.0).ravel()

    def _soil_at_pane(self, side: str) -> tuple[np.ndarray, np.ndarray]:
        at = {"front": (0, 0.0), "back": (0, self.size_m[1]), "left": (1, 0.0), "right": (1, self.size_m[0])}
        return self.soil_along(*at[side])

    def lit_mesh(self, name: str) -> LitMesh:
        """A surface with its PPFD, to be painted."""
        surface = self.res.surface(name)
        value = self.ppfd(name).value
        if name == "soil":  # beside a stone, the light of the open part of a cell, as on the map
            light = self.horizontal_map(name).value.ravel()
            value = np.where(np.isnan(light), value, light)
        return LitMesh(name, surface.vertices_m, surface.faces, surface.cell_of_face, value)

    def glass(self) -> Glass:
        tank = self.scene.tank
        return Glass(tank.length, tank.width, tank.height, self.scene.water.level)

    def shares(self) -> list[Share]:
        """Where photons of the present setting end, of a hundred."""
        budget = self.res.budget
        weights = maps.channel_weights(self.res, "all") * self.dims[:, None]
        by_source = np.zeros(budget.share.shape[1::2])
        for channel, weight in zip(self.res.channels, weights, strict=True):
            by_source[channel.source] += weight
        samples = 100.0 * np.einsum("ksnb,sb->kn", budget.share, by_source / by_source.sum())
        ends = self._few_pieces(dict(zip(budget.names, samples.T, strict=True)))
        return [
            Share(name, float(end.value), float(end.std_err), kind_of(name))
            for name, end in ((name, Estimate(parts)) for name, parts in ends.items())
        ]

    def _few_pieces(self, ends: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        """The same, with all but the largest pieces of hardscape taken together where there are many."""
        pieces = [name for piece in self.scene.hardscape if (name := f"absorbed by {piece.name}") in ends]
        pieces.sort(key=lambda name: -float(ends[name].mean()))
        if len(pieces) <= LISTED_PIECES + 1:
            return ends
        rest = pieces[LISTED_PIECES:]
        kept = {name: parts for name, parts in ends.items() if name not in rest}
        return kept | {
            f"absorbed by {len(rest)} smaller pieces": np.sum([ends[name] for name in rest], axis=0)
        }


def lamps_of(scene: Scene) -> list[Lamp]:
    """Lamps of a scene as they hang."""
    found = []
    for fixture in scene.fixture:
        place = (*fixture.position, scene.emitter_height(fixture))
        corners, aim = face(fixture.shape, fixture.size, place, fixture.turn, fixture.tilt, fixture.tilt_to)
        beams = {round(c.beam.fwhm, 6) for c in fixture.channel if c.beam.file is None}
        found.append(Lamp(fixture.name, corners, aim, tuple(sorted(beams))))
    return found


def zones_of(scene: Scene) -> list[Zone]:
    """Plant zones with an outline on the soil, their wanted band in the name."""
    return [
        Zone(
            f"{plant.name} {plant.band[0]:g}–{plant.band[1]:g}",
            np.array(plant.outline),
            plant.canopy.height if plant.canopy is not None else 0.0,
        )
        for plant in scene.plant
        if plant.outline is not None
    ]


def edges_of(surface: Surface) -> tuple[np.ndarray, np.ndarray]:
    """Cell edges of a grid in both directions. [m]"""
    if surface.x_edges_m is None or surface.y_edges_m is None:
        raise ValueError(f"`{surface.name}` is no grid")
    return surface.x_edges_m, surface.y_edges_m


def stretches(outline_m: np.ndarray, axis: int, at_m: float) -> list[tuple[float, float]]:
    """Where a straight line along x (`axis` 0, at y = `at_m`) or y runs inside a closed outline (n, 2). [m]"""
    along, across = outline_m[:, axis], outline_m[:, 1 - axis]
    after, beyond = np.roll(along, -1), np.roll(across, -1)
    meets = (across > at_m) != (beyond > at_m)
    share = (at_m - across[meets]) / (beyond[meets] - across[meets])
    crossings = np.sort(along[meets] + share * (after[meets] - along[meets]))
    return [(float(start), float(end)) for start, end in crossings.reshape(-1, 2)]


def middles(edges: np.ndarray) -> np.ndarray:
    return 0.5 * (edges[1:] + edges[:-1])


def cell_at(edges: np.ndarray, at: float) -> int:
    """Index of the cell that holds a coordinate."""
    return int(np.clip(np.searchsorted(edges, at, side="right") - 1, 0, len(edges) - 2))


def count_words(n: int) -> str:
    """A large count to two digits, in words: 4.2 million."""
    for size, word in ((1e9, "thousand million"), (1e6, "million"), (1e3, "thousand")):
        if n >= size:
            return f"{float(f'{n / size:.2g}'):g} {word}"
    return str(n)


def join(parts: Sequence[str]) -> str:
    """Sentences of a note, in one line."""
    return " ".join(part for part in parts if part)
