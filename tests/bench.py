"""Scenes for the engine's checks: a scene file laid out by the program, with single values replaced.

Some cases no scene file can say: water of index 1, a band with each albedo, a wall that is not there. They start
from a scene file too, so that all of `pack` is in play, and then change single entries of the kernels' arrays.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from underlit.kernels.arrays import BONDED, CLEAN, COSINE_POWER, EVEN_RECTANGLE, NO_TABLE, SourceArrays
from underlit.kernels.batch import new_scratch, trace_batch
from underlit.kernels.gather import gather_batch
from underlit.kernels.held import Held
from underlit.kernels.rng import sobol_directions
from underlit.scene.loader import from_text
from underlit.scene.world import World, shape_soil
from underlit.tracer.pack import Packed, pack
from underlit.tracer.sources import build_lamps

SCALE = 2.0**30
PHOTONS_PER_POINT = 2048  # gathered in each soil cell for so many photons
N_BANDS = 16


LAMP = 'shape = "panel"\nsize = ["10 cm", "10 cm"]\nheight = "12 cm"\nheight_above = "rim"\n'
STAND_IN = 'shape = "disc"\ndiameter = "1 cm"\nposition = ["1 cm", "1 cm"]\n'
CHANNEL = 'spectrum = "D65"\npower = "9 W"\nflux = "10 umol/s"\n'


def tank_text(
    length, width, height, level, depth="1 mm", more="", thickness="5 mm", planes="[]", cell="1 cm", lamp=LAMP,
    beam="120 deg",
):  # fmt: skip
    """Text of a scene file."""
    return f"""
