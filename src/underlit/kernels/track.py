"""One photon packet from the lamp to its end.

A path is always in one region: outside the tank, air or water inside it, or the glass. Each `step_*` kernel takes it
to its next event and returns the region it is in afterwards. Panes are real slabs with two faces; the five panes and
their corners are one body of glass, as clear silicone joins them.
"""

from __future__ import annotations

import math

import numpy as np

from underlit.constants import SURFACE_OFFSET_M
from underlit.kernels.arrays import (
    BONDED,
    BOTTOM,
    CLEAN,
    CUT_OFF,
    FIRST_PANE_GRID,
    FIRST_PLANE_GRID,
    FRONT,
    IN_COVERS,
    IN_DIRT,
    IN_FILMS,
    IN_FLOATERS,
    IN_GLASS,
    IN_SOIL,
    IN_WATER,
    OUT_OF_LEFT,
    OUT_OF_RIM,
    OUT_OF_TOP,
    PAST_TANK,
    REFLECTED_ABOVE_WATER,
    ROULETTE,
    SOIL_GRID,
    SURFACE_GRID,
    TOP,
)
from underlit.kernels.bands import attenuate, book, deposit, deposit_along, mean, multiply, scale, table_mean
from underlit.kernels.box import entry_face, exit_face
from underlit.kernels.bvh import closest_hit
from underlit.kernels.fresnel import fresnel
from underlit.kernels.gather import MAX_RETURNS
from underlit.kernels.interface import component, cross_surface, flip, refract, sheet_walk
from underlit.kernels.jit import called_kernel, inlined_kernel, merged_kernel
from underlit.kernels.leaves import leaf_normal
from underlit.kernels.rng import uniform
from underlit.kernels.sampling import TWO_PI, about, henyey_greenstein, lambertian
from underlit.kernels.soil import soil_height, soil_hit, soil_normal

OUTSIDE, AIR, WATER, GLASS, ENDED = range(5)

# What ends a step inside the tank.
_FACE, _SOIL, _MESH, _MEDIUM = range(4)

# Below this mean weight a path plays Russian roulette; 0.1 costs a third of the figure of merit, 1 is analog.
ROULETTE_BELOW = 0.6

# A path with more events than this is cut off and booked as such; the light budget shows how much that is.
MAX_EVENTS = 100_000
_ROULETTE_EVERY = 64

FAR_M = 1e3

NO_FACE = np.int64(-1)

# The route of a path so far, as `gather` knows it: through the air, down through the surface, and returned by panes.
# In glass the route also holds the pane, and everywhere how many returns there were.
MIXED, FRESH, DIRECT, OUTWARD, RETURNING, _PER_RETURN = np.array([-1, 0, 1, 8, 16, 32])


@inlined_kernel
def survives(v, n_bands, sinks, rng, seed):
    """Russian roulette: end a faint packet, or raise it to mean weight 1. What it wins or loses is booked."""
    weight = mean(v, n_bands)
    if weight >= ROULETTE_BELOW:
        return True
    if uniform(rng, seed) < weight:
        scale(v, 1.0 / weight, sinks, ROULETTE)
        return True
    book(v, sinks, ROULETTE)
    return False


@inlined_kernel
def grid_cell(grid, g, u, v):
    """Tally cell of grid `g` at (u, v), clamped to the grid."""
    iu = min(max(int(u * grid.per_u[g]), 0), grid.nu[g] - 1)
    iv = min(max(int(v * grid.per_v[g]), 0), grid.nv[g] - 1)
    return grid.offset[g] + iv * grid.nu[g] + iu


@inlined_kernel
def tally_planes(scene, wet, px, py, pz, dx, dy, dz, t, v, cells):
    """Book a downward stretch of path to every horizontal plane it goes through."""
    z = scene.grid.plane_z_m
    z_end = pz + dz * t
    for k in range(z.size):
        if z_end <= z[k] < pz:
            s = (z[k] - pz) / dz
            cell = grid_cell(scene.grid, FIRST_PLANE_GRID + k, px + dx * s, py + dy * s)
            if wet:
                deposit_along(v, scene.tank.a_water_per_m, s, cells, cell)
            else:
                deposit(v, 1.0, cells, cell)


