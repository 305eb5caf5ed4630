"""What a path meets in air and water: soil, hardscape, leaves, particles, the water surface, lid and rim."""

from __future__ import annotations

from underlit.constants import SURFACE_OFFSET_M
from underlit.kernels.arrays import (
    AIR,
    CLEAN,
    ENDED,
    GLASS,
    IN_COVERS,
    IN_FILMS,
    IN_FLOATERS,
    IN_SOIL,
    OUTSIDE,
    SOIL_GRID,
    SURFACE_GRID,
    TOP,
    WATER,
)
from underlit.kernels.bands import attenuate, book, deposit, multiply, scale, table_mean
from underlit.kernels.fresnel import fresnel
from underlit.kernels.interface import component, cross_surface, flip, refract, sheet_walk
from underlit.kernels.jit import called_kernel, inlined_kernel
from underlit.kernels.leaves import leaf_normal
from underlit.kernels.rng import uniform
from underlit.kernels.roulette import survives
from underlit.kernels.sampling import TWO_PI, about, henyey_greenstein, lambertian
from underlit.kernels.soil import soil_height, soil_normal
from underlit.kernels.tally import grid_cell


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
def meet_surface(scene, region, px, py, dx, dy, dz, s_part, u_first, v, cells, sinks, rng, seed):
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
    crossed, dx, dy, dz = cross_surface(tank.n_water, tank.slope_rms, dx, dy, dz, s_part, u, rng, seed)
    if crossed:
        region = WATER if region == AIR else AIR
    return region, dx, dy, dz, crossed


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
def strips_let_through(scene, px, py, v, n_bands, sinks, rng, seed):
    """Pass the rim and the braces, at rim height."""
    cover = scene.cover
    for k in range(cover.strips_clear.size):
        s = cover.strips_m
        if s[k, 0] <= px <= s[k, 2] and s[k, 1] <= py <= s[k, 3]:
            scale(v, cover.strips_clear[k], sinks, IN_COVERS)
            return survives(v, n_bands, sinks, rng, seed)
    return True


@inlined_kernel
def lid_face(cover, dz):
    """Height of the face of the lid that a ray from outside meets. [m]"""
    return cover.lid_z_m + (cover.lid_m if dz < 0.0 else 0.0)


@called_kernel
def meet_lid(scene, px, py, dx, dy, dz, s_part, v, sinks, rng, seed):
    """Go through or back from the lid; a sheet shifts a ray sideways by what it travels inside."""
    cover = scene.cover
    passes, mu_in, s_part = sheet_walk(abs(dz), cover.lid_n, s_part, rng, seed)
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
    return alive, px, py, pz, dx, dy, dz, s_part


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
