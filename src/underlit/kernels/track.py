"""One photon packet from the lamp to its end.

A path is always in one region: outside the tank, air or water inside it, or the glass. `arrive` takes it from one event
through the next. What events have in common stands there once, one thing after another: a graphics card runs many paths
in step, and waits for the slowest at each.
"""

from __future__ import annotations

import numpy as np

from underlit.constants import SURFACE_OFFSET_M as HAIR_M
from underlit.kernels.arrays import (
    AIR,
    BOTTOM,
    CLEAN,
    CUT_OFF,
    ENDED,
    GLASS,
    IN_GLASS,
    IN_SOIL,
    IN_WATER,
    OUT_OF_TOP,
    OUTSIDE,
    PAST_TANK,
    REFLECTED_ABOVE_WATER,
    TOP,
    WATER,
)
from underlit.kernels.bands import attenuate, book, multiply
from underlit.kernels.box import on_face
from underlit.kernels.features import BONDED_FILMS, CANOPIES, GATHERING, LID, PLANES, SCATTERING
from underlit.kernels.fresnel import UNPOLARISED
from underlit.kernels.interface import flip
from underlit.kernels.jit import inlined_kernel, merged_kernel
from underlit.kernels.meet import (
    meet_lid,
    meet_medium,
    meet_rim_or_back,
    meet_strips,
    meet_surface,
    mesh_normal,
)
from underlit.kernels.panes import NO_ROW, NO_SINK, behind_pane, beyond_glass, cross_pane
from underlit.kernels.reach import (
    INNER_FACE,
    LID_FACE,
    MEDIUM,
    MESH,
    NOTHING,
    OUTER_FACE,
    SOIL,
    TANK,
    WALL,
    box_of,
    meshes_about,
    reach_medium,
    reach_mesh,
    reach_walls,
)
from underlit.kernels.rng import uniform
from underlit.kernels.roulette import survives
from underlit.kernels.route import COST, DIRECT, FRESH, route_after
from underlit.kernels.sampling import lambertian
from underlit.kernels.soil import soil_normal
from underlit.kernels.tally import land, tally_planes

# A path with more events than this is cut off and booked as such; the light budget shows how much that is.
MAX_EVENTS = 100_000
_ROULETTE_EVERY = 64

NO_FACE = np.int64(-1)

# How far a path has come: it has met the tank; it has been in the water.
MET_TANK, BEEN_IN_WATER = 1, 2


@inlined_kernel
def begin(tank, px, py, pz):
    """Region a path starts in, and how far it has come."""
    inside = 0.0 < px < tank.lx_m and 0.0 < py < tank.ly_m and pz < tank.lz_m
    return (AIR, MET_TANK) if inside else (OUTSIDE, 0)


@inlined_kernel
def goes_on(scene, events, v, sinks, rng, seed):
    """Whether a path goes on after so many events: a long one now and then plays roulette, and in the end is cut."""
    if events % _ROULETTE_EVERY != 0:
        return True
    if events > MAX_EVENTS:
        book(v, sinks, CUT_OFF)
        return False
    return survives(v, scene.n_bands, sinks, rng, seed)


@inlined_kernel
def lost_in_room(dz, entered):
    """Entry of the light budget for a path that meets nothing any more."""
    if dz > 0.0 and entered == BEEN_IN_WATER:
        return OUT_OF_TOP
    if dz > 0.0 and entered == MET_TANK:
        return REFLECTED_ABOVE_WATER
    return PAST_TANK


