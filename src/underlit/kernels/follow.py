"""One photon packet from the lamp to its end."""

from __future__ import annotations

from underlit.kernels.arrays import AIR, BOTTOM, ENDED, GLASS, WATER
from underlit.kernels.bands import deposit, deposit_along
from underlit.kernels.bvh import closest_hit
from underlit.kernels.features import PLANES
from underlit.kernels.fresnel import UNPOLARISED
from underlit.kernels.in_pane import YES, be_guided, go_and_return
from underlit.kernels.jit import inlined_kernel
from underlit.kernels.reach import MESH, WALL, meshes_about, reach_medium, reach_walls
from underlit.kernels.tally import plane_cell
from underlit.kernels.track import NO_FACE, arrive, goes_on, leave, weigh

UNKNOWN_M = -1.0  # a distance still to be found


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


@inlined_kernel
def follow(
    scene, bvh, region, px, py, pz, dx, dy, dz, t, event, face, near, route, entered, u_first, v, cells, sinks, rng,
    seed, stack,
):  # fmt: skip
    """Follow one packet to its end.

    Parameters
    ----------
    t, event, face : float, int, int
        What it meets first, as from `reach_walls`; `UNKNOWN_M` for a distance still to be found.
    near : bool
        Whether it may come to a triangle before.
    u_first : float
        Decides the first meeting with the water surface (a quasi-random number); if negative, one is drawn.
    """
    skip, s_part, events = NO_FACE, UNPOLARISED, 0
    while region != ENDED:
        events += 1
        if not goes_on(scene, events, v, sinks, rng, seed):
            break
        if region == GLASS:
            if event == WALL and face < BOTTOM:
                region, px, py, pz, dx, dy, dz, route = go_and_return(
                    scene.tank, scene.soil.z_max_m, face, px, py, pz, dx, dy, dz, route, v, sinks, rng, seed
                )
            else:
                px, py, pz, dx, dy, dz, route = be_guided(
                    scene.tank, scene.soil.z_max_m, px, py, pz, dx, dy, dz, route, v, sinks
                )
        if events > 1 or t < 0.0:
            t, event, face = reach_walls(scene, region, px, py, pz, dx, dy, dz)
        if (near or events > 1) and meshes_about(scene, region, t, pz, dz):
            t, event, face = reach_mesh(bvh, t, event, face, px, py, pz, dx, dy, dz, skip, stack)
        t, event, rate = reach_medium(scene, region, t, event, pz, dz, rng, seed)
        if PLANES and dz < 0.0 and (region == WATER or region == AIR):
            tally_planes(scene, region == WATER, px, py, pz, dx, dy, dz, t, v, cells)
        before, dx_before, dy_before = region, dx, dy
        region, px, py, pz, dx, dy, dz, route, s_part, row, sink, end, nx, ny, nz, mirror = arrive(
            scene, t, event, face, rate, region, px, py, pz, dx, dy, dz, route, s_part, entered, u_first, v, cells,
            sinks, rng, seed,
        )  # fmt: skip
        if not weigh(scene, row, sink, end, v, sinks, rng, seed):
            break
        region, px, py, pz, dx, dy, dz, skip, s_part, entered, u_first = leave(
            scene, event, face, before, dx_before, dy_before, region, px, py, pz, dx, dy, dz, s_part, entered, u_first,
            row, nx, ny, nz, mirror, YES, rng, seed,
        )  # fmt: skip
