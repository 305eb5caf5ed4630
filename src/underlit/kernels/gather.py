"""First light on the soil, gathered: from points of the lamp to points of the soil, along every route that is solved.

Nearly all light on the soil comes straight down through a flat water surface, or does so and is returned once or more
by panes. For a point of the lamp and a point of the soil such a path is the root of two equations (`solve`), so its
irradiance follows without chance but for the two points: no photon needs to hit the cell. The photon loop leaves these
routes out (`route`) and carries all others, so the sum stays unbiased.

Gathered are routes with no return, with two at most by the outer face of a pane, and with one return of another kind:
by the inner face of a pane; by the outer face after a second trip through the glass; or above the water, where light
still in air glances off a pane. `MAX_COST` and what a return costs say the same in numbers.

All routes of a pair of points are solved together, which vector instructions do. That tells how much light each can
bring at most. Following one to see what stands in its way takes longer than solving it, so faint ones are followed by
chance, for as much more light: by systematic sampling, at chances in proportion to their light.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from underlit.kernels.arrays import BACK, FRONT, LEFT, RIGHT, SOIL_GRID
from underlit.kernels.bands import deposit_through
from underlit.kernels.draws import rng_start
from underlit.kernels.emit import intensity, source_point
from underlit.kernels.fresnel import fresnel
from underlit.kernels.jit import inlined_kernel, kernel
from underlit.kernels.rng import (
    SOBOL_DIMENSIONS,
    mix32,
    owen_scramble_all,
    sobol_next,
    sobol_start,
    stream_word,
)
from underlit.kernels.route import AIR_COSINE_MIN, MAX_COST
from underlit.kernels.soil import soil_height
from underlit.kernels.solve import LANES, irradiance, solve, solve_all, straight, unfolded, whole_lanes
from underlit.kernels.tally import add_to
from underlit.kernels.walk import MOST_LEGS, SHORT_OF_M, clear_way, pane_return, walk_air, walk_water

# How a return comes about: by so many trips through the glass, none being the inner face, or in air.
_INNER_FACE, _ONE_TRIP, _TWO_TRIPS, _IN_AIR = range(4)
# All routes: returns by panes square to x and to y, the first one at the far pane if positive, and how they come about.
_RETURNS = range(-MAX_COST, MAX_COST + 1)
ROUTES = np.array(
    [(i, j, _ONE_TRIP) for i in _RETURNS for j in _RETURNS if abs(i) + abs(j) <= MAX_COST]
    + [
        (i, j, kind)
        for kind in (_INNER_FACE, _TWO_TRIPS, _IN_AIR)
        for i in _RETURNS
        for j in _RETURNS
        if abs(i) + abs(j) == 1
    ],
    np.int64,
)
_AIR_TANGENT_MAX = math.sqrt(1.0 - AIR_COSINE_MIN**2) / AIR_COSINE_MIN
# A route is followed at a chance of its share of the light of all times this.
_KEENNESS = 12.0

_GOLDEN = np.uint32(0x9E3779B9)
_NO_PHOTON = np.uint32(1 << 31)  # marks the random numbers of gathered paths, none of which a photon has


class Routes(NamedTuple):
    """Those between one point of the lamp and one of the soil, each array with room for all `ROUTES`.

    Attributes
    ----------
    number : ndarray, int64
        Row of `ROUTES`.
    fx, fy : ndarray
        Target from the lamp point, in the unfolded tank. [m]
    glass_x, glass_y : ndarray
        Thickness of all panes square to x, and to y, that it passes. [m]
    qx, qy : ndarray
        Horizontal part of its unit direction in air.
    spread : ndarray
        `irradiance` at its end, 0 where there is no such path. [m-2]
    bright : ndarray
        What it brings if panes return all and nothing stands in its way.
    light : ndarray
        What it brings at most.
    legs : ndarray, shape (MOST_LEGS, 7)
        The stretches of the one that is followed: start, unit direction, length. [m]
    """

    number: np.ndarray
    fx: np.ndarray
    fy: np.ndarray
    glass_x: np.ndarray
    glass_y: np.ndarray
    qx: np.ndarray
    qy: np.ndarray
    spread: np.ndarray
    bright: np.ndarray
    light: np.ndarray
    legs: np.ndarray


def new_routes() -> Routes:
    """Working memory for one pair of points."""
    room = len(ROUTES) + LANES  # for the vector that has the last of them
    columns = (np.zeros(room) for _ in Routes._fields[1:-1])
    return Routes(np.zeros(room, np.int64), *columns, np.zeros((MOST_LEGS, 7)))


@inlined_kernel
def list_routes(tank, sx, sy, tx, ty, d, routes):
    """Fill in the routes from (sx, sy) that may reach (tx, ty) at a depth `d`; how many there are."""
    # Light runs at most this far aside in water, and in air where a glance is gathered: images beyond are out of reach.
    reach = d / math.sqrt(tank.n_water * tank.n_water - 1.0)
    farther = (tank.lz_m - tank.water_m) * _AIR_TANGENT_MAX
    n = 0
    for r in range(len(ROUTES)):
        i, j, kind = ROUTES[r, 0], ROUTES[r, 1], ROUTES[r, 2]
        x, y = unfolded(tx, tank.lx_m, i), unfolded(ty, tank.ly_m, j)
        away = max(max(-x, x - tank.lx_m), max(-y, y - tank.ly_m))
        if away <= (reach + farther if kind == _IN_AIR else reach):
            glass = 0.0 if kind == _IN_AIR else 2.0 * kind * tank.side_m
            routes.number[n] = r
            routes.fx[n], routes.fy[n] = x - sx, y - sy
            routes.glass_x[n], routes.glass_y[n] = glass * abs(i), glass * abs(j)
            n += 1
    return n


@inlined_kernel
def returned(tank, i, j, kind, qx, qy):
    """What a pane returns of a route at most; 1 for most that come back from its outer face, as nearly all does."""
    if kind == _ONE_TRIP:
        return 1.0
    q = qx if i != 0 else qy
    if kind == _IN_AIR:
        reflectance, _ = fresnel(abs(q), 1.0 / tank.n_glass)
        return reflectance
    face = (RIGHT if i > 0 else LEFT) if i != 0 else (BACK if j > 0 else FRONT)
    k2 = tank.n_glass * tank.n_glass - tank.n_water * tank.n_water
    return pane_return(tank, face, q, math.sqrt(k2 + q * q), kind)


@kernel
def solve_alone(tank, h, d, routes, r):
    """Solve one route with all care; `spread` stays 0 where there is no such path."""
    fx, fy = routes.fx[r], routes.fy[r]
    qx, qy = straight(h, d, tank.n_water, fx, fy)
    found, qx, qy, determinant = solve(
        h, d, tank.n_water, tank.n_glass, routes.glass_x[r], routes.glass_y[r], fx, fy, qx, qy
    )
    routes.qx[r], routes.qy[r] = qx, qy
    routes.spread[r] = irradiance(tank.n_water, qx, qy, determinant) if found else 0.0


@inlined_kernel
def weigh_routes(tank, source, u1, u2, h, d, routes, n):
    """Work out what each of `n` solved routes brings if nothing stands in its way; the sum."""
    total = 0.0
    for r in range(n):
        i, j, kind = ROUTES[routes.number[r], 0], ROUTES[routes.number[r], 1], ROUTES[routes.number[r], 2]
        if not routes.spread[r] > 0.0:  # too hard for all at once
            solve_alone(tank, h, d, routes, r)
        bright = light = 0.0
        if routes.spread[r] > 0.0:
            qx, qy = routes.qx[r], routes.qy[r]
            ca = math.sqrt(1.0 - qx * qx - qy * qy)
            if kind != _IN_AIR or ca >= AIR_COSINE_MIN:
                bright = routes.spread[r] * intensity(source, u1, u2, qx, qy, -ca)
        if bright > 0.0:
            light = bright * returned(tank, i, j, kind, qx, qy)
        routes.bright[r], routes.light[r] = bright, light
        total += light
    return total


@inlined_kernel
def follow_route(scene, bvh, sx, sy, sz, tx, ty, i, j, kind, qx, qy, routes, rng, seed, stack):
    """Follow a solved route from the lamp to the soil.

    Returns
    -------
    weight : float
        What panes return, and opening, leaves and particles let by; 0 where something stands in its way.
    water_m, glass_m : float
        Lengths inside water and glass.
    """
    glances = kind == _IN_AIR
    trips = 0 if glances else kind
    i_water, j_water = (0, 0) if glances else (abs(i), abs(j))
    above, x, y, wx, wy, n_legs = walk_air(scene, sx, sy, sz, qx, qy, glances, i != 0, routes.legs)
    if above <= 0.0:
        return 0.0, 0.0, 0.0
    below, water, glass, lx, ly, n_legs = walk_water(
        scene, x, y, wx, wy, i_water, j_water, trips, routes.legs, n_legs
    )
    # A path that comes down elsewhere has met something on its way (a fold of the soil, say).
    if below <= 0.0 or abs(lx - tx) + abs(ly - ty) > SHORT_OF_M:
        return 0.0, 0.0, 0.0
    weight = above * below * clear_way(scene, bvh, routes.legs, n_legs, rng, seed, stack)
    return weight * math.exp(-scene.tank.scattering_per_m * water), water, glass


@inlined_kernel
def gather_point(scene, bvh, source, u, routes, v, factor, cells, cell, iu, iv, rng, seed, stack):
    """Add to a soil cell the light between one point of the lamp and one of the cell, both by `u` (5,)."""
    tank, grid, c, axes = scene.tank, scene.grid, source.centre_m, source.axes
    tx, ty = (iu + u[2]) / grid.cells[SOIL_GRID, 0], (iv + u[3]) / grid.cells[SOIL_GRID, 1]
    lx, ly, lz = source_point(source, u[0], u[1])
    sx = c[0] + lx * axes[0, 0] + ly * axes[1, 0] + lz * axes[2, 0]
    sy = c[1] + lx * axes[0, 1] + ly * axes[1, 1] + lz * axes[2, 1]
    sz = c[2] + lx * axes[0, 2] + ly * axes[1, 2] + lz * axes[2, 2]
    h, d = sz - tank.water_m, tank.water_m - soil_height(scene.soil, tx, ty)
    if h <= 0.0 or d <= 0.0:
        return
    n = list_routes(tank, sx, sy, tx, ty, d, routes)
    solve_all(
        h, d, tank.n_water, tank.n_glass, routes.glass_x, routes.glass_y, routes.fx, routes.fy,
        routes.qx, routes.qy, routes.spread, whole_lanes(n),
    )  # fmt: skip
    total = weigh_routes(tank, source, u[0], u[1], h, d, routes, n)
    # Systematic sampling: a route is followed where the sum of the chances passes a whole number.
    passed = u[4]
    for r in range(n):
        light = routes.light[r]
        chance = min(_KEENNESS * light / total, 1.0) if light > 0.0 else 0.0
        passed += chance
        if passed >= 1.0:
            passed -= 1.0
            i, j, kind = ROUTES[routes.number[r], 0], ROUTES[routes.number[r], 1], ROUTES[routes.number[r], 2]
            qx, qy = routes.qx[r], routes.qy[r]
            left, water, glass = follow_route(
                scene, bvh, sx, sy, sz, tx, ty, i, j, kind, qx, qy, routes, rng, seed, stack
            )
            if left > 0.0:
                amount = factor * routes.bright[r] * left / chance
                deposit_through(v, amount, tank.a_water_per_m, water, tank.a_glass_per_m, glass, cells, cell)


@kernel
def gather_batch(scene, bvh, source, directions, seed, stream, first, n_points, scale, scratch, soil_sum):
    """Gather first light in all soil cells, from a stretch of points, and add it to its sums.

    Parameters
    ----------
    scene : SceneArrays
    bvh : Bvh
    source : SourceArrays
    directions : ndarray, shape (SOBOL_DIMENSIONS, 32), uint32
    seed : uint64
    stream : int
        As for `trace_batch`.
    first, n_points : int
        Stretch of points in each cell. The sums are those of one photon for each point.
    scale : float
        Fixed-point units per unit weight.
    scratch : Scratch
        Overwritten.
    soil_sum : ndarray, shape (n_soil_cells, n_bands), int64
        Added to.
    """
    grid, cells, v, points = scene.grid, scratch.cells, scratch.packet, scratch.points
    per_u, per_v = grid.cells[SOIL_GRID, 0], grid.cells[SOIL_GRID, 1]
    nu, nv = np.int64(grid.cells[SOIL_GRID, 2]), np.int64(grid.cells[SOIL_GRID, 3])
    offset = grid.first[SOIL_GRID]
    mine = cells[offset : offset + nu * nv]
    mine[:] = 0.0
    factor = 1.0 / (per_u * per_v)
    for b in range(scene.n_bands):
        v[b] = np.float32(1.0)
    word = stream_word(seed, stream)
    u, scramble = scratch.uniform, scratch.scramble
    for iv in range(nv):
        for iu in range(nu):
            cell = offset + iv * nu + iu
            key = mix32(word ^ mix32(np.uint32(cell) + _GOLDEN))
            for dimension in range(SOBOL_DIMENSIONS):
                scramble[dimension] = mix32(key + np.uint32(dimension) * _GOLDEN)
            sobol_start(directions, first, points)
            for k in range(first, first + n_points):
                owen_scramble_all(points, scramble, u)
                rng_start(scratch.rng, np.uint32(k * nu * nv + cell), np.uint32(stream) | _NO_PHOTON)
                gather_point(
                    scene, bvh, source, u, scratch.routes, v, factor, cells, cell, iu, iv,
                    scratch.rng, seed, scratch.stack,
                )  # fmt: skip
                sobol_next(directions, k, points)
    add_to(soil_sum, mine, scale)
