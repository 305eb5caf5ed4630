"""The way from the lamp to the first surface under water, for many photons at once.

Most photons either miss the tank, or come through its open top and the water surface below it. Loops that vector
instructions run take these past the one, or through the other and on to what they meet next. All others stay at the
lamp, for `begin` and `follow` to take them on one by one.
"""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.arrays import COSINE_POWER, ENDED, EVEN_RECTANGLE, OUTSIDE, SURFACE_GRID, WATER
from underlit.kernels.box import exit_face, slab
from underlit.kernels.emit import emit
from underlit.kernels.fresnel import UNPOLARISED, reflectance
from underlit.kernels.jit import kernel
from underlit.kernels.meet import is_level
from underlit.kernels.reach import SOIL, WALL, box_of
from underlit.kernels.real import cos_sin
from underlit.kernels.rng import SOBOL_DIMENSIONS, SOBOL_DRAWS, owen_scramble, scrambled_word, sobol_start
from underlit.kernels.sampling import TWO_PI
from underlit.kernels.soil import plane_hit

AT_ONCE = 64
_DIMENSIONS = SOBOL_DIMENSIONS + SOBOL_DRAWS

# A flight is one array of rows, a number of each photon in each: the five that it is made from, where it is, which way
# it goes and in which region; what it meets how far on, at which face of the tank, whether it comes near triangles
# before, and the cell of the water surface that it came through. One array with rows at constant places, so that the
# compiler sees that none overlaps another; a power of two between them would have each row in the way of another.
_STRIDE = AT_ONCE + 8
U1, U2, U3, U4, U_FIRST, PX, PY, PZ, DX, DY, DZ, REGION, T, EVENT, FACE, NEAR, CELL = np.arange(17) * _STRIDE
FLIGHT_WORDS = 17 * _STRIDE


@kernel
def first_points(directions, point, words):
    """Set `words` to the first AT_ONCE Sobol points, bit-reversed: those of a dimension one after another.

    `point` (SOBOL_DIMENSIONS + SOBOL_DRAWS,) is overwritten.
    """
    for j in range(AT_ONCE):
        sobol_start(directions, j, point)
        for dimension in range(_DIMENSIONS):
            words[dimension * AT_ONCE + j] = point[dimension]


@kernel
def draw_all(first_words, start, keys, flight, words):
    """Draw the numbers of AT_ONCE photons.

    Parameters
    ----------
    first_words : ndarray, uint32
        From `first_points`.
    start : ndarray, shape (SOBOL_DIMENSIONS + SOBOL_DRAWS,), uint32
        Sobol point of the first photon, whose number is a multiple of AT_ONCE.
    keys : ndarray, shape (SOBOL_DIMENSIONS + SOBOL_DRAWS,), uint32
        Of the scrambling.
    flight : ndarray, shape (FLIGHT_WORDS,)
        What the photons are made from is set.
    words : ndarray, shape (SOBOL_DRAWS * AT_ONCE,), uint32
        Set to the random words that their paths use first.
    """
    for dimension in range(SOBOL_DIMENSIONS):
        point, key, row, place = start[dimension], keys[dimension], dimension * AT_ONCE, dimension * _STRIDE
        for j in range(AT_ONCE):
            flight[place + j] = owen_scramble(first_words[row + j] ^ point, key)
    for k in range(SOBOL_DRAWS):
        dimension = SOBOL_DIMENSIONS + k
        point, key, row, place = start[dimension], keys[dimension], dimension * AT_ONCE, k * AT_ONCE
        for j in range(AT_ONCE):
            words[place + j] = scrambled_word(first_words[row + j] ^ point, key)


@kernel
def emit_all(source, flight):
    """Place and direction of each photon, as from `emit`; in vector code for the commonest lamp."""
    if source.layout == EVEN_RECTANGLE and source.beam == COSINE_POWER and source.power_m == 1.0:
        cx, cy, cz = source.centre_m[0], source.centre_m[1], source.centre_m[2]
        ax, ay, az = source.axes[0, 0], source.axes[0, 1], source.axes[0, 2]
        bx, by, bz = source.axes[1, 0], source.axes[1, 1], source.axes[1, 2]
        nx, ny, nz = source.axes[2, 0], source.axes[2, 1], source.axes[2, 2]
        length, width = source.size_m[0], source.size_m[1]
        for j in range(AT_ONCE):
            a, b = length * (flight[U1 + j] - 0.5), width * (flight[U2 + j] - 0.5)
            mu, s = math.sqrt(1.0 - flight[U3 + j]), math.sqrt(flight[U3 + j])
            c, si = cos_sin(TWO_PI * flight[U4 + j])
            c, si = c * s, si * s
            flight[PX + j], flight[DX + j] = cx + a * ax + b * bx, c * ax + si * bx + mu * nx
            flight[PY + j], flight[DY + j] = cy + a * ay + b * by, c * ay + si * by + mu * ny
            flight[PZ + j], flight[DZ + j] = cz + a * az + b * bz, c * az + si * bz + mu * nz
    else:
        for j in range(AT_ONCE):
            (
                flight[PX + j], flight[PY + j], flight[PZ + j], flight[DX + j], flight[DY + j], flight[DZ + j],
            ) = emit(source, flight[U1 + j], flight[U2 + j], flight[U3 + j], flight[U4 + j])  # fmt: skip