@inlined_kernel
def tally_pane(grid, face, px, py, pz, v, cells):
    """Book light that arrives at the inside of a pane."""
    if face < FRONT:
        deposit(v, 1.0, cells, grid_cell(grid, FIRST_PANE_GRID + face, py, pz))
    elif face < BOTTOM:
        deposit(v, 1.0, cells, grid_cell(grid, FIRST_PANE_GRID + face, px, pz))
    else:
        deposit(v, 1.0, cells, grid_cell(grid, FIRST_PANE_GRID + face, px, py))
        # A bottom that light reaches is a floor without soil: its map is the soil's.
        deposit(v, 1.0, cells, grid_cell(grid, SOIL_GRID, px, py))


@inlined_kernel
def on_face(face, px, py, pz, x0, x1, y0, y1, z0, z1):
    """Snap a point to the face of a box that it lies on but for rounding."""
    px, py, pz = min(max(px, x0), x1), min(max(py, y0), y1), min(max(pz, z0), z1)
    if face < FRONT:
        px = x1 if face & 1 else x0
    elif face < BOTTOM:
        py = y1 if face & 1 else y0
    else:
        pz = z1 if face & 1 else z0
    return px, py, pz


@inlined_kernel
def strips_let_through(scene, px, py, v, n_bands, sinks, rng, seed):
    """Pass the rim and the braces, at rim height."""
    cover = scene.cover
    for k in range(cover.strips_clear.size):
        s = cover.strips_m
        if s[k, 0] <= px <= s[k, 2] and s[k, 1] <= py <= s[k, 3]:
            scale(v, cover.strips_clear[k], sinks, IN_COVERS)
            return survives(v, n_bands, sinks, rng, seed)
    return True


@called_kernel
def scatter_leaf(scene, rho_row, tau_row, sink, nx, ny, nz, dx, dy, dz, v, sinks, rng, seed):
    """Light that meets a leaf with normal n: absorbed in part, the rest sent back or let through diffusely."""
    along = dx * nx + dy * ny + dz * nz
    if along > 0.0:
        nx, ny, nz = -nx, -ny, -nz
    rho = table_mean(scene.reflectance, rho_row, scene.n_bands)
    tau = table_mean(scene.reflectance, tau_row, scene.n_bands)
    if rho + tau <= 0.0:
        book(v, sinks, sink)
        return False, dx, dy, dz
    back = uniform(rng, seed) * (rho + tau) < rho
    # The packet takes one way for both: dividing by the chance of that way keeps each band's mean right.
    multiply(v, scene.reflectance, rho_row if back else tau_row, sinks, sink)
    scale(v, (rho + tau) / (rho if back else tau), sinks, sink)
    if not survives(v, scene.n_bands, sinks, rng, seed):
        return False, dx, dy, dz
    if not back:
        nx, ny, nz = -nx, -ny, -nz
    dx, dy, dz = lambertian(nx, ny, nz, uniform(rng, seed), uniform(rng, seed))
    return True, dx, dy, dz


@inlined_kernel
def meet_surface(scene, region, px, py, dx, dy, dz, u_first, v, cells, sinks, rng, seed):
    """The water surface: floating plants, then reflection or refraction; last returned is whether it was crossed so."""
    tank, cover = scene.tank, scene.cover
    if region == AIR:
        deposit(v, 1.0, cells, grid_cell(scene.grid, SURFACE_GRID, px, py))
    if cover.floater_cover > 0.0:
        radius = cover.floater_ring_m[2]
        ex, ey = px - cover.floater_ring_m[0], py - cover.floater_ring_m[1]
        inside = radius <= 0.0 or ex * ex + ey * ey < radius * radius
        if inside and uniform(rng, seed) < cover.floater_cover:
            alive, dx, dy, dz = scatter_leaf(
                scene,
                cover.floater_surface,
                cover.floater_transmittance,
                IN_FLOATERS,
                0.0,
                0.0,
                1.0,
                dx,
                dy,
                dz,
                v,
                sinks,
                rng,
                seed,
            )
            if not alive:
                return ENDED, dx, dy, dz, False
            return AIR if dz > 0.0 else WATER, dx, dy, dz, False
    u = u_first if u_first >= 0.0 else uniform(rng, seed)
    crossed, dx, dy, dz = cross_surface(tank.n_water, tank.slope_rms, dx, dy, dz, u, rng, seed)
    if crossed:
        region = WATER if region == AIR else AIR
    return region, dx, dy, dz, crossed


