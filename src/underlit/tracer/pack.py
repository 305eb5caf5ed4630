"""From a scene to the arrays that the kernels take."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from underlit import spectra
from underlit.constants import SURFACE_OFFSET_M
from underlit.geometry import Mesh
from underlit.geometry.polygon import grid_in_outline
from underlit.geometry.topology import face_normals_areas
from underlit.kernels.arrays import (
    AIR_GAP,
    BONDED,
    CLEAN,
    FACE_NAMES,
    IN_HOUSINGS,
    N_FIXED_SINKS,
    SINK_NAMES,
    CanopyArrays,
    CoverArrays,
    MeshArrays,
    SceneArrays,
    SoilArrays,
    TankArrays,
)
from underlit.kernels.bands import padded
from underlit.kernels.bvh import Bvh, build_bvh
from underlit.kernels.leaves import ANGLE_RULES
from underlit.scene.model import Scene
from underlit.scene.world import World, build_world
from underlit.tracer.housings import housing_meshes
from underlit.tracer.layout import Layout, plan_tally

# One geometric path serves all bands: refraction is that of the middle of the visible range.
PATH_NM = 550.0

# What a lid's grime and drops let through (common practice, no source; drops on glass and on plastic after greenhouse
# measurements of condensation, from memory).
LID_CLEAR = {"clean": 1.0, "lived-in": 0.93, "neglected": 0.75, "condensation": 0.97}
_DROPS_ON_PLASTIC = 0.78

_COLUMN_M = 0.005


class Reflectances:
    """The table of surface reflectances, a row for each surface met."""

    def __init__(self, wavelength_nm: np.ndarray, folder) -> None:
        self._wavelength_nm, self._folder = wavelength_nm, folder
        self._rows: list[np.ndarray] = []

    def add(self, spec) -> int:
        """Row of a surface material, as `spectra.surface_reflectance` takes it."""
        return self.add_values(spectra.surface_reflectance(spec, self._wavelength_nm, self._folder))

    def add_values(self, values) -> int:
        """Row of given reflectances or transmittances, shape (n_bands,) or one number."""
        row = np.zeros(padded(len(self._wavelength_nm)), np.float32)
        row[: len(self._wavelength_nm)] = values
        self._rows.append(row)
        return len(self._rows) - 1

    def table(self) -> np.ndarray:
        """All rows, shape (n, B)."""
        return np.array(self._rows, np.float32)


@dataclass(frozen=True, eq=False)
class Packed:
    """A scene ready to be traced.

    Parameters
    ----------
    arrays : SceneArrays
    bvh : Bvh
    layout : Layout
    sinks : list of str
        Names of the light budget's entries.
    wavelength_nm : ndarray, shape (n_bands,)
        [nm]
    """

    arrays: SceneArrays
    bvh: Bvh
    layout: Layout
    sinks: list[str]
    wavelength_nm: np.ndarray


def pack(
    scene: Scene,
    world: World | None = None,
    wavelength_nm: np.ndarray = spectra.NODES_NM,
    bvh_layout: str | None = None,
) -> Packed:
    """Lay out a scene for the tracer.

    Parameters
    ----------
    scene : Scene
    world : World, optional
        Shapes in place, where they have been built already.
    wavelength_nm : ndarray, shape (n_bands,)
        Nodes at which light is carried. [nm]
    bvh_layout : {"wide", "scalar", "fine"}, optional
        See `build_bvh`.

    Returns
    -------
    Packed

    Raises
    ------
    UnderlitError
        A file or name of the scene that cannot be used.
    """
    world = world or build_world(scene)
    housings = list(housing_meshes(scene))
    vertices, faces = _joined([*world.hardscape, *(mesh for mesh, _ in housings)])
    with ThreadPoolExecutor(1) as pool:
        bvh = pool.submit(build_bvh, vertices, faces, bvh_layout)
        layout = plan_tally(scene, world)
    surfaces = Reflectances(wavelength_nm, scene.folder)
    sinks = [*SINK_NAMES, *(f"absorbed by {piece.name}" for piece in scene.hardscape)]
    mesh = _mesh_arrays(scene, layout, surfaces, housings, vertices, faces)
    canopy = _canopy_arrays(scene, world, surfaces, sinks, wavelength_nm)
    arrays = SceneArrays(
        n_bands=len(wavelength_nm),
        gathers=_gathers(scene),
        tank=_tank_arrays(scene, surfaces, wavelength_nm),
        soil=_soil_arrays(scene, world, surfaces),
        mesh=mesh,
        cover=_cover_arrays(scene, surfaces, wavelength_nm),
        canopy=canopy,
        grid=layout.grid,
        reflectance=surfaces.table(),
    )
    return Packed(arrays, bvh.result(), layout, sinks, wavelength_nm)


def _gathers(scene: Scene) -> bool:
    """Whether first light can be solved for: it comes through a flat surface, and no sheet is in its way."""
    return scene.water.level > 0.0 and scene.water.surface_slope_rms == 0.0 and scene.tank.lid is None


def _bands(values) -> np.ndarray:
    """Spectral values padded to whole blocks, shape (B,)."""
    row = np.zeros(padded(len(values)), np.float32)
    row[: len(values)] = values
    return row


def _tank_arrays(scene: Scene, surfaces: Reflectances, wavelength_nm: np.ndarray) -> TankArrays:
    tank, water = scene.tank, scene.water
    index, absorption = spectra.glass(tank.glass, wavelength_nm, scene.folder)
    a_water = spectra.water_absorption_per_m(
        wavelength_nm, water.colour_a440, water.colour_slope, water.chlorophyll, water.temperature
    )
    panes = [getattr(tank.panes, name) for name in FACE_NAMES[:5]]
    backing = [_backing(pane) for pane in panes]
    return TankArrays(
        lx_m=float(tank.length),
        ly_m=float(tank.width),
        lz_m=float(tank.height),
        side_m=float(tank.thickness),
        bottom_m=float(tank.bottom_thickness),
        water_m=float(water.level),
        n_glass=float(np.interp(PATH_NM, wavelength_nm, index)),
        n_water=float(spectra.water_index(np.array([PATH_NM]), water.temperature)[0]),
        scattering_per_m=float(water.scattering),
        asymmetry=float(water.asymmetry),
        slope_rms=math.tan(water.surface_slope_rms),
        a_water_per_m=_bands(a_water),
        a_glass_per_m=_bands(absorption),
        backing=np.array([kind for kind, _ in backing], np.int64),
        backing_surface=np.array([surfaces.add(material) for _, material in backing], np.int64),
        backing_mirror=np.array([material == "mirror" for _, material in backing]),
        clear=np.array([1.0 - pane.dirt for pane in panes]),
    )


def _backing(pane) -> tuple[int, object]:
    """What lies behind a pane, and the surface of it."""
    if pane.state == "dry film":
        return AIR_GAP, pane.colour
    if pane.state == "bonded film":
        return BONDED, pane.colour
    # A wall of the room close by is met as a dry film is: through air.
    return (CLEAN, "black") if pane.behind is None else (AIR_GAP, pane.behind)


def _soil_arrays(scene: Scene, world: World, surfaces: Reflectances) -> SoilArrays:
    soil = world.soil
    plane = np.array(soil.plane or (0.0, 0.0, 0.0), np.float64)
    upward = np.array([-plane[1], -plane[2], 1.0])
    return SoilArrays(
        z_m=np.ascontiguousarray(soil.z_m, np.float64),
        dx_m=float(soil.x_m[1] - soil.x_m[0]),
        dy_m=float(soil.y_m[1] - soil.y_m[0]),
        z_max_m=float(soil.z_m.max()),
        is_plane=soil.plane is not None,
        plane=plane,
        plane_normal=upward / np.linalg.norm(upward),
        surface=surfaces.add(scene.substrate.material),
    )


def _joined(meshes: Sequence[Mesh]) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and faces of several meshes in one."""
    first = np.cumsum([0, *(len(mesh.vertices_m) for mesh in meshes)])
    faces = [mesh.faces + n for mesh, n in zip(meshes, first, strict=False)]
    return (
        np.concatenate([np.zeros((0, 3)), *(mesh.vertices_m for mesh in meshes)]),
        np.concatenate([np.zeros((0, 3), np.int64), *faces]),
    )


