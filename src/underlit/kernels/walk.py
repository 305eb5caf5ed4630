"""A solved path followed from the lamp to the soil: what stands in its way, and what is left of its light."""

from __future__ import annotations

import math

from underlit.kernels.arrays import BACK, BONDED, BOTTOM, RIGHT
from underlit.kernels.box import exit_face
from underlit.kernels.bvh import any_hit
from underlit.kernels.draws import uniform
from underlit.kernels.fresnel import fresnel
from underlit.kernels.jit import called_kernel, inlined_kernel, kernel
from underlit.kernels.leaves import leaf_normal
from underlit.kernels.soil import soil_height, soil_hit

SHORT_OF_M = 2e-5  # a sight line ends this far before the soil that it looks at
MOST_LEGS = 8  # of a path: two in air, one more in water than it has returns


@kernel
def keep_leg(legs, n, x, y, z, dx, dy, dz, t):
    """Make a stretch of path row `n` of `legs`; the number of the next row."""
    legs[n, 0], legs[n, 1], legs[n, 2] = x, y, z
    legs[n, 3], legs[n, 4], legs[n, 5], legs[n, 6] = dx, dy, dz, t
    return n + 1


@kernel
def leg(legs, n):
    """Row `n` of `legs`: start, unit direction, length. [m]"""
    return legs[n, 0], legs[n, 1], legs[n, 2], legs[n, 3], legs[n, 4], legs[n, 5], legs[n, 6]


@inlined_kernel
def clear_way(scene, bvh, legs, n_legs, rng, seed, stack):
    """Share of light that nothing in the way of `n_legs` stretches stops."""
    if scene.mesh.n_faces > 0:
        for k in range(n_legs):
            x, y, z, dx, dy, dz, t = leg(legs, k)
            lowest = min(z, z + t * dz)
            if lowest < scene.mesh.top_m and any_hit(bvh, x, y, z, dx, dy, dz, t, -1, stack):
                return 0.0
    chance = 1.0
    if scene.canopy.n > 0:
        for k in range(n_legs):
            x, y, z, dx, dy, dz, t = leg(legs, k)
            if min(z, z + t * dz) < scene.canopy.top_m:
                chance *= leaf_gaps(scene, x, y, z, dx, dy, dz, t, rng, seed)
    return chance


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
def walk_water(scene, x, y, qx, qy, i, j, trips, legs, n_legs):
    """Follow a solved path from the water surface to the soil.

    Parameters
    ----------
    x, y, qx, qy : float
        Where and how it comes in.
    i, j : int
        Returns still to come, by panes square to x and to y.
    trips : int
        Through the glass at each return.
    legs : ndarray, shape (MOST_LEGS, 7)
        Given the stretches of its way between `n_legs` and that returned.

    Returns
    -------
    weight : float
        What the panes on its way return; 0 where it meets walls or soil otherwise than thought.
    water_m, glass_m : float
        Lengths inside water and glass.
    x, y : float
        Where it meets the soil.
    n_legs : int
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
        n_legs = keep_leg(legs, n_legs, x, y, z, dx, dy, dz, t - SHORT_OF_M if on_soil else t)
        x, y, z = x + t * dx, y + t * dy, z + t * dz
        water += t
        if on_soil:
            return weight if hits_x == i and hits_y == j else 0.0, water, glass, x, y, n_legs
        across_x = face <= RIGHT
        hits_x, hits_y = hits_x + across_x, hits_y + (not across_x)
        if face > BACK or hits_x > i or hits_y > j:
            return 0.0, 0.0, 0.0, x, y, n_legs
        q = qx if across_x else qy
        root = math.sqrt(k2 + q * q)
        weight *= pane_return(tank, face, q, root, trips)
        if weight <= 0.0:
            return 0.0, 0.0, 0.0, x, y, n_legs
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
                return 0.0, 0.0, 0.0, x, y, n_legs
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
def walk_air(scene, sx, sy, sz, qx, qy, glances, on_x, legs):
    """Follow a solved path from the lamp to the water surface.

    Parameters
    ----------
    sx, sy, sz, qx, qy : float
        Where and how it starts.
    glances : bool
        Whether it glances off a pane on its way, one square to x if `on_x`.
    legs : ndarray, shape (MOST_LEGS, 7)
        Given the stretches of its way.

    Returns
    -------
    weight : float
    x, y, qx, qy : float
        Where and how it comes to the surface.
    n_legs : int
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
        return 0.0, x, y, qx, qy, 0
    above_soil = soil.z_max_m > tank.water_m
    n_legs, glanced = 0, False
    while True:
        t, face = exit_face(x, y, z, qx, qy, -ca, 0.0, tank.lx_m, 0.0, tank.ly_m, tank.water_m, tank.lz_m)
        if above_soil and soil_hit(soil, x, y, z, qx, qy, -ca, t) < t:
            return 0.0, x, y, qx, qy, 0  # a bank above the water stands in the way
        before = 0.0 if glanced else (sz - z) / ca  # from the lamp to the rim
        n_legs = keep_leg(
            legs, n_legs, x - before * qx, y - before * qy, z + before * ca, qx, qy, -ca, before + t
        )
        x, y, z = x + t * qx, y + t * qy, z - t * ca
        if face == BOTTOM:
            break
        if glanced or not glances or on_x != (face <= RIGHT):
            return 0.0, x, y, qx, qy, 0
        glanced = True
        reflectance, _ = fresnel(abs(qx) if on_x else abs(qy), 1.0 / tank.n_glass)
        weight *= reflectance
        if on_x:
            x, qx = tank.lx_m if face == RIGHT else 0.0, -qx
        else:
            y, qy = tank.ly_m if face == BACK else 0.0, -qy
    if glanced != glances:
        return 0.0, x, y, qx, qy, 0
    if cover.floater_cover > 0.0:
        ex, ey, radius = x - cover.floater_ring_m[0], y - cover.floater_ring_m[1], cover.floater_ring_m[2]
        if radius <= 0.0 or ex * ex + ey * ey < radius * radius:
            weight *= 1.0 - cover.floater_cover
    return weight, x, y, qx, qy, n_legs
