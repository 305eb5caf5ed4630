"""First light on the soil, gathered: from points of the lamp to points of the soil, along every route that is solved.

Nearly all light on the soil comes straight down through a flat water surface, or does so and is returned once or more
by panes. For a point of the lamp and a point of the soil such a path is the root of two equations (`solve`), so its
irradiance follows without chance but for the two points: no photon needs to hit the cell. The photon loop leaves these
routes out (`route`) and carries all others, so the sum stays unbiased.

Gathered are routes with no return, with two at most by the outer face of a pane, and with one return of another kind:
by the inner face of a pane; by the outer face after a second trip through the glass; or above the water, where light
still in air glances off a pane. `MAX_COST` and what a return costs say the same in numbers.
"""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.arrays import BACK, BONDED, BOTTOM, RIGHT, SOIL_GRID
from underlit.kernels.bands import deposit_through
from underlit.kernels.box import exit_face
from underlit.kernels.bvh import any_hit
from underlit.kernels.emit import intensity, source_point
from underlit.kernels.fresnel import fresnel
from underlit.kernels.jit import called_kernel, inlined_kernel, kernel
from underlit.kernels.leaves import leaf_normal
from underlit.kernels.rng import (
    mix32,
    owen_scramble,
    rng_start,
    sobol_next,
    sobol_start,
    stream_word,
    uniform,
)
from underlit.kernels.route import AIR_COSINE_MIN, MAX_COST
from underlit.kernels.soil import soil_height, soil_hit
from underlit.kernels.solve import solve, straight, unfolded
from underlit.kernels.tally import add_to

# How a return comes about: by so many trips through the glass, none being the inner face, or in air.
_INNER_FACE, _ONE_TRIP, _TWO_TRIPS, _IN_AIR = range(4)
_KINDS = (_ONE_TRIP, _INNER_FACE, _TWO_TRIPS, _IN_AIR)

_SHORT_OF_M = 2e-5  # a sight line ends this far before the soil that it looks at
_GOLDEN = np.uint32(0x9E3779B9)
_NO_PHOTON = np.uint32(1 << 31)  # marks the random numbers of gathered paths, none of which a photon has


@inlined_kernel
def in_sight(scene, bvh, x, y, z, dx, dy, dz, t, stack):
    """Whether nothing stands between a point and the one `t` along a direction."""
    if min(z, z + t * dz) >= scene.mesh.top_m:
        return True
    return not any_hit(bvh, x, y, z, dx, dy, dz, t, -1, stack)


@called_kernel
def leaf_gaps(scene, x, y, z, dx, dy, dz, t, rng, seed):
    """Chance that no leaf stands in a stretch of path, estimated without bias.

    Ratio tracking: tentative collisions as in the photon loop, each taking off the chance that it was a real one
    (J. Novák, A. Selle and W. Jarosz 2014, ACM Trans. Graph. 33(6)).
    """
    canopy = scene.canopy
    ny, nx = canopy.column.shape
    chance = 1.0
    s = 0.0
    while True:
        s -= math.log(uniform(rng, seed)) / canopy.max_density_per_m
        if s >= t or chance <= 0.0:
            return chance
        px, py = x + s * dx, y + s * dy
        i = min(max(int(px / canopy.dx_m), 0), nx - 1)
        j = min(max(int(py / canopy.dy_m), 0), ny - 1)
        k = canopy.column[j, i]
        if k >= 0 and z + s * dz <= soil_height(scene.soil, px, py) + canopy.height_m[k]:
            lx, ly, lz = leaf_normal(canopy.angle_rule[k], rng, seed)
            facing = abs(dx * lx + dy * ly + dz * lz)
            chance *= 1.0 - canopy.density_per_m[k] * facing / canopy.max_density_per_m


@inlined_kernel
def pane_return(tank, face, q, n_wall, trips):
    """What a pane returns of light from the water, by its inner face (no trips) or after trips through the glass.

    `q` is the component of the direction in air square to the pane, `n_wall` n_glass^2 - n_water^2 + q^2, rooted: the
    glass index times the cosine inside the glass.
    """
    inner, _ = fresnel(min(abs(q) / tank.n_water, 1.0), tank.n_water / tank.n_glass)
    if trips == 0:
        return inner
    if tank.backing[face] == BONDED:
        return 0.0
    outer, _ = fresnel(min(n_wall / tank.n_glass, 1.0), tank.n_glass)
    through = (1.0 - inner) * tank.clear[face]
    weight = through * through * outer
    for _ in range(1, trips):
        weight *= inner * outer
    return weight


