"""First light on the soil, gathered: the paths from lamp to soil that can be solved instead of hoped for.

Nearly all light on the soil comes straight down through a flat water surface, or does so and is returned once or more
by panes. For a point of the lamp and a point of the soil such a path is the root of two equations, so its irradiance
follows without chance but for the two points: no photon needs to hit the cell. The photon loop leaves these routes
out (`route` in `track`) and carries all others, so the sum stays unbiased.

With q the horizontal part of the unit direction in air (refraction at the level surface keeps it, times the index),
a path through air of height h, water of depth d, and `i`, `j` returns by panes square to x and y comes down at

    F_x = q_x (h / c_a + d / (n c_w) - S_x),   c_a^2 = 1 - q^2,  c_w^2 = 1 - q^2 / n^2,
    F_y = q_y (h / c_a + d / (n c_w) - S_y),   S_x = 2 t i / sqrt(n_g^2 - n^2 + q_x^2),

counted from the lamp point, with the tank unfolded at the inner faces of the panes of thickness t. A photon flux of
intensity I lands there with irradiance I T / (c_a |det dF/dq|), T being what all faces let through or return.
"""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.arrays import (
    BACK,
    BONDED,
    RIGHT,
    SOIL_GRID,
)
from underlit.kernels.bands import deposit_through
from underlit.kernels.box import exit_face
from underlit.kernels.bvh import any_hit
from underlit.kernels.emit import intensity, source_point
from underlit.kernels.fresnel import fresnel
from underlit.kernels.jit import called_kernel, inlined_kernel, kernel
from underlit.kernels.leaves import leaf_normal
from underlit.kernels.rng import mix32, owen_scramble, rng_start, sobol_next, sobol_start, uniform
from underlit.kernels.soil import soil_height, soil_hit

# Returns by panes that are gathered; paths with more are left to the photons.
MAX_RETURNS = 3

_STEPS = 30
_CLOSE_M = 1e-9  # how near to its target a solved path comes down
_SHORT_OF_M = 2e-5  # a sight line ends this far before the soil that it looks at
_GOLDEN = np.uint32(0x9E3779B9)
_NO_PHOTON = np.uint32(1 << 31)  # marks the random numbers of gathered paths, none of which a photon has


@kernel
def slope_in_air(h, d, n, rho):
    """Tangent of the angle in air at which a ray refracts to a point `rho` aside. Newton from below, monotone.

    Parameters
    ----------
    h, d : float
        Height of the lamp point above the water, depth of the target below it. [m]
    n : float
        Index of water.
    rho : float
        Horizontal distance. [m]
    """
    tau = rho / (h + d / n)
    for _ in range(_STEPS):
        sin2 = tau * tau / (1.0 + tau * tau)
        root = math.sqrt(n * n - sin2)
        error = rho - h * tau - d * math.sqrt(sin2) / root
        if error < 0.1 * _CLOSE_M:
            break
        tau += error / (h + d * n * n / (root * root * root * (1.0 + tau * tau) ** 1.5))
    return tau


@kernel
def glass_term(i, t, k2, q):
    """S of the module's equations and its derivative: what `i` returns by panes of thickness `t` take off."""
    root = math.sqrt(k2 + q * q)
    s = 2.0 * t * i / root
    return s, -s * q / (root * root)