@inlined_kernel
def meet_pane_inside(scene, region, face, dx, dy, dz, u, v, sinks):
    """The inner face of a pane, from the water or the air inside."""
    tank = scene.tank
    axis = face >> 1
    eta = (tank.n_water if region == WATER else 1.0) / tank.n_glass
    reflectance, mu_t = fresnel(abs(component(axis, dx, dy, dz)), eta)
    if u < reflectance:
        dx, dy, dz = flip(axis, dx, dy, dz)
        return region, dx, dy, dz
    if tank.clear[face] < 1.0:
        scale(v, tank.clear[face], sinks, IN_DIRT)
    dx, dy, dz = refract(axis, eta, mu_t, dx, dy, dz)
    return GLASS, dx, dy, dz


@called_kernel
def meet_medium(scene, region, px, py, pz, dx, dy, dz, rate, v, sinks, rng, seed):
    """A tentative collision in the volume: with a particle, with a leaf, or with nothing (Woodcock tracking).

    Last returned is whether it met anything.
    """
    tank, canopy = scene.tank, scene.canopy
    pick = uniform(rng, seed) * rate
    scattering = tank.scattering_per_m if region == WATER else 0.0
    if pick < scattering:
        mu = henyey_greenstein(uniform(rng, seed), tank.asymmetry)
        dx, dy, dz = about(dx, dy, dz, mu, TWO_PI * uniform(rng, seed))
        return region, dx, dy, dz, True
    ny, nx = canopy.column.shape
    i = min(max(int(px / canopy.dx_m), 0), nx - 1)
    j = min(max(int(py / canopy.dy_m), 0), ny - 1)
    k = canopy.column[j, i]
    if k < 0 or pz > soil_height(scene.soil, px, py) + canopy.height_m[k]:
        return region, dx, dy, dz, False
    lx, ly, lz = leaf_normal(canopy.angle_rule[k], rng, seed)
    facing = abs(dx * lx + dy * ly + dz * lz)
    if pick - scattering >= canopy.density_per_m[k] * facing:
        return region, dx, dy, dz, False
    alive, dx, dy, dz = scatter_leaf(
        scene,
        canopy.reflectance[k],
        canopy.transmittance[k],
        canopy.sink[k],
        lx,
        ly,
        lz,
        dx,
        dy,
        dz,
        v,
        sinks,
        rng,
        seed,
    )
    return region if alive else ENDED, dx, dy, dz, True


@inlined_kernel
def leave_diffusely(nx, ny, nz, px, py, pz, rng, seed):
    """Start anew from an opaque surface, a hair's breadth above it."""
    dx, dy, dz = lambertian(nx, ny, nz, uniform(rng, seed), uniform(rng, seed))
    h = SURFACE_OFFSET_M
    return px + h * nx, py + h * ny, pz + h * nz, dx, dy, dz


@inlined_kernel
def meet_soil(scene, gathered, px, py, pz, dx, dy, dz, v, cells, sinks, rng, seed):
    """Book light that lands on the soil, on a horizontal plane; absorb part, scatter the rest.

    A meter held level sees a ray by |dz|, the soil by |d.n|: their ratio turns what lands into what it would read.
    """
    nx, ny, nz = soil_normal(scene.soil, px, py)
    if dz < 0.0 and not gathered:
        facing = -(dx * nx + dy * ny + dz * nz)
        deposit(v, -dz * nz / max(facing, 1e-3), cells, grid_cell(scene.grid, SOIL_GRID, px, py))
    multiply(v, scene.reflectance, scene.soil.surface, sinks, IN_SOIL)
    alive = survives(v, scene.n_bands, sinks, rng, seed)
    if alive:
        px, py, pz, dx, dy, dz = leave_diffusely(nx, ny, nz, px, py, pz, rng, seed)
    return alive, px, py, pz, dx, dy, dz