@inlined_kernel
def walk_water(scene, bvh, looks, x, y, qx, qy, i, j, trips, rng, seed, stack):
    """Follow a solved path from the water surface to the soil.

    Parameters
    ----------
    looks : bool
        Whether to ask what stands in the way.
    x, y, qx, qy : float
        Where and how it comes in.
    i, j : int
        Returns still to come, by panes square to x and to y.
    trips : int
        Through the glass at each return.

    Returns
    -------
    weight : float
        What the panes on its way return; 0 where something blocks it or it meets the walls otherwise than thought.
    water_m, glass_m : float
        Lengths inside water and glass.
    x, y : float
        Where it meets the soil.
    """
    tank = scene.tank
    n = tank.n_water
    k2 = tank.n_glass * tank.n_glass - n * n
    z = tank.water_m
    dx, dy = qx / n, qy / n
    dz = -math.sqrt(1.0 - dx * dx - dy * dy)
    weight, water, glass = 1.0, 0.0, 0.0
    hits_x, hits_y = 0, 0
    while True:
        t, face = exit_face(x, y, z, dx, dy, dz, 0.0, tank.lx_m, 0.0, tank.ly_m, 0.0, tank.water_m)
        t_soil = soil_hit(scene.soil, x, y, z, dx, dy, dz, t)
        on_soil = t_soil < t
        t = min(t, t_soil)
        if looks:
            reach = t - _SHORT_OF_M if on_soil else t
            if not in_sight(scene, bvh, x, y, z, dx, dy, dz, reach, stack):
                return 0.0, 0.0, 0.0, x, y
            if scene.canopy.n > 0:
                weight *= leaf_gaps(scene, x, y, z, dx, dy, dz, t, rng, seed)
        x, y, z = x + t * dx, y + t * dy, z + t * dz
        water += t
        if on_soil:
            return weight if hits_x == i and hits_y == j else 0.0, water, glass, x, y
        across_x = face <= RIGHT
        hits_x, hits_y = hits_x + across_x, hits_y + (not across_x)
        if face > BACK or hits_x > i or hits_y > j:
            return 0.0, 0.0, 0.0, x, y
        q = qx if across_x else qy
        root = math.sqrt(k2 + q * q)
        weight *= pane_return(tank, face, q, root, trips)
        if weight <= 0.0:
            return 0.0, 0.0, 0.0, x, y
        path = 2.0 * tank.side_m * tank.n_glass / root
        for _ in range(trips):
            glass += path
            # Inside the glass the two components along the pane go on, the third one turns back.
            z += path * dz * n / tank.n_glass
            if across_x:
                y += path * dy * n / tank.n_glass
            else:
                x += path * dx * n / tank.n_glass
            inside = 0.0 < y < tank.ly_m if across_x else 0.0 < x < tank.lx_m
            if not inside or z < soil_height(scene.soil, x, y):
                return 0.0, 0.0, 0.0, x, y
        if across_x:
            x, dx = tank.lx_m if face == RIGHT else 0.0, -dx
        else:
            y, dy = tank.ly_m if face == BACK else 0.0, -dy


@inlined_kernel
def strips_and_opening(scene, x, y):
    """What the opening lets through at (x, y) of the rim's height."""
    tank, cover = scene.tank, scene.cover
    if not (0.0 <= x <= tank.lx_m and 0.0 <= y <= tank.ly_m):
        return 0.0
    for k in range(cover.strips_clear.size):
        s = cover.strips_m
        if s[k, 0] <= x <= s[k, 2] and s[k, 1] <= y <= s[k, 3]:
            return cover.strips_clear[k]
    return 1.0