@kernel
def solve(h, d, n, n_glass, t, i, j, fx, fy):
    """Direction in air of the path that comes down at (fx, fy) from the lamp point.

    Parameters
    ----------
    h, d : float
        Height above and depth below the water surface. [m]
    n, n_glass : float
        Indices.
    t : float
        Thickness of the panes. [m]
    i, j : int
        Returns by panes square to x and to y.
    fx, fy : float
        Target from the lamp point, in the unfolded tank. [m]

    Returns
    -------
    found : bool
    qx, qy : float
        Horizontal part of the unit direction in air.
    determinant : float
        Of dF/dq. [m2]
    """
    rho = math.hypot(fx, fy)
    tau = slope_in_air(h, d, n, rho)
    q = tau / math.sqrt(1.0 + tau * tau)
    qx, qy = (q * fx / rho, q * fy / rho) if rho > 0.0 else (0.0, 0.0)
    k2 = n_glass * n_glass - n * n
    for _ in range(_STEPS):
        q2 = qx * qx + qy * qy
        ca2, cw2 = 1.0 - q2, 1.0 - q2 / (n * n)
        if ca2 <= 1e-12:
            return False, qx, qy, 1.0
        ca, cw = math.sqrt(ca2), math.sqrt(cw2)
        sx, dsx = glass_term(i, t, k2, qx)
        sy, dsy = glass_term(j, t, k2, qy)
        b = h / ca + d / (n * cw)
        beta = h / (ca2 * ca) + d / (n * n * n * cw2 * cw)
        jxx = b + qx * qx * beta - sx - qx * dsx
        jyy = b + qy * qy * beta - sy - qy * dsy
        jxy = qx * qy * beta
        determinant = jxx * jyy - jxy * jxy
        ex, ey = fx - qx * (b - sx), fy - qy * (b - sy)
        if abs(ex) + abs(ey) < _CLOSE_M:
            return determinant > 0.0, qx, qy, determinant
        stepx = (jyy * ex - jxy * ey) / determinant
        stepy = (jxx * ey - jxy * ex) / determinant
        # Never past the horizon: half way to it at most.
        shorten = 1.0
        while (qx + shorten * stepx) ** 2 + (qy + shorten * stepy) ** 2 >= 1.0 - 0.5 * ca2:
            shorten *= 0.5
            if shorten < 1e-9:
                return False, qx, qy, 1.0
        qx, qy = qx + shorten * stepx, qy + shorten * stepy
    return False, qx, qy, 1.0


@kernel
def unfolded(x, length, i):
    """Coordinate of the image of `x` after `i` returns, the first one at the far wall if i > 0."""
    return (i + 1) * length - x if i & 1 else i * length + x


@inlined_kernel
def sight_line(scene, bvh, x, y, z, dx, dy, dz, t, stack):
    """Whether nothing stands between a point and the one `t` along a direction."""
    if scene.mesh.n_faces == 0:
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
def pane_return(tank, face, q, n_wall):
    """What a pane returns of light that goes into it from the water and is reflected once, at its outer face.

    `q` is the component of the direction in air square to the pane, `n_wall` n_glass^2 - n_water^2 + q^2, rooted: the
    glass index times the cosine inside the glass.
    """
    if tank.backing[face] == BONDED:
        return 0.0
    inner, _ = fresnel(min(abs(q) / tank.n_water, 1.0), tank.n_water / tank.n_glass)
    outer, _ = fresnel(min(n_wall / tank.n_glass, 1.0), tank.n_glass)
    through = (1.0 - inner) * tank.clear[face]
    return through * through * outer


