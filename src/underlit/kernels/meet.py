"""What a path meets in air and water: soil, hardscape, leaves, particles, the water surface, lid and rim."""

from __future__ import annotations

from underlit.kernels.arrays import AIR, ENDED, GLASS, IN_COVERS, IN_FILMS, IN_FLOATERS, OUTSIDE, TOP, WATER
from underlit.kernels.bands import attenuate, book, multiply, scale, table_mean
from underlit.kernels.draws import uniform
from underlit.kernels.features import CANOPIES, FLOATERS, RIPPLE, SCATTERING, STRIPS
from underlit.kernels.interface import cross_surface, sheet_walk
from underlit.kernels.jit import called_kernel, inlined_kernel
from underlit.kernels.leaves import leaf_normal
from underlit.kernels.panes import NO_SINK
from underlit.kernels.reach import lid_face
from underlit.kernels.roulette import survives
from underlit.kernels.sampling import TWO_PI, about, henyey_greenstein, lambertian
from underlit.kernels.soil import soil_height


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
def is_level(scene):
    """Whether the water surface is like a pane's face: no ripple, and nothing floats on it."""
    return scene.tank.slope_rms == 0.0 and scene.cover.floater_cover == 0.0


@inlined_kernel
def meet_surface(scene, region, px, py, dx, dy, dz, s_part, u_first, v, sinks, rng, seed):
    """The water surface: floating plants, then reflection or refraction; last returned is whether it was crossed so."""
    tank, cover = scene.tank, scene.cover
    if FLOATERS and cover.floater_cover > 0.0:
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
    slope_rms = tank.slope_rms if RIPPLE else 0.0
    crossed, dx, dy, dz = cross_surface(tank.n_water, slope_rms, dx, dy, dz, s_part, u, rng, seed)
    if crossed:
        region = WATER if region == AIR else AIR
    return region, dx, dy, dz, crossed


@inlined_kernel
def meet_medium(scene, region, px, py, pz, dx, dy, dz, rate, v, sinks, rng, seed):
    """A tentative collision in the volume: with a particle, with a leaf, or with nothing (Woodcock tracking).

    Last returned is whether it met anything.
    """
    tank, canopy = scene.tank, scene.canopy
    pick = uniform(rng, seed) * rate
    scattering = tank.scattering_per_m if SCATTERING and region == WATER else 0.0
    if pick < scattering or not CANOPIES:
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
def mesh_normal(mesh, i_face, dx, dy, dz):
    """Unit normal of a triangle, on the side that a ray comes from."""
    nx, ny, nz = mesh.normal[i_face, 0], mesh.normal[i_face, 1], mesh.normal[i_face, 2]
    if dx * nx + dy * ny + dz * nz > 0.0:
        return -nx, -ny, -nz
    return nx, ny, nz


@called_kernel
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
def meet_strips(scene, px, py, beyond, v, sinks, rng, seed):
    """The region behind rim and braces at a place, `ENDED` if they let nothing through."""
    if not STRIPS or strips_let_through(scene, px, py, v, scene.n_bands, sinks, rng, seed):
        return beyond
    return ENDED


@inlined_kernel
def meet_rim_or_back(scene, face, px, py, v, sinks, rng, seed):
    """The tank from outside: its opening, the top edge of its glass, or the back of a film; and where a path ends."""
    tank = scene.tank
    if face != TOP:
        return ENDED, IN_FILMS
    opening = 0.0 <= px <= tank.lx_m and 0.0 <= py <= tank.ly_m
    return meet_strips(scene, px, py, AIR if opening else GLASS, v, sinks, rng, seed), NO_SINK


@called_kernel
def meet_lid(scene, px, py, dx, dy, dz, s_part, v, sinks, rng, seed):
    """Go through or back from the lid; a sheet shifts a ray sideways by what it travels inside."""
    cover = scene.cover
    passes, mu_in, s_part = sheet_walk(abs(dz), cover.lid_n, s_part, rng, seed)
    alive = True
    pz = lid_face(cover, dz)
    if passes > 0:
        path = float(passes) * cover.lid_m / mu_in
        attenuate(v, cover.lid_a_per_m, path, sinks, IN_COVERS)
        px, py = px + path * dx / cover.lid_n, py + path * dy / cover.lid_n
        if cover.lid_clear < 1.0:
            scale(v, cover.lid_clear, sinks, IN_COVERS)
            alive = survives(v, scene.n_bands, sinks, rng, seed)
    if passes % 2 == 0:
        dz = -dz
    else:
        pz = lid_face(cover, -dz)
    return OUTSIDE if alive else ENDED, px, py, pz, dx, dy, dz, s_part