@inlined_kernel
def walk_air(scene, bvh, looks, sx, sy, sz, qx, qy, glances, on_x, rng, seed, stack):
    """Follow a solved path from the lamp to the water surface.

    Parameters
    ----------
    looks : bool
        Whether to ask what stands in the way.
    sx, sy, sz, qx, qy : float
        Where and how it starts.
    glances : bool
        Whether it glances off a pane on its way, one square to x if `on_x`.

    Returns
    -------
    weight : float
    x, y, qx, qy : float
        Where and how it comes to the surface.
    """
    tank, cover, soil = scene.tank, scene.cover, scene.soil
    ca = math.sqrt(1.0 - qx * qx - qy * qy)
    weight = 1.0
    x, y, z = sx, sy, sz
    if sz >= tank.lz_m:
        drop = (sz - tank.lz_m) / ca
        x, y, z = sx + qx * drop, sy + qy * drop, tank.lz_m
        weight = strips_and_opening(scene, x, y)
    elif not (0.0 < sx < tank.lx_m and 0.0 < sy < tank.ly_m):
        weight = 0.0  # from beside the tank, through a pane: left to the photons
    if weight <= 0.0:
        return 0.0, x, y, qx, qy
    above_soil = soil.z_max_m > tank.water_m
    leaves = scene.canopy.n > 0 and scene.canopy.top_m > tank.water_m
    glanced = False
    while True:
        t, face = exit_face(x, y, z, qx, qy, -ca, 0.0, tank.lx_m, 0.0, tank.ly_m, tank.water_m, tank.lz_m)
        if above_soil and soil_hit(soil, x, y, z, qx, qy, -ca, t) < t:
            return 0.0, x, y, qx, qy  # a bank above the water stands in the way
        if looks:
            before = 0.0 if glanced else (sz - z) / ca  # from the lamp to the rim
            bx, by, bz = x - before * qx, y - before * qy, z + before * ca
            if not in_sight(scene, bvh, bx, by, bz, qx, qy, -ca, before + t, stack):
                return 0.0, x, y, qx, qy
            if leaves:
                weight *= leaf_gaps(scene, x, y, z, qx, qy, -ca, t, rng, seed)
        x, y, z = x + t * qx, y + t * qy, z - t * ca
        if face == BOTTOM:
            break
        if glanced or not glances or on_x != (face <= RIGHT):
            return 0.0, x, y, qx, qy
        glanced = True
        reflectance, _ = fresnel(abs(qx) if on_x else abs(qy), 1.0 / tank.n_glass)
        weight *= reflectance
        if on_x:
            x, qx = tank.lx_m if face == RIGHT else 0.0, -qx
        else:
            y, qy = tank.ly_m if face == BACK else 0.0, -qy
    if glanced != glances:
        return 0.0, x, y, qx, qy
    if cover.floater_cover > 0.0:
        ex, ey, radius = x - cover.floater_ring_m[0], y - cover.floater_ring_m[1], cover.floater_ring_m[2]
        if radius <= 0.0 or ex * ex + ey * ey < radius * radius:
            weight *= 1.0 - cover.floater_cover
    return weight, x, y, qx, qy


@inlined_kernel
def gather_route(
    scene,
    bvh,
    source,
    point,
    target,
    guess,
    i,
    j,
    kind,
    v,
    factor,
    cells,
    cell,
    rng,
    seed,
    stack,
):
    """Add to a cell the light of one route from a lamp point to a soil point.

    Parameters
    ----------
    scene, bvh, source : as for `gather_batch`
    point : tuple of 5 floats
        The lamp point: its two uniform numbers, and x, y, z. [m]
    target : tuple of 3 floats
        The soil point. [m]
    guess : tuple of 2 floats
        Of the direction in air.
    i, j : int
        Returns by panes square to x and y; the first one at the far pane if positive.
    kind : int
        How its returns come about.
    v : ndarray, shape (B,)
    factor : float
    cells : ndarray, shape (C, B)
    cell : int

    Returns
    -------
    qx, qy : float
        The direction found, a guess for routes of the same returns.
    """
    tank = scene.tank
    u1, u2, sx, sy, sz = point
    tx, ty, tz = target
    n = tank.n_water
    h, d = sz - tank.water_m, tank.water_m - tz
    glances, trips = kind == _IN_AIR, kind
    if glances:
        trips = 0
    fx, fy = unfolded(tx, tank.lx_m, i) - sx, unfolded(ty, tank.ly_m, j) - sy
    found, qx, qy, determinant = solve(
        h, d, n, tank.n_glass, tank.side_m, trips * abs(i), trips * abs(j), fx, fy, guess[0], guess[1]
    )
    if not found:
        return guess
    ca = math.sqrt(1.0 - qx * qx - qy * qy)
    if glances and ca < AIR_COSINE_MIN:
        return qx, qy
    bright = intensity(source, u1, u2, qx, qy, -ca)
    if bright <= 0.0:
        return qx, qy
    i_water, j_water = (0, 0) if glances else (abs(i), abs(j))
    # First whether there is such a path at all, then what stands in its way, which takes longer to find out.
    for looks in range(2):
        if looks == 1 and scene.mesh.n_faces == 0 and scene.canopy.n == 0:
            break
        weight, x, y, wx, wy = walk_air(
            scene, bvh, looks == 1, sx, sy, sz, qx, qy, glances, i != 0, rng, seed, stack
        )
        if weight <= 0.0:
            return qx, qy
        returned, water, glass, lx, ly = walk_water(
            scene, bvh, looks == 1, x, y, wx, wy, i_water, j_water, trips, rng, seed, stack
        )
        # A path that comes down elsewhere has met something on its way (a fold of the soil, say).
        if returned <= 0.0 or abs(lx - tx) + abs(ly - ty) > _SHORT_OF_M:
            return qx, qy
    surface, _ = fresnel(ca, 1.0 / n)
    weight *= returned * bright * (1.0 - surface) / (ca * determinant)
    weight *= math.exp(-tank.scattering_per_m * water)
    deposit_through(v, factor * weight, tank.a_water_per_m, water, tank.a_glass_per_m, glass, cells, cell)
    return qx, qy