@inlined_kernel
def meet_mesh(scene, i_face, px, py, pz, dx, dy, dz, v, cells, sinks, rng, seed):
    """Book light that lands on a mesh, by its own surface; absorb part, scatter the rest."""
    mesh = scene.mesh
    nx, ny, nz = mesh.normal[i_face, 0], mesh.normal[i_face, 1], mesh.normal[i_face, 2]
    if dx * nx + dy * ny + dz * nz > 0.0:
        nx, ny, nz = -nx, -ny, -nz
    if mesh.cell[i_face] >= 0:
        deposit(v, 1.0, cells, mesh.cell[i_face])
    multiply(v, scene.reflectance, mesh.surface[i_face], sinks, mesh.sink[i_face])
    alive = survives(v, scene.n_bands, sinks, rng, seed)
    if alive:
        px, py, pz, dx, dy, dz = leave_diffusely(nx, ny, nz, px, py, pz, rng, seed)
    return alive, px, py, pz, dx, dy, dz


@inlined_kernel
def step_inside(
    scene, bvh, region, px, py, pz, dx, dy, dz, skip, route, u_first, v, cells, sinks, rng, seed, stack
):
    """From one event to the next in the air or water inside the tank."""
    tank, mesh, canopy = scene.tank, scene.mesh, scene.canopy
    wet = region == WATER
    z0 = 0.0 if wet else tank.water_m
    z1 = tank.water_m if wet else tank.lz_m
    t, face = exit_face(px, py, pz, dx, dy, dz, 0.0, tank.lx_m, 0.0, tank.ly_m, z0, z1)
    event = _FACE
    t_soil = soil_hit(scene.soil, px, py, pz, dx, dy, dz, t)
    if t_soil < t:
        t, event = t_soil, _SOIL
    i_face = NO_FACE
    if mesh.n_faces > 0:
        t_mesh, i_face = closest_hit(bvh, px, py, pz, dx, dy, dz, t, skip, stack)
        if i_face >= 0:
            t, event = t_mesh, _MESH
    rate = tank.scattering_per_m if wet else 0.0
    if canopy.n > 0 and min(pz, pz + dz * t) < canopy.top_m:
        rate += canopy.max_density_per_m
    if rate > 0.0:
        free = -math.log(uniform(rng, seed)) / rate
        if free < t:
            t, event = free, _MEDIUM
    if dz < 0.0:
        tally_planes(scene, wet, px, py, pz, dx, dy, dz, t, v, cells)
    if wet:
        attenuate(v, tank.a_water_per_m, t, sinks, IN_WATER)
    px, py, pz = px + t * dx, py + t * dy, pz + t * dz

    alive = True
    if event == _FACE:
        px, py, pz = on_face(face, px, py, pz, 0.0, tank.lx_m, 0.0, tank.ly_m, z0, z1)
        if face == TOP and not wet:
            alive = strips_let_through(scene, px, py, v, scene.n_bands, sinks, rng, seed)
            return OUTSIDE if alive else ENDED, px, py, pz, dx, dy, dz, NO_FACE, MIXED
        if face == TOP or (face == BOTTOM and tank.water_m > 0.0 and not wet):
            region, dx, dy, dz, crossed = meet_surface(
                scene, region, px, py, dx, dy, dz, u_first, v, cells, sinks, rng, seed
            )
            route = DIRECT if crossed and route == FRESH else MIXED
            return region, px, py, pz, dx, dy, dz, NO_FACE, route
        tally_pane(scene.grid, face, px, py, pz, v, cells)
        region, dx, dy, dz = meet_pane_inside(scene, region, face, dx, dy, dz, uniform(rng, seed), v, sinks)
        direct = region == GLASS and wet and face < BOTTOM and route % _PER_RETURN == DIRECT
        route = route - DIRECT + OUTWARD + face if direct else MIXED
        return region, px, py, pz, dx, dy, dz, NO_FACE, route
    if event == _MEDIUM:
        region, dx, dy, dz, met = meet_medium(
            scene, region, px, py, pz, dx, dy, dz, rate, v, sinks, rng, seed
        )
        return region, px, py, pz, dx, dy, dz, NO_FACE, MIXED if met else route
    if event == _SOIL:
        gathered = scene.gathers and wet and route % _PER_RETURN == DIRECT
        alive, px, py, pz, dx, dy, dz = meet_soil(
            scene, gathered, px, py, pz, dx, dy, dz, v, cells, sinks, rng, seed
        )
    else:
        skip = i_face
        alive, px, py, pz, dx, dy, dz = meet_mesh(
            scene, i_face, px, py, pz, dx, dy, dz, v, cells, sinks, rng, seed
        )
    # The hair's breadth must not carry a path through a wall or the water surface.
    px, py = min(max(px, 0.0), tank.lx_m), min(max(py, 0.0), tank.ly_m)
    pz = min(max(pz, z0), z1)
    return region if alive else ENDED, px, py, pz, dx, dy, dz, skip if event == _MESH else NO_FACE, MIXED


