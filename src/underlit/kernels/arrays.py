"""The arrays that cross from Python into the kernels.

All lengths are metres, indices of refraction are relative to air, `B` is the number of bands padded to whole blocks
(see `bands`), spectral arrays are float32.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

# Faces of the tank, in the order of every per-face array.
LEFT, RIGHT, FRONT, BACK, BOTTOM, TOP = range(6)
FACE_NAMES = ("left", "right", "front", "back", "bottom", "top")

# What lies behind a pane.
CLEAN, AIR_GAP, BONDED = range(3)

# Light budget: what a photon's weight can end in. Hardscape pieces, then plant zones, follow. (Typed numbers: a plain
# int would have kernels compiled anew for each value they are called with.)
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
    a_water_per_m: np.ndarray  # (B,)
    a_glass_per_m: np.ndarray  # (B,)
    backing: np.ndarray  # (5,) int64: CLEAN, AIR_GAP or BONDED
    backing_surface: np.ndarray  # (5,) int64: row of `reflectance`
    backing_mirror: np.ndarray  # (5,) bool
    clear: np.ndarray  # (5,) float64: transmittance of the dirt on the inner face


class SoilArrays(NamedTuple):
    """Height field, see `soil`."""

    z_m: np.ndarray  # (ny, nx) node heights
    dx_m: float
    dy_m: float
    z_max_m: float
    is_plane: bool
    plane: np.ndarray  # (3,) z = plane[0] + plane[1] x + plane[2] y
    surface: int  # row of `reflectance`


class MeshArrays(NamedTuple):
    """All triangles of hardscape and lamp housings."""

    n_faces: int
    above_rim: bool  # any triangle above the rim: rays outside the tank must look for it
    normal: np.ndarray  # (F, 3) unit
    surface: np.ndarray  # (F,) int32: row of `reflectance`
    sink: np.ndarray  # (F,) int32: budget entry
    cell: np.ndarray  # (F,) int32: tally cell, -1 where none is kept


class CoverArrays(NamedTuple):
    """What lies over the opening: lid, rim, braces, floating plants."""

    has_lid: bool
    lid_z_m: float  # underside
    lid_m: float  # thickness
    lid_n: float
    lid_clear: float  # transmittance of dirt and drops
    lid_box_m: np.ndarray  # (4,) x0 y0 x1 y1
    lid_a_per_m: np.ndarray  # (B,)
    strips_m: np.ndarray  # (n, 4) opaque or half-opaque strips at rim height: x0 y0 x1 y1
    strips_clear: np.ndarray  # (n,) transmittance
    floater_cover: float  # 0 for none
    floater_ring_m: np.ndarray  # (3,) x y radius; radius 0 = all of the surface
    floater_surface: int  # rows of `reflectance`
    floater_transmittance: int


class CanopyArrays(NamedTuple):
    """Leaf volumes: columns of leaves standing on the soil."""

    n: int
    column: np.ndarray  # (ny, nx) int16: canopy of each column of the footprint, -1 for none
    dx_m: float
    dy_m: float
    top_m: float  # highest canopy top
    max_density_per_m: float
    height_m: np.ndarray  # (n,)
    density_per_m: np.ndarray  # (n,) leaf area per volume, one-sided, times clumping
    angle_rule: np.ndarray  # (n,) int64, see `leaves`
    reflectance: np.ndarray  # (n,) int64: row of `reflectance`
    transmittance: np.ndarray  # (n,) int64: row of `reflectance`
    sink: np.ndarray  # (n,) int64: budget entry


class GridArrays(NamedTuple):
    """Tally grids: soil, five panes, water surface, horizontal planes (in this order)."""

    offset: np.ndarray  # (G,) int64: first cell
    nu: np.ndarray  # (G,) int64
    nv: np.ndarray  # (G,) int64
    per_u: np.ndarray  # (G,) cells per metre
    per_v: np.ndarray  # (G,)
    plane_z_m: np.ndarray  # (P,) rising heights of the horizontal planes


SOIL_GRID, FIRST_PANE_GRID, SURFACE_GRID, FIRST_PLANE_GRID = 0, 1, 6, 7


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
    reflectance: np.ndarray  # (n_surfaces, B)


# How a source spreads its light over its face, and into directions.
EVEN_RECTANGLE, EVEN_DISC, LED_LIST, TUBE = range(4)
COSINE_POWER, BEAM_TABLE = range(2)


class SourceArrays(NamedTuple):
    """One emitting geometry: where photons start and which way they go."""

    layout: int
    beam: int
    centre_m: np.ndarray  # (3,)
    axes: np.ndarray  # (3, 3) rows: local x, local y, beam axis (unit, world)
    size_m: np.ndarray  # (2,) extent along local x and y (disc: diameter; tube: length, diameter; LED: side)
    leds_m: np.ndarray  # (n, 2) local positions of LED centres
    power_m: float  # exponent of the cosine-power beam
    azimuth_edges: np.ndarray  # (n_phi + 1,) cumulated share of light by azimuth sector
    cosine: np.ndarray  # (n_phi, n_u) polar cosine at even quantiles, per azimuth sector
