"""The tank that all contenders trace, and its parts as plain numbers.

Only what all of them can model: real panes with two faces, flat clear water, a flat grey soil, grey stones, one
Lambertian lamp. The scene file below is the one description; the peers get their numbers from the engine's arrays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from underlit import spectra
from underlit.geometry.mesh import Mesh, make_mesh
from underlit.scene.model import Scene
from underlit.scene.world import World, build_world
from underlit.tracer.pack import Packed, pack
from underlit.tracer.sources import Lamps, build_lamps

N_WATER, N_GLASS = 1.333, 1.52
SOIL_REFLECTANCE, ROCK_REFLECTANCE = 0.05, 0.16

SCENE = f"""
title = "Benchmark tank"
[tank]
length = "60 cm"
width = "30 cm"
height = "36 cm"
thickness = "6 mm"
bottom_thickness = "6 mm"
panes = {{ bottom = "clean" }}
[water]
level = "33 cm"
scattering = "0 1/m"
[substrate]
material = {{ reflectance = {SOIL_REFLECTANCE} }}
depth = "4 cm"
[[fixture]]
name = "bar"
shape = "bar"
size = ["54 cm", "7 cm"]
position = ["30 cm", "15 cm"]
height = "20 cm"
[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "30 W"
efficacy = "2 umol/J"
beam = "120 deg"
"""

# Faces are cut to the size of patches: large ones leave the number of triangles as asked for.
_STONE = """
[[hardscape]]
name = "stone {number}"
shape = "stone"
size = ["{x} cm", "{y} cm", "{z} cm"]
seed = {number}
triangles = {triangles}
position = ["{at_x} cm", "{at_y} cm"]
sink = "1 cm"
patch = "5 cm"
material = {{ reflectance = {reflectance} }}
"""

# Extents and place of each stone, and its share of the triangles. [cm]
_STONES = (
    (15, 11, 19, 21, 17, 0.4),
    (11, 9, 13, 35, 19, 0.3),
    (8, 7, 7, 13, 10, 0.15),
    (7, 6, 6, 48, 11, 0.15),
)


def scene_text(triangles: int = 20_000, extra: str = "") -> str:
    """The benchmark tank as a scene file with about this many triangles of rock; 0 for none."""
    text = SCENE
    for number, (x, y, z, at_x, at_y, share) in enumerate(_STONES if triangles else (), start=1):
        text += _STONE.format(
            number=number, x=x, y=y, z=z, at_x=at_x, at_y=at_y,
            triangles=max(100, round(share * triangles)), reflectance=ROCK_REFLECTANCE,
        )  # fmt: skip
    return text + extra


@dataclass(frozen=True, eq=False)
class Quad:
    """A rectangle: corner and two edges; `u x v` points to the side `front`.

    Parameters
    ----------
    points : ndarray, shape (3, 3)
        Corner, edge u, edge v.
    kind : str
        "front|back" names of the media; "soil"; or "buried": soil against glass, seen through it.
    """

    points: np.ndarray
    kind: str


@dataclass(frozen=True, eq=False)
class Tank:
    """The benchmark tank in plain numbers, for programs that know nothing of scene files.

    Parameters
    ----------
    unit_m : float
        All lengths are in this unit: some programs have absolute tolerances made for scenes of many units.
    size : tuple of 3 floats
        Inside.
    side, bottom : float
        Thickness of the panes.
    water, soil : float
        Heights of the water surface and of the flat soil.
    n_water, n_glass, soil_reflectance, rock_reflectance : float
    lamp_centre, lamp_size : ndarray, shape (3,), (2,)
    vertices, faces : ndarray, shape (V, 3), (F, 3)
        Of all rock.
    cells : tuple of 2 ints
        Soil cells along y and x.
    """

    unit_m: float
    size: tuple[float, float, float]
    side: float
    bottom: float
    water: float
    soil: float
    n_water: float
    n_glass: float
    soil_reflectance: float
    rock_reflectance: float
    lamp_centre: np.ndarray
    lamp_size: np.ndarray
    vertices: np.ndarray
    faces: np.ndarray
    cells: tuple[int, int]

    def index(self, medium: str) -> float:
        """Refractive index of "air", "water" or "glass"."""
        return {"air": 1.0, "water": self.n_water, "glass": self.n_glass}[medium]

    @property
    def cell(self) -> float:
        """Side of a soil cell."""
        return self.size[0] / self.cells[1]

    @property
    def lamp_area(self) -> float:
        return float(self.lamp_size.prod())

    def quads(self) -> list[Quad]:
        """All flat faces: water surface, soil, both faces of every pane, the rim of the glass."""
        (lx, ly, lz), s, b = self.size, self.side, self.bottom
        level, soil = self.water, self.soil
        quads = [
            _level((0, lx), (0, ly), level, "air|water"),
            _level((0, lx), (0, ly), soil, "soil"),
            _level((0, lx), (0, ly), 0.0, "buried"),
            _level((-s, lx + s), (-s, ly + s), -b, "glass|air"),
        ]
        for stretch, kind in (
            ((0, soil), "buried"),
            ((soil, level), "glass|water"),
            ((level, lz), "glass|air"),
        ):
            quads += _walls((0, lx), (0, ly), stretch, kind)
        quads += _walls((-s, lx + s), (-s, ly + s), (-b, lz), "air|glass")
        for x, y in (
            ((-s, 0), (-s, ly + s)),
            ((lx, lx + s), (-s, ly + s)),
            ((0, lx), (-s, 0)),
            ((0, lx), (ly, ly + s)),
        ):
            quads.append(_level(x, y, lz, "air|glass"))
        return quads


def _level(x, y, z: float, kind: str) -> Quad:
    """A level rectangle that faces up."""
    return Quad(np.array([(x[0], y[0], z), (x[1] - x[0], 0, 0), (0, y[1] - y[0], 0)], float), kind)


def _walls(x, y, z, kind: str) -> list[Quad]:
    """The four sides of a box, facing outwards."""
    (x0, x1), (y0, y1), (z0, z1) = x, y, z
    up = (0, 0, z1 - z0)
    sides = [
        ((x0, y1, z0), (0, y0 - y1, 0), up),
        ((x1, y0, z0), (0, y1 - y0, 0), up),
        ((x0, y0, z0), (x1 - x0, 0, 0), up),
        ((x1, y1, z0), (x0 - x1, 0, 0), up),
    ]
    return [Quad(np.array(side, float), kind) for side in sides]


@dataclass(frozen=True, eq=False)
class Setup:
    """The tank packed for the engine's kernels.

    Parameters
    ----------
    packed : Packed
    world : World
    lamps : Lamps
    """

    packed: Packed
    world: World
    lamps: Lamps

    def numbers(self, unit_m: float = 1.0) -> Tank:
        """The same tank for a peer; refuses what a `Tank` cannot hold."""
        arrays = self.packed.arrays
        tank, soil = arrays.tank, arrays.soil
        if not soil.is_plane or np.any(soil.plane[1:]) or arrays.cover.has_lid or arrays.canopy.n:
            raise ValueError("peers are given tanks with a flat soil, without lid and leaves only.")
        vertices, faces = joined(self.world.hardscape)
        surface = self.packed.layout.surfaces["soil"]
        lamp = self.lamps.sources[0]
        return Tank(
            unit_m=unit_m,
            size=(tank.lx_m / unit_m, tank.ly_m / unit_m, tank.lz_m / unit_m),
            side=tank.side_m / unit_m,
            bottom=tank.bottom_m / unit_m,
            water=tank.water_m / unit_m,
            soil=float(soil.plane[0]) / unit_m,
            n_water=tank.n_water,
            n_glass=tank.n_glass,
            soil_reflectance=float(arrays.reflectance[soil.surface, 0]),
            rock_reflectance=float(arrays.reflectance[arrays.mesh.surface[0], 0]) if len(faces) else 0.0,
            lamp_centre=lamp.centre_m / unit_m,
            lamp_size=lamp.size_m / unit_m,
            vertices=vertices / unit_m,
            faces=faces,
            cells=surface.shape,
        )


def prepare(scene: Scene, wavelength_nm: np.ndarray = spectra.NODES_NM, *, clear: bool = False) -> Setup:
    """Pack a scene for the engine's kernels.

    Parameters
    ----------
    scene : Scene
    wavelength_nm : ndarray, shape (n_bands,)
        [nm]
    clear : bool
        Water and glass of round indices that absorb nothing: what every peer can model.

    Returns
    -------
    Setup
    """
    world = build_world(scene)
    return prepare_world(scene, world, wavelength_nm, clear=clear)


def prepare_world(scene: Scene, world: World, wavelength_nm, *, clear: bool = False) -> Setup:
    """`prepare` for shapes that are built already."""
    packed = pack(scene, world, np.asarray(wavelength_nm, float))
    if clear:
        tank = packed.arrays.tank._replace(
            n_water=N_WATER,
            n_glass=N_GLASS,
            a_water_per_m=np.zeros_like(packed.arrays.tank.a_water_per_m),
            a_glass_per_m=np.zeros_like(packed.arrays.tank.a_glass_per_m),
        )
        packed = replace(packed, arrays=packed.arrays._replace(tank=tank))
    return Setup(packed, world, build_lamps(scene))


def joined(meshes) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and faces of several meshes as one."""
    vertices, faces, count = [np.zeros((0, 3))], [np.zeros((0, 3), np.int32)], 0
    for mesh in meshes:
        vertices.append(mesh.vertices_m)
        faces.append(mesh.faces + count)
        count += len(mesh.vertices_m)
    return np.concatenate(vertices), np.concatenate(faces).astype(np.int32)


def leaf_strips(n_strips: int, seed: int = 5) -> Mesh:
    """Curved leaf-like strips that stand all over the soil: the worst that a tank does to a ray tracer.

    Each strip has 16 triangles, is 8-24 cm long and 6 mm wide, and leans over towards its tip.
    """
    rng = np.random.default_rng(seed)
    root = rng.uniform((0.01, 0.01), (0.59, 0.29), (n_strips, 2))
    length, azimuth = rng.uniform(0.08, 0.24, n_strips), rng.uniform(0, 2 * np.pi, n_strips)
    lean = rng.uniform(0.1, 0.9, n_strips)
    s = np.linspace(0.0, 1.0, 9)
    reach = length[:, None] * 0.5 * lean[:, None] * s**2
    along = np.stack([np.cos(azimuth), np.sin(azimuth)], 1)
    tip = root + reach[:, -1:] * along
    along *= np.where((tip < 0.01) | (tip > (0.59, 0.29)), -1.0, 1.0)  # none through a pane
    spine = np.empty((n_strips, 9, 3))
    spine[..., :2] = root[:, None] + reach[..., None] * along[:, None]
    spine[..., 2] = 0.041 + length[:, None] * s * (1.0 - 0.3 * lean[:, None] * s)
    side = np.zeros((n_strips, 1, 3))
    side[:, 0, :2] = 0.003 * np.stack([-along[:, 1], along[:, 0]], 1)
    vertices = np.stack([spine - side, spine + side], 2)
    corner = 18 * np.arange(n_strips)[:, None] + 2 * np.arange(8)
    faces = np.stack([corner, corner + 1, corner + 3, corner, corner + 3, corner + 2], -1)
    return make_mesh("leaves", vertices.reshape(-1, 3), faces.reshape(-1, 3).astype(np.int32))