@called_kernel
def meet_film(scene, face, dx, dy, dz, mu_air, v, sinks, rng, seed):
    """Light that has left a pane into the air gap before a film: absorbed, or back through the glass."""
    tank = scene.tank
    axis = face >> 1
    outward = 1.0 if face & 1 else -1.0
    while True:
        multiply(v, scene.reflectance, tank.backing_surface[face], sinks, IN_FILMS)
        if not survives(v, scene.n_bands, sinks, rng, seed):
            return False, dx, dy, dz
        if not tank.backing_mirror[face]:
            mu_air = math.sqrt(1.0 - uniform(rng, seed))
        reflectance, mu_t = fresnel(mu_air, 1.0 / tank.n_glass)
        if uniform(rng, seed) < reflectance:
            continue
        if tank.backing_mirror[face]:
            dx, dy, dz = flip(axis, dx, dy, dz)
            return True, dx, dy, dz
        nx = -outward if axis == 0 else 0.0
        ny = -outward if axis == 1 else 0.0
        nz = -outward if axis == 2 else 0.0
        dx, dy, dz = about(nx, ny, nz, mu_t, TWO_PI * uniform(rng, seed))
        return True, dx, dy, dz


@inlined_kernel
def meet_pane_outside(scene, face, dx, dy, dz, v, sinks, rng, seed):
    """The outer face of a pane, from the glass; last returned is whether it mirrored the path."""
    tank = scene.tank
    axis = face >> 1
    if face != TOP and tank.backing[face] == BONDED:
        multiply(v, scene.reflectance, tank.backing_surface[face], sinks, IN_FILMS)
        if not survives(v, scene.n_bands, sinks, rng, seed):
            return ENDED, dx, dy, dz, False
        dx, dy, dz = flip(axis, dx, dy, dz)
        if not tank.backing_mirror[face]:
            inward = -1.0 if face & 1 else 1.0
            nx = inward if axis == 0 else 0.0
            ny = inward if axis == 1 else 0.0
            nz = inward if axis == 2 else 0.0
            dx, dy, dz = lambertian(nx, ny, nz, uniform(rng, seed), uniform(rng, seed))
        return GLASS, dx, dy, dz, False
    reflectance, mu_t = fresnel(abs(component(axis, dx, dy, dz)), tank.n_glass)
    if uniform(rng, seed) < reflectance:
        dx, dy, dz = flip(axis, dx, dy, dz)
        return GLASS, dx, dy, dz, True
    if face == TOP:
        book(v, sinks, OUT_OF_RIM)
        return ENDED, dx, dy, dz, False
    if tank.backing[face] == CLEAN:
        book(v, sinks, OUT_OF_LEFT + face)
        return ENDED, dx, dy, dz, False
    alive, dx, dy, dz = meet_film(scene, face, dx, dy, dz, mu_t, v, sinks, rng, seed)
    return GLASS if alive else ENDED, dx, dy, dz, False


@inlined_kernel
def meet_inside_of_glass(scene, face, px, py, pz, dx, dy, dz, v, sinks, rng, seed):
    """The inner face of a pane, from the glass: to water, to air, or to the soil that lies against it."""
    tank = scene.tank
    axis = face >> 1
    if pz < soil_height(scene.soil, px, py):
        book(v, sinks, IN_SOIL)
        return ENDED, dx, dy, dz
    wet = pz < tank.water_m
    eta = tank.n_glass / (tank.n_water if wet else 1.0)
    reflectance, mu_t = fresnel(abs(component(axis, dx, dy, dz)), eta)
    if uniform(rng, seed) < reflectance:
        dx, dy, dz = flip(axis, dx, dy, dz)
        return GLASS, dx, dy, dz
    if tank.clear[face] < 1.0:
        scale(v, tank.clear[face], sinks, IN_DIRT)
    dx, dy, dz = refract(axis, eta, mu_t, dx, dy, dz)
    return WATER if wet else AIR, dx, dy, dz


