"""The arrays that cross from Python into the kernels.

All lengths are metres, indices of refraction are relative to air, `B` is the number of bands padded to whole blocks
(see `bands`), spectral arrays are float32.
"""

from __future__ import annotations

from typing import NamedTuple, TypeVar, get_args, get_type_hints

import numpy as np

Item = TypeVar("Item", bound=np.generic)
# Said in full, so that kernels can be compiled before there is a scene: see `blank`.
Row = np.ndarray[tuple[int], np.dtype[Item]]
Table = np.ndarray[tuple[int, int], np.dtype[Item]]

# Faces of the tank, in the order of every per-face array.
LEFT, RIGHT, FRONT, BACK, BOTTOM, TOP = range(6)
FACE_NAMES = ("left", "right", "front", "back", "bottom", "top")

# Where a path is. (Typed numbers: a plain int would have kernels compiled anew for each value they are called with.)
OUTSIDE, AIR, WATER, GLASS, ENDED = np.arange(5)

# What lies behind a pane.
CLEAN, AIR_GAP, BONDED = range(3)

# Light budget: what a photon's weight can end in. Hardscape pieces, then plant zones, follow.
(
    PAST_TANK,
    REFLECTED_ABOVE_WATER,
    OUT_OF_TOP,
    OUT_OF_LEFT,
    OUT_OF_RIGHT,
    OUT_OF_FRONT,
    OUT_OF_BACK,
    OUT_OF_BOTTOM,
    OUT_OF_RIM,
    IN_WATER,
    IN_GLASS,
    IN_FILMS,
    IN_DIRT,
    IN_COVERS,
    IN_FLOATERS,
    IN_HOUSINGS,
    IN_SOIL,
    ROULETTE,
    CUT_OFF,
) = np.arange(19)
SINK_NAMES = (
    "past the tank",
    "reflected above the water",
    "back out of the top",
    "out of the left pane",
    "out of the right pane",
    "out of the front pane",
    "out of the back pane",
    "out of the bottom pane",
    "out of the rim edge",
    "absorbed in water",
    "absorbed in glass",
    "absorbed in films",
    "absorbed by dirt on panes",
    "absorbed by lid, rim and braces",
    "absorbed by floating plants",
    "absorbed in lamp housings",
    "absorbed by soil",
    "roulette balance",
    "cut off",
)
N_FIXED_SINKS = len(SINK_NAMES)


class TankArrays(NamedTuple):
    """Box, panes and water."""

    lx_m: float
    ly_m: float
    lz_m: float
    side_m: float
    bottom_m: float
    water_m: float  # water level above the inside bottom; 0 for a dry tank
    n_glass: float
    n_water: float
    scattering_per_m: float
    asymmetry: float
    slope_rms: float  # rms total slope of the water surface, a tangent
    a_water_per_m: Row[np.float32]  # (B,)
    a_glass_per_m: Row[np.float32]  # (B,)
    backing: Row[np.int64]  # (5,) CLEAN, AIR_GAP or BONDED
    backing_surface: Row[np.int64]  # (5,) row of `reflectance`
    backing_mirror: Row[np.bool_]  # (5,)
    clear: Row[np.float64]  # (5,) transmittance of the dirt on the inner face


class SoilArrays(NamedTuple):
    """Height field, see `soil`."""

    z_m: Table[np.float64]  # (ny, nx) node heights
    dx_m: float
    dy_m: float
    z_max_m: float
    is_plane: bool
    plane: Row[np.float64]  # (3,) z = plane[0] + plane[1] x + plane[2] y
    plane_normal: Row[np.float64]  # (3,) unit, upward
    surface: int  # row of `reflectance`


class MeshArrays(NamedTuple):
    """All triangles of hardscape and lamp housings."""

    n_faces: int
    top_m: float  # nothing of it is higher, so that rays above need not look for it; -inf for none
    normal: Table[np.float64]  # (F, 3) unit
    surface: Row[np.int32]  # (F,) row of `reflectance`
    sink: Row[np.int32]  # (F,) budget entry
    cell: Row[np.int32]  # (F,) tally cell, -1 where none is kept


class CoverArrays(NamedTuple):
    """What lies over the opening: lid, rim, braces, floating plants."""

    has_lid: bool
    lid_z_m: float  # underside
    lid_m: float  # thickness
    lid_n: float
    lid_clear: float  # transmittance of dirt and drops
    lid_box_m: Row[np.float64]  # (4,) x0 y0 x1 y1
    lid_a_per_m: Row[np.float32]  # (B,)
    strips_m: Table[np.float64]  # (n, 4) opaque or half-opaque strips at rim height: x0 y0 x1 y1
    strips_clear: Row[np.float64]  # (n,) transmittance
    floater_cover: float  # 0 for none
    floater_ring_m: Row[np.float64]  # (3,) x y radius; radius 0 = all of the surface
    floater_surface: int  # rows of `reflectance`
    floater_transmittance: int