@inlined_kernel
def walk_water(scene, bvh, x, y, qx, qy, i, j, rng, seed, stack):
    """Follow a solved path from the water surface to the soil.

    Returns
    -------
    weight : float
        What the panes on its way return; 0 where something blocks it or it meets the walls otherwise than thought.
    water_m, glass_m : float
        Lengths inside water and glass.
    x, y, z : float
        Where it meets the soil.
    """
    tank = scene.tank
    n = tank.n_water
    k2 = tank.n_glass * tank.n_glass - n * n
    z = tank.water_m
    dx, dy = qx / n, qy / n
    dz = -math.sqrt(1.0 - dx * dx - dy * dy)
    weight, water, glass = 1.0, 0.0, 0.0
    while True:
        t, face = exit_face(x, y, z, dx, dy, dz, 0.0, tank.lx_m, 0.0, tank.ly_m, 0.0, tank.water_m)
        t_soil = soil_hit(scene.soil, x, y, z, dx, dy, dz, t)
        on_soil = t_soil < t
        t = min(t, t_soil)
        if not sight_line(scene, bvh, x, y, z, dx, dy, dz, t - _SHORT_OF_M if on_soil else t, stack):
            return 0.0, 0.0, 0.0, x, y, z
        if scene.canopy.n > 0:
            weight *= leaf_gaps(scene, x, y, z, dx, dy, dz, t, rng, seed)
        x, y, z = x + t * dx, y + t * dy, z + t * dz
        water += t
        if on_soil:
            return weight if i == 0 and j == 0 else 0.0, water, glass, x, y, z
        if face > BACK:
            return 0.0, 0.0, 0.0, x, y, z
        across_x = face <= RIGHT
        if across_x:
            i -= 1
            root = math.sqrt(k2 + qx * qx)
            weight *= pane_return(tank, face, qx, root)
        else:
            j -= 1
            root = math.sqrt(k2 + qy * qy)
            weight *= pane_return(tank, face, qy, root)
        path = 2.0 * tank.side_m * tank.n_glass / root
        glass += path
        # Inside the glass the two components along the pane go on, the third one turns back.
        z += path * dz * n / tank.n_glass
        if across_x:
            x = tank.lx_m if face == RIGHT else 0.0
            y += path * dy * n / tank.n_glass
            dx = -dx
        else:
            y = tank.ly_m if face == BACK else 0.0
            x += path * dx * n / tank.n_glass
            dy = -dy
        inside = 0.0 < x < tank.lx_m if not across_x else 0.0 < y < tank.ly_m
        if weight <= 0.0 or i < 0 or j < 0 or not inside or z < soil_height(scene.soil, x, y):
            return 0.0, 0.0, 0.0, x, y, z


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


@called_kernel
def gather_path(
    scene, bvh, source, u1, u2, sx, sy, sz, tx, ty, tz, i, j, v, factor, cells, cell, rng, seed, stack
):
    """Add to a cell the light of one route from a lamp point to a soil point."""
    tank, cover = scene.tank, scene.cover
    n = tank.n_water
    h, d = sz - tank.water_m, tank.water_m - tz
    fx, fy = unfolded(tx, tank.lx_m, i) - sx, unfolded(ty, tank.ly_m, j) - sy
    found, qx, qy, determinant = solve(h, d, n, tank.n_glass, tank.side_m, abs(i), abs(j), fx, fy)
    if not found:
        return
    ca = math.sqrt(1.0 - qx * qx - qy * qy)
    bright = intensity(source, u1, u2, qx, qy, -ca)
    x, y = sx + qx * h / ca, sy + qy * h / ca
    if bright <= 0.0 or not (0.0 < x < tank.lx_m and 0.0 < y < tank.ly_m):
        return
    if sz >= tank.lz_m:
        drop = (sz - tank.lz_m) / ca
        bright *= strips_and_opening(scene, sx + qx * drop, sy + qy * drop)
    elif not (0.0 < sx < tank.lx_m and 0.0 < sy < tank.ly_m):
        return  # from beside the tank, through a pane: left to the photons
    if cover.floater_cover > 0.0:
        ex, ey, radius = x - cover.floater_ring_m[0], y - cover.floater_ring_m[1], cover.floater_ring_m[2]
        if radius <= 0.0 or ex * ex + ey * ey < radius * radius:
            bright *= 1.0 - cover.floater_cover
    if bright <= 0.0 or not sight_line(scene, bvh, sx, sy, sz, qx, qy, -ca, h / ca, stack):
        return
    if scene.soil.z_max_m > tank.water_m and soil_hit(scene.soil, sx, sy, sz, qx, qy, -ca, h / ca) < h / ca:
        return  # a bank above the water stands in the way
    if scene.canopy.n > 0 and scene.canopy.top_m > tank.water_m:
        rise = min((tank.lz_m - tank.water_m) / ca, h / ca)
        bright *= leaf_gaps(
            scene, x - rise * qx, y - rise * qy, tank.water_m + rise * ca, qx, qy, -ca, rise, rng, seed
        )
    weight, water, glass, lx, ly, _ = walk_water(scene, bvh, x, y, qx, qy, abs(i), abs(j), rng, seed, stack)
    # A path that comes down elsewhere has met something on its way (a fold of the soil, say).
    if weight <= 0.0 or abs(lx - tx) + abs(ly - ty) > _SHORT_OF_M:
        return
    surface, _ = fresnel(ca, 1.0 / n)
    weight *= bright * (1.0 - surface) / (ca * determinant)
    weight *= math.exp(-tank.scattering_per_m * water)
    deposit_through(v, factor * weight, tank.a_water_per_m, water, tank.a_glass_per_m, glass, cells, cell)