@inlined_kernel
def step_glass(scene, px, py, pz, dx, dy, dz, route, v, sinks, rng, seed):
    """From one face of the glass to the next."""
    tank = scene.tank
    s, b = tank.side_m, tank.bottom_m
    t, face = exit_face(px, py, pz, dx, dy, dz, -s, tank.lx_m + s, -s, tank.ly_m + s, -b, tank.lz_m)
    t_in, inner = entry_face(px, py, pz, dx, dy, dz, 0.0, tank.lx_m, 0.0, tank.ly_m, 0.0, tank.lz_m)
    inwards = t_in < t
    t = min(t, t_in)
    attenuate(v, tank.a_glass_per_m, t, sinks, IN_GLASS)
    px, py, pz = px + t * dx, py + t * dy, pz + t * dz
    if inwards:
        px, py, pz = on_face(inner, px, py, pz, 0.0, tank.lx_m, 0.0, tank.ly_m, 0.0, tank.lz_m)
        region, dx, dy, dz = meet_inside_of_glass(scene, inner, px, py, pz, dx, dy, dz, v, sinks, rng, seed)
        direct = region == WATER and route % _PER_RETURN == RETURNING + inner
        route = route - RETURNING - inner + DIRECT + _PER_RETURN if direct else MIXED
        if route >= (MAX_RETURNS + 1) * _PER_RETURN:
            route = MIXED
    else:
        px, py, pz = on_face(face, px, py, pz, -s, tank.lx_m + s, -s, tank.ly_m + s, -b, tank.lz_m)
        region, dx, dy, dz, mirrored = meet_pane_outside(scene, face, dx, dy, dz, v, sinks, rng, seed)
        direct = mirrored and route % _PER_RETURN == OUTWARD + face
        route = route - OUTWARD + RETURNING if direct else MIXED
    return region, px, py, pz, dx, dy, dz, route


@inlined_kernel
def lid_face(cover, dz):
    """Height of the face of the lid that a ray from outside meets. [m]"""
    return cover.lid_z_m + (cover.lid_m if dz < 0.0 else 0.0)


@called_kernel
def meet_lid(scene, px, py, dx, dy, dz, v, sinks, rng, seed):
    """Go through or back from the lid; a sheet shifts a ray sideways by what it travels inside."""
    cover = scene.cover
    passes, mu_in = sheet_walk(abs(dz), cover.lid_n, rng, seed)
    alive = True
    pz = lid_face(cover, dz)
    if passes > 0:
        path = passes * cover.lid_m / mu_in
        attenuate(v, cover.lid_a_per_m, path, sinks, IN_COVERS)
        px, py = px + path * dx / cover.lid_n, py + path * dy / cover.lid_n
        if cover.lid_clear < 1.0:
            scale(v, cover.lid_clear, sinks, IN_COVERS)
            alive = survives(v, scene.n_bands, sinks, rng, seed)
    if passes % 2 == 0:
        dz = -dz
    else:
        pz = lid_face(cover, -dz)
    return alive, px, py, pz, dx, dy, dz


@inlined_kernel
def meet_tank_outside(scene, face, px, py, pz, dx, dy, dz, v, sinks, rng, seed):
    """The tank from outside: the opening, the rim of the glass, or the outer face of a pane."""
    tank = scene.tank
    axis = face >> 1
    if face == TOP and 0.0 <= px <= tank.lx_m and 0.0 <= py <= tank.ly_m:
        alive = strips_let_through(scene, px, py, v, scene.n_bands, sinks, rng, seed)
        return AIR if alive else ENDED, dx, dy, dz
    if face != TOP and tank.backing[face] != CLEAN:
        book(v, sinks, IN_FILMS)
        return ENDED, dx, dy, dz
    if face == TOP and not strips_let_through(scene, px, py, v, scene.n_bands, sinks, rng, seed):
        return ENDED, dx, dy, dz
    reflectance, mu_t = fresnel(abs(component(axis, dx, dy, dz)), 1.0 / tank.n_glass)
    if uniform(rng, seed) < reflectance:
        dx, dy, dz = flip(axis, dx, dy, dz)
        return OUTSIDE, dx, dy, dz
    dx, dy, dz = refract(axis, 1.0 / tank.n_glass, mu_t, dx, dy, dz)
    return GLASS, dx, dy, dz


_NOTHING, _TANK, _LID, _HARDSCAPE = range(4)