@kernel
def is_open(scene):
    """Whether nothing lies between the room and the water: no cover, shape, leaf or plane, and the water is flat."""
    tank, cover, planes = scene.tank, scene.cover, scene.grid.plane_z_m
    bare = not cover.has_lid and cover.strips_clear.size == 0 and is_level(scene)
    clear = scene.mesh.top_m <= tank.water_m and (scene.canopy.n == 0 or scene.canopy.top_m <= tank.water_m)
    return (
        tank.water_m > 0.0 and bare and clear and (planes.size == 0 or planes[planes.size - 1] < tank.water_m)
    )


@kernel
def cross_all(scene, first, end, flight):
    """Take photons past the tank, or through its open top and the water surface, where `is_open` says that they may.

    Those that only `follow` can take on stay where they are, `OUTSIDE`; photons before `first` and from `end` on have
    `ENDED`, like those that miss the tank.
    """
    tank, opened = scene.tank, is_open(scene)
    lx, ly, lz, water, over_n = tank.lx_m, tank.ly_m, tank.lz_m, tank.water_m, 1.0 / tank.n_water
    x0, x1, y0, y1, z0, _ = box_of(tank, OUTSIDE)
    for j in range(AT_ONCE):
        px, py, pz = flight[PX + j], flight[PY + j], flight[PZ + j]
        dx, dy, dz = flight[DX + j], flight[DY + j], flight[DZ + j]
        above, down = pz > lz, 1.0 / max(-dz, 1e-30)
        t_top, t_water, t_floor = (pz - lz) * down, (pz - water) * down, (pz - z0) * down
        top_x, top_y = px + t_top * dx, py + t_top * dy
        floor_x, floor_y = px + t_floor * dx, py + t_floor * dy
        aside_x = (max(top_x, floor_x) < x0) | (min(top_x, floor_x) > x1)
        aside_y = (max(top_y, floor_y) < y0) | (min(top_y, floor_y) > y1)
        misses = opened & above & ((dz >= 0.0) | aside_x | aside_y)
        wx, wy = px + t_water * dx, py + t_water * dy
        through_top = (top_x >= 0.0) & (top_x <= lx) & (top_y >= 0.0) & (top_y <= ly)
        to_water = (wx > 0.0) & (wx < lx) & (wy > 0.0) & (wy < ly)
        mu_t = math.sqrt(1.0 - (1.0 - dz * dz) * over_n * over_n)
        sent_back = flight[U_FIRST + j] < reflectance(abs(dz), mu_t, over_n, UNPOLARISED)
        dips = opened & above & (dz < 0.0) & through_top & to_water & (not sent_back)
        flight[PX + j], flight[DX + j] = wx if dips else px, dx * over_n if dips else dx
        flight[PY + j], flight[DY + j] = wy if dips else py, dy * over_n if dips else dy
        flight[PZ + j], flight[DZ + j] = water if dips else pz, -mu_t if dips else dz
        region = float(WATER) if dips else float(ENDED) if misses else float(OUTSIDE)
        flight[REGION + j] = region if first <= j < end else float(ENDED)


@kernel
def reach_all(scene, limits, flight):
    """What each photon under water meets, triangles and hills left out, and if it comes near triangles before."""
    grid = scene.grid
    per_u, per_v = grid.cells[SURFACE_GRID, 0], grid.cells[SURFACE_GRID, 1]
    nu, nv, first = grid.cells[SURFACE_GRID, 2], grid.cells[SURFACE_GRID, 3], grid.first[SURFACE_GRID]
    low_x, low_y, low_z = limits[0], limits[1], limits[2]
    high_x, high_y, high_z = limits[3], limits[4], limits[5]
    x0, x1, y0, y1, z0, z1 = box_of(scene.tank, WATER)
    for j in range(AT_ONCE):
        px, py, pz = flight[PX + j], flight[PY + j], flight[PZ + j]
        dx, dy, dz = flight[DX + j], flight[DY + j], flight[DZ + j]
        t_wall, face = exit_face(px, py, pz, dx, dy, dz, x0, x1, y0, y1, z0, z1)
        t = plane_hit(scene.soil, px, py, pz, dx, dy, dz, t_wall)
        in_x, out_x = slab(px, dx, low_x, high_x)
        in_y, out_y = slab(py, dy, low_y, high_y)
        in_z, out_z = slab(pz, dz, low_z, high_z)
        near = max(max(in_x, in_y), max(in_z, 0.0)) <= min(min(out_x, out_y), min(out_z, t))
        flight[T + j], flight[FACE + j] = t, float(face)
        flight[EVENT + j] = float(SOIL) if t < t_wall else float(WALL)
        flight[NEAR + j] = 1.0 if near else 0.0
        iu, iv = (
            min(max(math.floor(px * per_u), 0.0), nu - 1.0),
            min(max(math.floor(py * per_v), 0.0), nv - 1.0),
        )
        flight[CELL + j] = first + iv * nu + iu


@kernel
def under_way(flight, places):
    """Set the first of `places` (AT_ONCE,) to the photons that have not ended; how many there are."""
    n = 0
    for j in range(AT_ONCE):
        places[n] = j
        n += flight[REGION + j] != ENDED
    return n