def _mesh_arrays(
    scene: Scene, layout: Layout, surfaces: Reflectances, housings, vertices: np.ndarray, faces: np.ndarray
) -> MeshArrays:
    """All triangles: of hardscape, then of the housings of lamps."""
    rows, sinks, cells = [], [], [np.zeros(0, np.int32), *layout.patch_cells]
    for number, piece in enumerate(scene.hardscape):
        rows.append(surfaces.add(piece.material))
        sinks.append(N_FIXED_SINKS + number)
    for mesh, reflectance in housings:
        rows.append(surfaces.add_values(reflectance))
        sinks.append(int(IN_HOUSINGS))
        cells.append(np.full(len(mesh.faces), -1, np.int32))
    counts = [len(part) for part in cells[1:]]
    normal, _ = face_normals_areas(vertices, faces)
    # A hair is added for the tree's rounding of corners.
    top_m = float(vertices[:, 2].max()) + SURFACE_OFFSET_M if len(faces) else -math.inf
    surface, sink = (np.repeat(np.array(part, np.int32), counts) for part in (rows, sinks))
    return MeshArrays(len(faces), top_m, normal, surface, sink, np.concatenate(cells))


def _cover_arrays(scene: Scene, surfaces: Reflectances, wavelength_nm: np.ndarray) -> CoverArrays:
    lid, floaters = scene.tank.lid, scene.floaters
    index, absorption = spectra.glass(lid.material if lid else "float", wavelength_nm, scene.folder)
    strips = _strips(scene)
    leaf, through, ring = _floaters(scene, surfaces, wavelength_nm)
    return CoverArrays(
        has_lid=lid is not None,
        lid_z_m=lid.faces(scene.tank.height)[0] if lid else scene.tank.height,
        lid_m=float(lid.thickness) if lid else 0.0,
        lid_n=float(np.interp(PATH_NM, wavelength_nm, index)),
        lid_clear=_lid_clear(lid),
        lid_box_m=np.array(lid.rectangle if lid else (0, 0, 0, 0), np.float64),
        lid_a_per_m=_bands(absorption),
        strips_m=np.array([box for box, _ in strips], np.float64).reshape(-1, 4),
        strips_clear=np.array([clear for _, clear in strips], np.float64),
        floater_cover=float(floaters.cover) if floaters else 0.0,
        floater_ring_m=ring,
        floater_surface=leaf,
        floater_transmittance=through,
    )