@inlined_kernel
def step_outside(scene, bvh, px, py, pz, dx, dy, dz, skip, entered, v, cells, sinks, rng, seed, stack):
    """From one event to the next in the room."""
    tank, mesh, cover = scene.tank, scene.mesh, scene.cover
    s, b = tank.side_m, tank.bottom_m
    t, face = entry_face(px, py, pz, dx, dy, dz, -s, tank.lx_m + s, -s, tank.ly_m + s, -b, tank.lz_m)
    event = _TANK if face >= 0 else _NOTHING
    if cover.has_lid and dz != 0.0:
        t_lid = (lid_face(cover, dz) - pz) / dz
        x, y = px + t_lid * dx, py + t_lid * dy
        box = cover.lid_box_m
        if 0.0 <= t_lid < t and box[0] <= x <= box[2] and box[1] <= y <= box[3]:
            t, event = t_lid, _LID
    i_face = NO_FACE
    if mesh.above_rim:
        t_mesh, i_face = closest_hit(bvh, px, py, pz, dx, dy, dz, min(t, FAR_M), skip, stack)
        if i_face >= 0:
            t, event = t_mesh, _HARDSCAPE
    if event == _NOTHING:
        if dz > 0.0:
            book(
                v, sinks, OUT_OF_TOP if entered == 2 else REFLECTED_ABOVE_WATER if entered == 1 else PAST_TANK
            )
        else:
            book(v, sinks, PAST_TANK)
        return ENDED, px, py, pz, dx, dy, dz, NO_FACE
    px, py, pz = px + t * dx, py + t * dy, pz + t * dz
    if event == _TANK:
        px, py, pz = on_face(face, px, py, pz, -s, tank.lx_m + s, -s, tank.ly_m + s, -b, tank.lz_m)
        region, dx, dy, dz = meet_tank_outside(scene, face, px, py, pz, dx, dy, dz, v, sinks, rng, seed)
        return region, px, py, pz, dx, dy, dz, NO_FACE
    if event == _LID:
        alive, px, py, pz, dx, dy, dz = meet_lid(scene, px, py, dx, dy, dz, v, sinks, rng, seed)
        return OUTSIDE if alive else ENDED, px, py, pz, dx, dy, dz, NO_FACE
    alive, px, py, pz, dx, dy, dz = meet_mesh(
        scene, i_face, px, py, pz, dx, dy, dz, v, cells, sinks, rng, seed
    )
    return OUTSIDE if alive else ENDED, px, py, pz, dx, dy, dz, i_face


@merged_kernel
def follow(scene, bvh, px, py, pz, dx, dy, dz, u_first, v, cells, sinks, rng, seed, stack):
    """Follow one packet to its end.

    `u_first` decides the first meeting with the water surface (a quasi-random number; later ones draw their own).
    """
    tank = scene.tank
    inside = 0.0 < px < tank.lx_m and 0.0 < py < tank.ly_m and pz < tank.lz_m
    region = AIR if inside else OUTSIDE
    entered = 1 if inside else 0  # 1 once the path has met the tank, 2 once it has been in the water
    skip = NO_FACE
    route = FRESH
    events = 0
    while region != ENDED:
        events += 1
        if events % _ROULETTE_EVERY == 0:
            if events > MAX_EVENTS:
                book(v, sinks, CUT_OFF)
                break
            if not survives(v, scene.n_bands, sinks, rng, seed):
                break
        if region == GLASS:
            region, px, py, pz, dx, dy, dz, route = step_glass(
                scene, px, py, pz, dx, dy, dz, route, v, sinks, rng, seed
            )
        elif region == OUTSIDE:
            region, px, py, pz, dx, dy, dz, skip = step_outside(
                scene, bvh, px, py, pz, dx, dy, dz, skip, entered, v, cells, sinks, rng, seed, stack
            )
            entered = max(entered, 1)
            if region != AIR or skip != NO_FACE:
                route = MIXED
        else:
            before = region
            region, px, py, pz, dx, dy, dz, skip, route = step_inside(
                scene,
                bvh,
                region,
                px,
                py,
                pz,
                dx,
                dy,
                dz,
                skip,
                route,
                u_first,
                v,
                cells,
                sinks,
                rng,
                seed,
                stack,
            )
            if region != before or pz == tank.water_m:
                u_first = -1.0  # spent: a path that the surface sent back is chosen, not evenly spread
        if region == WATER:
            entered = 2