@inlined_kernel
def gather_point(scene, bvh, source, u1, u2, u3, u4, v, factor, cells, cell, iu, iv, rng, seed, stack):
    """Add to a soil cell the light of all routes between one point of the lamp and one of the cell."""
    tank, grid, c, axes = scene.tank, scene.grid, source.centre_m, source.axes
    tx, ty = (iu + u3) / grid.per_u[SOIL_GRID], (iv + u4) / grid.per_v[SOIL_GRID]
    target = tx, ty, soil_height(scene.soil, tx, ty)
    lx, ly, lz = source_point(source, u1, u2)
    sx = c[0] + lx * axes[0, 0] + ly * axes[1, 0] + lz * axes[2, 0]
    sy = c[1] + lx * axes[0, 1] + ly * axes[1, 1] + lz * axes[2, 1]
    sz = c[2] + lx * axes[0, 2] + ly * axes[1, 2] + lz * axes[2, 2]
    h, d = sz - tank.water_m, tank.water_m - target[2]
    if h <= 0.0 or d <= 0.0:
        return
    point = u1, u2, sx, sy, sz
    # Light runs at most this far aside in water, and in air where a glance is gathered: images beyond are out of reach.
    reach = d / math.sqrt(tank.n_water * tank.n_water - 1.0)
    farther = (tank.lz_m - tank.water_m) * math.sqrt(1.0 - AIR_COSINE_MIN**2) / AIR_COSINE_MIN
    for i in range(-MAX_COST, MAX_COST + 1):
        image_x = unfolded(tx, tank.lx_m, i)
        away_x = max(-image_x, image_x - tank.lx_m)
        left = MAX_COST - abs(i)
        for j in range(-left, left + 1):
            image_y = unfolded(ty, tank.ly_m, j)
            away = max(away_x, -image_y, image_y - tank.ly_m)
            returns = abs(i) + abs(j)
            if away > reach + farther:
                continue
            guess = straight(h, d, tank.n_water, image_x - sx, image_y - sy)
            for kind in _KINDS:
                within = reach + farther if kind == _IN_AIR else reach
                if away > within or (kind != _ONE_TRIP and returns != 1):
                    continue
                guess = gather_route(
                    scene, bvh, source, point, target, guess, i, j, kind,
                    v, factor, cells, cell, rng, seed, stack,
                )  # fmt: skip


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
    nu, nv, offset = grid.nu[SOIL_GRID], grid.nv[SOIL_GRID], grid.offset[SOIL_GRID]
    mine = cells[offset : offset + nu * nv]
    mine[:] = 0.0
    factor = 1.0 / (grid.per_u[SOIL_GRID] * grid.per_v[SOIL_GRID])
    for b in range(scene.n_bands):
        v[b] = np.float32(1.0)
    word = stream_word(seed, stream)
    sobol_start(directions, first, points)
    for k in range(first, first + n_points):
        for iv in range(nv):
            for iu in range(nu):
                cell = offset + iv * nu + iu
                scramble = mix32(word ^ mix32(np.uint32(cell) + _GOLDEN))
                rng_start(scratch.rng, np.uint32(k * nu * nv + cell), np.uint32(stream) | _NO_PHOTON)
                gather_point(
                    scene,
                    bvh,
                    source,
                    owen_scramble(points[0], mix32(scramble)),
                    owen_scramble(points[1], mix32(scramble + _GOLDEN)),
                    owen_scramble(points[2], mix32(scramble + np.uint32(2) * _GOLDEN)),
                    owen_scramble(points[3], mix32(scramble + np.uint32(3) * _GOLDEN)),
                    v,
                    factor,
                    cells,
                    cell,
                    iu,
                    iv,
                    scratch.rng,
                    seed,
                    scratch.stack,
                )
        sobol_next(directions, k, points)
    add_to(soil_sum, mine, scale)
