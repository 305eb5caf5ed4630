"""Where light is counted: the tally cells of a scene, as surfaces and as grids for the kernels."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from underlit.geometry import Mesh, patches
from underlit.geometry.topology import area_vectors, face_middles
from underlit.kernels.arrays import FACE_NAMES, GridArrays
from underlit.results.result import Surface
from underlit.scene.hardscape import Piece
from underlit.scene.model import Scene
from underlit.scene.world import World

N_AUTO_PLANES = (4, 10)
_AUTO_PLANE_STEP_M = 0.04


@dataclass
class Layout:
    """Tally cells of all surfaces, numbered through.

    Parameters
    ----------
    surfaces : dict of str to Surface
    first : dict of str to int
        First cell of each surface.
    n_cells : int
    grid : GridArrays
        The grids among them, for the kernels.
    patch_cells : list of ndarray, shape (F,)
        Cell of every face, per piece of hardscape.
    """

    surfaces: dict[str, Surface] = field(default_factory=dict)
    first: dict[str, int] = field(default_factory=dict)
    n_cells: int = 0
    grid: GridArrays = field(init=False)
    patch_cells: list[np.ndarray] = field(default_factory=list)

    def add(self, surface: Surface) -> int:
        """Number the cells of one more surface; its first cell."""
        first = self.n_cells
        self.surfaces[surface.name] = surface
        self.first[surface.name] = first
        self.n_cells += surface.n_cells
        return first


def plan_tally(scene: Scene, world: World) -> Layout:
    """Choose the cells in which light is counted.

    Parameters
    ----------
    scene : Scene
    world : World

    Returns
    -------
    Layout
        Grids on the soil, on the panes, on the water surface and on horizontal planes; patches on hardscape.
    """
    layout = Layout()
    grids = [_soil_grid(scene, world), *_pane_grids(scene), _surface_grid(scene)]
    heights = plane_heights(scene, world)
    grids += [_plane_grid(scene, z) for z in heights]
    offsets = [layout.add(grid) for grid in grids]
    axes = [[axis for axis in (g.x_edges_m, g.y_edges_m) if axis is not None] for g in grids]
    columns = np.array([[len(axis) - 1 for axis in pair] for pair in axes])
    span = np.array([[axis[-1] - axis[0] for axis in pair] for pair in axes])
    layout.grid = GridArrays(
        first=np.array(offsets, np.int64),
        cells=np.hstack([columns / span, columns]),
        plane_z_m=np.array(heights, np.float64),
    )
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        patched = list(pool.map(_patch_surface, scene.hardscape, world.hardscape))
    for surface in patched:
        layout.patch_cells.append((layout.add(surface) + surface.cell_of_face).astype(np.int32))
    return layout


def plane_heights(scene: Scene, world: World) -> list[float]:
    """Heights of the horizontal planes to count light on, rising. [m]"""
    if scene.run.planes is not None:
        return sorted({round(float(z), 6) for z in scene.run.planes})
    top = scene.water.level or scene.tank.height
    low = max(float(world.soil.z_m.min()), 0.0)
    n = int(np.clip(round((top - low) / _AUTO_PLANE_STEP_M), *N_AUTO_PLANES))
    heights = set(np.round(low + (top - low) * np.arange(1, n + 1) / (n + 1), 6).tolist())
    return sorted(heights | _read_heights(scene, world))


def _read_heights(scene: Scene, world: World) -> set[float]:
    """Heights at which a plant zone or a meter is read."""
    heights = set()
    for plant in scene.plant:
        if plant.read_height > 0.0 and plant.outline is not None:
            x, y = np.asarray(plant.outline).mean(axis=0)
            heights.add(round(float(world.soil.height(x, y)) + plant.read_height, 6))
    for meter in scene.meter:
        heights |= {round(float(point[2]), 6) for point in meter.points or ()}
    top = scene.tank.height
    return {z for z in heights if 0.0 < z < top}


def _grid_surface(name, plane, corner, u_axis, v_axis, normal, u_edges, v_edges, area_factor=1.0) -> Surface:
    """A flat grid: vertices, two triangles per cell, and the cells' facts."""
    u_axis, v_axis = np.asarray(u_axis, float), np.asarray(v_axis, float)
    u, v = np.meshgrid(u_edges, v_edges)
    vertices = np.asarray(corner) + u[..., None] * u_axis + v[..., None] * v_axis
    nv, nu = len(v_edges) - 1, len(u_edges) - 1
    corner_of = np.arange(vertices.size // 3, dtype=np.int32).reshape(nv + 1, nu + 1)
    a, b, c, d = (
        k.ravel() for k in (corner_of[:-1, :-1], corner_of[:-1, 1:], corner_of[1:, 1:], corner_of[1:, :-1])
    )
    faces = np.stack([a, b, c, a, c, d], axis=1).reshape(-1, 3)
    vertices = vertices.reshape(-1, 3)
    n_cells = nu * nv
    area = np.outer(np.diff(v_edges), np.diff(u_edges)).ravel() * area_factor
    return Surface(
        name=name,
        kind="grid",
        plane=plane,
        vertices_m=vertices,
        faces=faces.astype(np.int32),
        cell_of_face=np.repeat(np.arange(n_cells, dtype=np.int32), 2),
        cell_area_m2=area,
        cell_centre_m=0.5 * (vertices[a] + vertices[c]),
        cell_normal=np.tile(np.asarray(normal, float), (n_cells, 1)),
        shape=(nv, nu),
        x_edges_m=np.asarray(u_edges, float),
        y_edges_m=np.asarray(v_edges, float),
    )


def _edges(length_m: float, cell_m: float) -> np.ndarray:
    return np.linspace(0.0, length_m, max(1, round(length_m / cell_m)) + 1)


def _soil_grid(scene: Scene, world: World) -> Surface:
    """The soil's cells, square seen from above; their vertices follow the soil."""
    tank, cell = scene.tank, scene.run.cell
    flat = _grid_surface(
        "soil", "horizontal", (0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1),
        _edges(tank.length, cell), _edges(tank.width, cell),
    )  # fmt: skip
    for points in (flat.vertices_m, flat.cell_centre_m):
        points[:, 2] = world.soil.height(points[:, 0], points[:, 1])
    return flat


def _pane_grids(scene: Scene) -> list[Surface]:
    """The inside faces of the five panes, in the order of the kernels' faces."""
    tank, cell = scene.tank, scene.run.plane_cell
    lx, ly, lz = tank.length, tank.width, tank.height
    x, y, z = _edges(lx, cell), _edges(ly, cell), _edges(lz, cell)
    up, along_x, along_y = (0, 0, 1), (1, 0, 0), (0, 1, 0)
    inside = {
        "left": ((0, 0, 0), along_y, up, (1, 0, 0), y, z),
        "right": ((lx, 0, 0), along_y, up, (-1, 0, 0), y, z),
        "front": ((0, 0, 0), along_x, up, (0, 1, 0), x, z),
        "back": ((0, ly, 0), along_x, up, (0, -1, 0), x, z),
        "bottom": ((0, 0, 0), along_x, along_y, (0, 0, 1), x, y),
    }
    return [_grid_surface(f"pane {name}", "surface normal", *inside[name]) for name in FACE_NAMES[:5]]


def _surface_grid(scene: Scene) -> Surface:
    return _horizontal(scene, "water surface", scene.water.level)


def _plane_grid(scene: Scene, z_m: float) -> Surface:
    return _horizontal(scene, f"plane {z_m:.3f}", z_m)


def _horizontal(scene: Scene, name: str, z_m: float) -> Surface:
    tank, cell = scene.tank, scene.run.plane_cell
    return _grid_surface(
        name, "horizontal", (0, 0, z_m), (1, 0, 0), (0, 1, 0), (0, 0, 1),
        _edges(tank.length, cell), _edges(tank.width, cell),
    )  # fmt: skip


def _patch_surface(piece: Piece, mesh: Mesh) -> Surface:
    """A piece of hardscape, in patches of about even area."""
    patch, n = patches(mesh, piece.patch)
    vectors = area_vectors(mesh.vertices_m, mesh.faces)
    face_area = np.linalg.norm(vectors, axis=1)
    area = np.bincount(patch, face_area, n)
    weight = face_area / np.maximum(area[patch], 1e-30)
    middle = face_middles(mesh.vertices_m, mesh.faces)
    centre = np.stack([np.bincount(patch, weight * m, n) for m in middle.T], axis=1)
    normal = np.stack([np.bincount(patch, v, n) for v in vectors.T], axis=1)
    normal = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
    return Surface(
        name=f"hardscape {piece.name}",
        kind="mesh",
        plane="surface normal",
        vertices_m=mesh.vertices_m,
        faces=mesh.faces,
        cell_of_face=patch.astype(np.int32),
        cell_area_m2=area,
        cell_centre_m=centre,
        cell_normal=normal,
    )