def _lid_clear(lid) -> float:
    if lid is None:
        return 1.0
    plastic = lid.material == "acrylic" and lid.condition == "condensation"
    return _DROPS_ON_PLASTIC if plastic else LID_CLEAR[lid.condition]


def _strips(scene: Scene) -> list[tuple[tuple[float, ...], float]]:
    """Rim and braces as rectangles with what they let through; the rim covers the edges of the panes too."""
    tank = scene.tank
    strips: list[tuple[tuple[float, ...], float]] = [
        (brace.rectangle, float(brace.transmittance)) for brace in tank.brace
    ]
    if tank.rim is not None:
        w, s, lx, ly = tank.rim.width, tank.thickness, tank.length, tank.width
        x0, y0, x1, y1 = -s, -s, lx + s, ly + s
        bars = [(x0, y0, x1, w), (x0, ly - w, x1, y1), (x0, w, w, ly - w), (lx - w, w, x1, ly - w)]
        strips += [(bar, 0.0) for bar in bars]
    return strips


def _floaters(scene: Scene, surfaces: Reflectances, wavelength_nm) -> tuple[int, int, np.ndarray]:
    """Rows of the floating leaves' reflectance and transmittance, and their ring."""
    floaters = scene.floaters
    if floaters is None:
        return 0, 0, np.zeros(3)
    rho: np.ndarray | float
    tau: np.ndarray | float
    if floaters.leaf is not None:
        rho, tau = spectra.leaf(floaters.leaf, wavelength_nm, scene.folder)
    else:
        rho, tau = floaters.reflectance, floaters.transmittance
    ring = np.zeros(3)
    if floaters.ring is not None:
        ring[:] = *floaters.ring.centre, floaters.ring.radius
    return surfaces.add_values(rho), surfaces.add_values(tau), ring


def _canopy_arrays(
    scene: Scene, world: World, surfaces: Reflectances, sinks: list[str], wavelength_nm
) -> CanopyArrays:
    """Columns of leaves; where outlines overlap, the plant named last has the ground."""
    tank = scene.tank
    leafy = [
        (plant.name, plant.outline, plant.canopy) for plant in scene.plant if plant.canopy and plant.outline
    ]
    canopies = [canopy for _, _, canopy in leafy]
    step = _COLUMN_M if leafy else math.inf
    nx, ny = (max(1, round(length / step)) for length in (tank.length, tank.width))
    x, y = (np.arange(nx) + 0.5) * tank.length / nx, (np.arange(ny) + 0.5) * tank.width / ny
    column = np.full((ny, nx), -1, np.int16)
    for number, (_, outline, _) in enumerate(leafy):
        column[grid_in_outline(outline, x, y)] = number
    ground = world.soil.height(*np.meshgrid(x, y))
    height = np.array([canopy.height for canopy in canopies])
    density = np.array([c.leaf_area_index[-1] * c.clumping / c.height for c in canopies])
    optics = [spectra.leaf(canopy.leaf, wavelength_nm, scene.folder) for canopy in canopies]
    first_sink = len(sinks)
    sinks += [f"absorbed by {name}" for name, _, _ in leafy]
    tops = ground[column >= 0] + height[column[column >= 0]] if leafy else np.zeros(1)
    return CanopyArrays(
        n=len(leafy),
        column=column,
        dx_m=tank.length / nx,
        dy_m=tank.width / ny,
        top_m=float(tops.max(initial=0.0)),
        max_density_per_m=float(density.max(initial=0.0)),
        height_m=height.astype(np.float64),
        density_per_m=density.astype(np.float64),
        angle_rule=np.array([ANGLE_RULES.index(canopy.leaf_angle) for canopy in canopies], np.int64),
        reflectance=np.array([surfaces.add_values(rho) for rho, _ in optics], np.int64),
        transmittance=np.array([surfaces.add_values(tau) for _, tau in optics], np.int64),
        sink=np.arange(first_sink, first_sink + len(leafy), dtype=np.int64),
    )