class CanopyArrays(NamedTuple):
    """Leaf volumes: columns of leaves standing on the soil."""

    n: int
    column: Table[np.int16]  # (ny, nx) canopy of each column of the footprint, -1 for none
    dx_m: float
    dy_m: float
    top_m: float  # highest canopy top
    max_density_per_m: float
    height_m: Row[np.float64]  # (n,)
    density_per_m: Row[np.float64]  # (n,) leaf area per volume, one-sided, times clumping
    angle_rule: Row[np.int64]  # (n,) see `leaves`
    reflectance: Row[np.int64]  # (n,) row of `reflectance`
    transmittance: Row[np.int64]  # (n,) row of `reflectance`
    sink: Row[np.int64]  # (n,) budget entry


class GridArrays(NamedTuple):
    """Tally grids: soil, five panes, water surface, horizontal planes (in this order)."""

    first: Row[np.int64]  # (G,) first cell
    cells: Table[np.float64]  # (G, 4) cells per metre along u and v [m-1], and their numbers
    plane_z_m: Row[np.float64]  # (P,) rising heights of the horizontal planes


SOIL_GRID, FIRST_PANE_GRID, SURFACE_GRID, FIRST_PLANE_GRID = np.array([0, 1, 6, 7])


class SceneArrays(NamedTuple):
    """Everything that light can meet."""

    n_bands: int
    gathers: bool  # first light on the soil is gathered, see `gather`: photons leave it out
    tank: TankArrays
    soil: SoilArrays
    mesh: MeshArrays
    cover: CoverArrays
    canopy: CanopyArrays
    grid: GridArrays
    reflectance: Table[np.float32]  # (n_surfaces, B)


# How a source spreads its light over its face, and into directions.
EVEN_RECTANGLE, EVEN_DISC, LED_LIST, TUBE = range(4)
COSINE_POWER, BEAM_TABLE = range(2)


class BeamTable(NamedTuple):
    """A beam given by its intensities; between them linear in azimuth and in the versine, 1 - cos, of the polar angle.

    Versine and azimuth span solid angle evenly, so that both the sampler and the intensity are exact for this rule.
    A guide tells for even steps of its argument where to start looking among rising values.
    """

    azimuth_rad: Row[np.float64]  # (n + 1,) of the planes, rising; the first one again a turn later
    row: Row[np.int64]  # (n + 1,) each plane's row of `intensity` and `within`
    light: Row[np.float64]  # (n + 1,) share of all light per radian of azimuth, in each plane
    before: Row[np.float64]  # (n + 1,) share of all light from the first plane up to each
    versine: Row[np.float64]  # (m,) rising
    intensity: Table[np.float64]  # (n_rows, m) per photon sent out [sr-1]
    within: Table[np.float64]  # (n_rows, m) share of the row's light up to each versine
    azimuth_guide: Row[np.int32]  # over a turn from the first plane
    before_guide: Row[np.int32]  # over shares
    versine_guide: Row[np.int32]  # over the sine of half the polar angle
    within_guide: Table[np.int32]  # (n_rows, ...) over shares


_NONE, _NO_GUIDE = np.zeros(2), np.zeros(1, np.int32)
NO_TABLE = BeamTable(
    azimuth_rad=_NONE,
    row=np.zeros(2, np.int64),
    light=_NONE,
    before=_NONE,
    versine=_NONE,
    intensity=np.zeros((1, 2)),
    within=np.zeros((1, 2)),
    azimuth_guide=_NO_GUIDE,
    before_guide=_NO_GUIDE,
    versine_guide=_NO_GUIDE,
    within_guide=np.zeros((1, 1), np.int32),
)


class SourceArrays(NamedTuple):
    """One emitting geometry: where photons start and which way they go."""

    layout: int
    beam: int
    centre_m: Row[np.float64]  # (3,)
    axes: Table[np.float64]  # (3, 3) rows: local x, local y, beam axis (unit, world)
    size_m: Row[np.float64]  # (2,) along local x and y (disc: diameter; tube: length, diameter; LED: side)
    leds_m: Table[np.float64]  # (n, 2) local positions of LED centres
    power_m: float  # exponent of the cosine-power beam
    table: BeamTable  # of a beam of kind BEAM_TABLE


def blank(kind):
    """The least of such a NamedTuple of this page, zeros and empty arrays: kernels are compiled for kinds alone."""
    if not hasattr(kind, "_fields"):
        if kind in (bool, int, float):
            return kind()
        shape, dtype = get_args(kind)
        return np.zeros((0,) * len(get_args(shape)), get_args(dtype)[0])
    return kind(*(blank(part) for part in get_type_hints(kind).values()))