[tank]
length = "{length}"
width = "{width}"
height = "{height}"
thickness = "{thickness}"
{more}
[water]
level = "{level}"
type = "pure"
scattering = "0 1/m"
[substrate]
depth = "{depth}"
[run]
cell = "{cell}"
plane_cell = "{cell}"
planes = {planes}
[[fixture]]
{lamp}
[[fixture.channel]]
{CHANNEL}
beam = "{beam}"
"""


def layout(text: str, meshes=(), **parts) -> Packed:
    """A scene file ready to be traced, with entries of its arrays replaced.

    Parameters
    ----------
    text : str
    meshes : sequence of Mesh
        Hardscape, as it stands.
    **parts : dict
        Per part of `SceneArrays` (`tank`, `soil`, `cover`, ...) the entries to replace.
    """
    for number in range(len(meshes)):
        text += f'[[hardscape]]\nname = "mesh {number}"\n{STAND_IN}'
    scene = from_text(text)
    packed = pack(scene, World(shape_soil(scene), tuple(meshes)) if meshes else None)
    arrays = packed.arrays
    for part, entries in parts.items():
        arrays = arrays._replace(**{part: getattr(arrays, part)._replace(**entries)})
    return replace(packed, arrays=arrays)


def bands(value) -> np.ndarray:
    """A spectral entry: one number for all bands, or one for each."""
    row = np.zeros(N_BANDS, np.float32)
    row[:] = value
    return row


# Panes that are not there: light goes out as if the glass were air.
NO_GLASS = {"n_glass": 1.0, "a_glass_per_m": bands(0.0), "backing": np.full(5, CLEAN, np.int64)}


def lamp_of(text: str) -> SourceArrays:
    """The lamp of a scene file."""
    return build_lamps(from_text(text)).sources[0]


def paint(packed: Packed, row: int, reflectance) -> None:
    """Give a surface its reflectance: one number, or one per band."""
    packed.arrays.reflectance[row, :N_BANDS] = reflectance


def rectangle(centre, size, facing=(0.0, 0.0, -1.0), power=1.0) -> SourceArrays:
    """An evenly glowing rectangle (or point) with a cosine-power beam."""
    facing = np.asarray(facing, float) / np.linalg.norm(facing)
    along = np.array([1.0, 0.0, 0.0]) if abs(facing[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    along -= facing * (along @ facing)
    along /= np.linalg.norm(along)
    return SourceArrays(
        layout=EVEN_RECTANGLE,
        beam=COSINE_POWER,
        centre_m=np.array(centre, float),
        axes=np.array([along, np.cross(facing, along), facing]),
        size_m=np.array(size, float),
        leds_m=np.zeros((0, 2)),
        power_m=float(power),
        table=NO_TABLE,
    )


def pencil(start, direction) -> SourceArrays:
    """A ray."""
    return rectangle(start, (0.0, 0.0), direction, power=1e30)


def slant(angle_deg, azimuth_deg=0.0) -> tuple[float, float, float]:
    """Downward direction at an angle from the vertical."""
    a, b = np.radians((angle_deg, azimuth_deg))
    return float(np.sin(a) * np.cos(b)), float(np.sin(a) * np.sin(b)), float(-np.cos(a))


@dataclass(frozen=True, eq=False)
class Shone:
    """What was counted, per photon: one row per replicate."""

    packed: Packed
    cells: np.ndarray  # (K, C, B)
    sinks: np.ndarray  # (K, N, B)

    def on(self, surface: str) -> np.ndarray:
        """Light that landed on each cell of a surface, shape (K, C, B)."""
        first = self.packed.layout.first[surface]
        return self.cells[:, first : first + self.packed.layout.surfaces[surface].n_cells]

    def ended(self, *names: str) -> np.ndarray:
        """Share of light with these ends, shape (K, B); a name stands for all that begin with it."""
        chosen = [i for i, sink in enumerate(self.packed.sinks) if sink.startswith(names)]
        assert chosen, names
        return self.sinks[:, chosen].sum(axis=1)


def shine(
    packed: Packed,
    source: SourceArrays,
    photons: int,
    replicates: int = 32,
    seed: int = 1,
    gathers: bool | None = None,
    first: int = 0,
) -> Shone:
    """Trace `photons` per replicate straight with the kernel, on two threads.

    `gathers` says whether first light on the soil is solved for; by default where the program would, and never for a
    single ray, whose intensity is no number. `first` is the number of the first photon.
    """
    arrays = packed.arrays
    if gathers is None:
        gathers = may_gather(arrays) and source.power_m < 1e6
    arrays = arrays._replace(gathers=gathers)
    n_cells, n_sinks = packed.layout.n_cells, len(packed.sinks)
    cells = np.zeros((replicates, n_cells, arrays.n_bands), np.int64)
    sinks = np.zeros((replicates, n_sinks, arrays.n_bands), np.int64)
    on_soil = np.zeros((replicates, packed.layout.surfaces["soil"].n_cells, arrays.n_bands), np.int64)
    n_points = max(1, photons // PHOTONS_PER_POINT)
    held = Held(arrays), Held(packed.bvh), Held(source)

    def one(replicate: int) -> None:
        scratch = Held(new_scratch(n_cells, n_sinks, arrays.reflectance.shape[1]))
        stream = *held, sobol_directions(), np.uint64(seed), replicate
        trace_batch(*stream, first, photons, SCALE, scratch, cells[replicate], sinks[replicate])
        if gathers:
            gather_batch(*stream, first, n_points, SCALE, scratch, on_soil[replicate])

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(one, range(replicates)))
    light = cells / (SCALE * photons)
    start = packed.layout.first["soil"]
    light[:, start : start + on_soil.shape[1]] += on_soil / (SCALE * n_points)
    return Shone(packed, light, sinks / (SCALE * photons))


def may_gather(arrays) -> bool:
    """Whether the arrays, changed as they may be, leave first light to be solved for."""
    return arrays.tank.water_m > 0.0 and arrays.tank.slope_rms == 0.0 and not arrays.cover.has_lid


def between_mirrors(packed: Packed, n_water: float) -> Packed:
    """Put perfect mirrors straight against the water on all four sides: the tank is then endless."""
    tank = packed.arrays.tank._replace(
        n_water=n_water,
        n_glass=n_water,
        side_m=1e-9,
        a_glass_per_m=bands(0.0),
        backing=np.array([BONDED] * 4 + [CLEAN], np.int64),
        backing_mirror=np.array([True] * 4 + [False]),
    )
    for row in tank.backing_surface[:4]:
        paint(packed, row, 1.0)
    return replace(packed, arrays=packed.arrays._replace(tank=tank))