@inlined_kernel
def arrive(
    scene,
    t,
    event,
    face,
    region,
    px,
    py,
    pz,
    dx,
    dy,
    dz,
    route,
    s_part,
    entered,
    u_first,
    v,
    cells,
    sinks,
    rng,
    seed,
):
    """Take a path to its next event, which `reach_walls` and `reach_mesh` have found, and through it."""
    tank = scene.tank
    before, dx_before, dy_before = region, dx, dy
    wet = region == WATER
    t, event, rate = reach_medium(scene, region, t, event, pz, dz, rng, seed)
    if PLANES and dz < 0.0 and (wet or region == AIR):
        tally_planes(scene, wet, px, py, pz, dx, dy, dz, t, v, cells)
    if wet:
        attenuate(v, tank.a_water_per_m, t, sinks, IN_WATER)
    elif region == GLASS:
        attenuate(v, tank.a_glass_per_m, t, sinks, IN_GLASS)
    px, py, pz = px + t * dx, py + t * dy, pz + t * dz
    x0, x1, y0, y1, z0, z1 = box_of(tank, region)
    if event == INNER_FACE:
        px, py, pz = on_face(face, px, py, pz, 0.0, tank.lx_m, 0.0, tank.ly_m, 0.0, tank.lz_m)
    elif event == WALL or event == OUTER_FACE or event == TANK:
        px, py, pz = on_face(face, px, py, pz, x0, x1, y0, y1, z0, z1)
    opening = event == WALL and face == TOP and not wet
    surface = event == WALL and (face == TOP if wet else face == BOTTOM and tank.water_m > 0.0)

    nx, ny, nz = 0.0, 0.0, 1.0
    if event == SOIL:
        nx, ny, nz = soil_normal(scene.soil, px, py)
    elif event == MESH:
        nx, ny, nz = mesh_normal(scene.mesh, face, dx, dy, dz)
    gathered = GATHERING and scene.gathers and event == SOIL and wet and route % COST == DIRECT
    if not gathered and not opening:
        land(scene, event, face, wet, surface, px, py, pz, dx, dy, dz, nx, ny, nz, v, cells)

    # An opaque surface (its row and entry), or the end of the path; or neither, and it goes on another way.
    row, sink, mirror, end = NO_ROW, NO_SINK, False, NO_SINK
    crossed = met = False
    if event == SOIL:
        row, sink = np.int64(scene.soil.surface), IN_SOIL
    elif event == MESH:
        row, sink = np.int64(scene.mesh.surface[face]), np.int64(scene.mesh.sink[face])
    elif event == NOTHING:
        end = lost_in_room(dz, entered)
    elif event == MEDIUM:
        if SCATTERING or CANOPIES:
            region, dx, dy, dz, met = meet_medium(
                scene, region, px, py, pz, dx, dy, dz, rate, v, sinks, rng, seed
            )
    elif event == LID_FACE:
        if LID:
            region, px, py, pz, dx, dy, dz, s_part = meet_lid(
                scene, px, py, dx, dy, dz, s_part, v, sinks, rng, seed
            )
    elif opening:
        region = meet_strips(scene, px, py, OUTSIDE, v, sinks, rng, seed)
    elif surface:
        region, dx, dy, dz, crossed = meet_surface(
            scene, region, px, py, dx, dy, dz, s_part, u_first, v, sinks, rng, seed
        )
    elif event == TANK and (face == TOP or tank.backing[face] != CLEAN):
        region, end = meet_rim_or_back(scene, face, px, py, v, sinks, rng, seed)
        if region == GLASS:
            region, dx, dy, dz, _, _ = cross_pane(
                scene, event, OUTSIDE, face, pz, dx, dy, dz, v, sinks, rng, seed
            )
    else:
        row, sink, mirror, nx, ny, nz = behind_pane(scene, event, face, px, py, pz)
        if row == NO_ROW:
            region, dx, dy, dz, mu, crossed = cross_pane(
                scene, event, region, face, pz, dx, dy, dz, v, sinks, rng, seed
            )
            if crossed and event == OUTER_FACE:
                region, dx, dy, dz, end = beyond_glass(scene, face, dx, dy, dz, mu, v, sinks, rng, seed)
    if row != NO_ROW:
        multiply(v, scene.reflectance, row, sinks, sink)
        if not survives(v, scene.n_bands, sinks, rng, seed):
            region = ENDED
        elif BONDED_FILMS and mirror:
            dx, dy, dz = flip(face >> 1, dx, dy, dz)
        else:
            dx, dy, dz = lambertian(nx, ny, nz, uniform(rng, seed), uniform(rng, seed))
    if end != NO_SINK:
        book(v, sinks, end)
        region = ENDED
    if event == SOIL or event == MESH:
        px, py, pz = px + HAIR_M * nx, py + HAIR_M * ny, pz + HAIR_M * nz
        if before != OUTSIDE:  # a hair's breadth must not carry a path through a wall or the water surface
            px, py, pz = min(max(px, x0), x1), min(max(py, y0), y1), min(max(pz, z0), z1)

    if GATHERING:
        mirrored, wet = row == NO_ROW and not crossed, pz < tank.water_m
        route = route_after(route, event, face, before, region, surface, crossed, mirrored, met, wet, dz)
    if (before == AIR or before == WATER) and (region != before or pz == tank.water_m):
        u_first = -1.0  # spent: a path that the surface sent back is chosen, not evenly spread
    if LID and s_part != UNPOLARISED and (dx != dx_before or dy != dy_before):
        s_part = UNPOLARISED  # known only from sheet to sheet, all of them level
    if region == WATER:
        entered = BEEN_IN_WATER
    elif before == OUTSIDE:
        entered = max(entered, MET_TANK)
    skip = np.int64(face) if event == MESH else NO_FACE
    return region, px, py, pz, dx, dy, dz, skip, route, s_part, entered, u_first


@merged_kernel
def follow(scene, bvh, px, py, pz, dx, dy, dz, u_first, v, cells, sinks, rng, seed, stack):
    """Follow one packet to its end.

    `u_first` decides the first meeting with the water surface (a quasi-random number; later ones draw their own).
    """
    region, entered = begin(scene.tank, px, py, pz)
    skip, route, s_part, events = NO_FACE, FRESH, UNPOLARISED, 0
    while region != ENDED:
        events += 1
        if not goes_on(scene, events, v, sinks, rng, seed):
            break
        t, event, face = reach_walls(scene, region, px, py, pz, dx, dy, dz)
        if meshes_about(scene, region, t, pz, dz):
            t, event, face = reach_mesh(bvh, t, event, face, px, py, pz, dx, dy, dz, skip, stack)
        region, px, py, pz, dx, dy, dz, skip, route, s_part, entered, u_first = arrive(
            scene, t, event, face, region, px, py, pz, dx, dy, dz, route, s_part, entered, u_first, v, cells, sinks,
            rng, seed,
        )  # fmt: skip