@inlined_kernel
def gather_point(scene, bvh, source, u1, u2, u3, u4, v, factor, cells, cell, iu, iv, rng, seed, stack):
    """Add to a soil cell the light of all routes between one point of the lamp and one of the cell."""
    tank, grid, c = scene.tank, scene.grid, source.centre_m
    tx, ty = (iu + u3) / grid.per_u[SOIL_GRID], (iv + u4) / grid.per_v[SOIL_GRID]
    tz = soil_height(scene.soil, tx, ty)
    if tz >= tank.water_m:
        return
    lx, ly, lz = source_point(source, u1, u2)
    axes = source.axes
    sx = c[0] + lx * axes[0, 0] + ly * axes[1, 0] + lz * axes[2, 0]
    sy = c[1] + lx * axes[0, 1] + ly * axes[1, 1] + lz * axes[2, 1]
    sz = c[2] + lx * axes[0, 2] + ly * axes[1, 2] + lz * axes[2, 2]
    if sz <= tank.water_m:
        return
    # In water light runs at most this far aside; no image further from the tank is in reach.
    reach = (tank.water_m - tz) / math.sqrt(tank.n_water * tank.n_water - 1.0)
    for i in range(-MAX_RETURNS, MAX_RETURNS + 1):
        image_x = unfolded(tx, tank.lx_m, i)
        if image_x < -reach or image_x > tank.lx_m + reach:
            continue
        left = MAX_RETURNS - abs(i)
        for j in range(-left, left + 1):
            image_y = unfolded(ty, tank.ly_m, j)
            if image_y < -reach or image_y > tank.ly_m + reach:
                continue
            gather_path(
                scene,
                bvh,
                source,
                u1,
                u2,
                sx,
                sy,
                sz,
                tx,
                ty,
                tz,
                i,
                j,
                v,
                factor,
                cells,
                cell,
                rng,
                seed,
                stack,
            )


@called_kernel
def gather_soil(scene, bvh, source, directions, seed, stream, word, first, points_per_cell, photons, scratch):
    """Add first light to all soil cells, worth `photons` photons.

    Parameters
    ----------
    scene, bvh, source : as for `trace_batch`
    directions : ndarray, shape (SOBOL_DIMENSIONS, 32), uint32
    seed, stream : as for `trace_batch`
    word : uint32
        Of the stream, for the scrambling; each cell has its own.
    first : int
        Number of the first point; later calls go on from where earlier ones ended.
    points_per_cell : int
    photons : int
    scratch : Scratch
    """
    grid, cells, v = scene.grid, scratch.cells, scratch.packet
    nu, nv = grid.nu[SOIL_GRID], grid.nv[SOIL_GRID]
    factor = photons / (points_per_cell * grid.per_u[SOIL_GRID] * grid.per_v[SOIL_GRID])
    for b in range(scene.n_bands):
        v[b] = np.float32(1.0)
    points = scratch.points
    sobol_start(directions, first, points)
    for k in range(first, first + points_per_cell):
        for iv in range(nv):
            for iu in range(nu):
                cell = grid.offset[SOIL_GRID] + iv * nu + iu
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
