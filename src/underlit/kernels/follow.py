"""One photon packet from the lamp to its end."""

from __future__ import annotations

from underlit.kernels.arrays import AIR, ENDED, WATER
from underlit.kernels.bands import deposit, deposit_along
from underlit.kernels.bvh import closest_hit
from underlit.kernels.features import PLANES
from underlit.kernels.fresnel import UNPOLARISED
from underlit.kernels.jit import inlined_kernel, merged_kernel
from underlit.kernels.reach import MESH, meshes_about, reach_medium, reach_walls
from underlit.kernels.route import FRESH
from underlit.kernels.tally import plane_cell
from underlit.kernels.track import NO_FACE, arrive, begin, goes_on, leave, weigh


@inlined_kernel
def reach_mesh(bvh, t, event, face, px, py, pz, dx, dy, dz, skip, stack):
    """The next event, where a triangle may be nearer than the one at `t`."""
    t_mesh, i_face = closest_hit(bvh, px, py, pz, dx, dy, dz, t, skip, stack)
    if i_face >= 0:
        return t_mesh, MESH, i_face
    return t, event, face


@inlined_kernel
def tally_planes(scene, wet, px, py, pz, dx, dy, dz, t, v, cells):
    """Book a downward stretch of path to every horizontal plane it goes through."""
    z_end = pz + dz * t
    for k in range(scene.grid.plane_z_m.size):
        cell, s = plane_cell(scene.grid, k, px, py, pz, dx, dy, dz, z_end)
        if cell >= 0:
            if wet:
                deposit_along(v, scene.tank.a_water_per_m, s, cells, cell)
            else:
                deposit(v, 1.0, cells, cell)


@merged_kernel
def follow(scene, bvh, px, py, pz, dx, dy, dz, u_first, v, cells, sinks, rng, seed, stack):
    """Follow one packet to its end.

    `u_first` decides the first meeting with the water surface (a quasi-random number; later ones draw their own).
    """
    px, py, pz, region, entered = begin(scene, px, py, pz, dx, dy, dz)
    skip, route, s_part, events = NO_FACE, FRESH, UNPOLARISED, 0
    while region != ENDED:
        events += 1
        if not goes_on(scene, events, v, sinks, rng, seed):
            break
        t, event, face = reach_walls(scene, region, px, py, pz, dx, dy, dz)
        if meshes_about(scene, region, t, pz, dz):
            t, event, face = reach_mesh(bvh, t, event, face, px, py, pz, dx, dy, dz, skip, stack)
        t, event, rate = reach_medium(scene, region, t, event, pz, dz, rng, seed)
        if PLANES and dz < 0.0 and (region == WATER or region == AIR):
            tally_planes(scene, region == WATER, px, py, pz, dx, dy, dz, t, v, cells)
        before, dx_before, dy_before = region, dx, dy
        region, px, py, pz, dx, dy, dz, s_part, row, sink, end, nx, ny, nz, mirror, crossed, met = arrive(
            scene, t, event, face, rate, region, px, py, pz, dx, dy, dz, route, s_part, entered, u_first, v, cells,
            sinks, rng, seed,
        )  # fmt: skip
        alive = weigh(scene, row, sink, end, v, sinks, rng, seed)
        region, px, py, pz, dx, dy, dz, skip, route, s_part, entered, u_first = leave(
            scene, event, face, before, dx_before, dy_before, region, px, py, pz, dx, dy, dz, route, s_part, entered,
            u_first, row, nx, ny, nz, mirror, crossed, met, alive, rng, seed,
        )  # fmt: skip
