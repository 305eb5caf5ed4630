"""One photon packet from the lamp to its end.

A path is always in one region: outside the tank, air or water inside it, or the glass. Each `step_*` kernel takes it
to its next event and returns the region it is in afterwards.
"""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.arrays import (
    AIR,
    BOTTOM,
    CUT_OFF,
    ENDED,
    FRONT,
    GLASS,
    IN_GLASS,
    IN_WATER,
    OUT_OF_TOP,
    OUTSIDE,
    PAST_TANK,
    REFLECTED_ABOVE_WATER,
    TOP,
    WATER,
)
from underlit.kernels.bands import attenuate, book
from underlit.kernels.box import entry_face, exit_face
from underlit.kernels.bvh import closest_hit
from underlit.kernels.fresnel import UNPOLARISED
from underlit.kernels.gather import AIR_COSINE_MIN, AIR_COST, INNER_COST, MAX_COST, TRIP_COST
from underlit.kernels.jit import inlined_kernel, merged_kernel
from underlit.kernels.meet import (
    lid_face,
    meet_lid,
    meet_medium,
    meet_mesh,
    meet_soil,
    meet_surface,
    meet_tank_outside,
    strips_let_through,
)
from underlit.kernels.panes import meet_inside_of_glass, meet_pane_inside, meet_pane_outside
from underlit.kernels.rng import uniform
from underlit.kernels.roulette import survives
from underlit.kernels.soil import soil_hit
from underlit.kernels.tally import tally_pane, tally_planes

# What ends a step inside the tank, and outside it.
_FACE, _SOIL, _MESH, _MEDIUM = range(4)
_NOTHING, _TANK, _LID, _HARDSCAPE = range(4)

# A path with more events than this is cut off and booked as such; the light budget shows how much that is.
MAX_EVENTS = 100_000
_ROULETTE_EVERY = 64

FAR_M = 1e3

NO_FACE = np.int64(-1)

# The route of a path so far, as `gather` knows it: through the air, down through the surface, and returned by panes.
# In glass the route also holds the pane, and everywhere what its returns have cost, in steps of `_COST`.
MIXED, FRESH, DIRECT, OUTWARD, RETURNING, _COST = np.array([-1, 0, 1, 8, 16, 32])


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
def bounded(route):
    """The route, if it does not cost more than what is gathered."""
    return route if route < (MAX_COST + 1) * _COST else MIXED


@inlined_kernel
def route_at_pane(route, wet, entered, face, dz):
    """How a route goes on from the inner face of a pane, which it has entered or glanced off."""
    if face >= BOTTOM:
        return MIXED
    if wet and route % _COST == DIRECT:
        return route - DIRECT + OUTWARD + face if entered else bounded(route + INNER_COST * _COST)
    if not wet and not entered and route % _COST == FRESH and dz <= -AIR_COSINE_MIN:
        return bounded(route + AIR_COST * _COST)
    return MIXED


@inlined_kernel
def step_inside(
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
    s_part,
    u_first,
    v,
    cells,
    sinks,
    rng,
    seed,
    stack,
):
    """From one event to the next in the air or water inside the tank."""
    tank, mesh, canopy = scene.tank, scene.mesh, scene.canopy
    wet = region == WATER
    z0 = 0.0 if wet else tank.water_m
    z1 = tank.water_m if wet else tank.lz_m
    t, face = exit_face(px, py, pz, dx, dy, dz, 0.0, tank.lx_m, 0.0, tank.ly_m, z0, z1)
    event = _FACE
    lowest = min(pz, pz + t * dz)
    if lowest < scene.soil.z_max_m:
        t_soil = soil_hit(scene.soil, px, py, pz, dx, dy, dz, t)
        if t_soil < t:
            t, event = t_soil, _SOIL
    i_face = NO_FACE
    if lowest < mesh.top_m:
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
                scene, region, px, py, dx, dy, dz, s_part, u_first, v, cells, sinks, rng, seed
            )
            route = route + DIRECT if crossed and route % _COST == FRESH else MIXED
            return region, px, py, pz, dx, dy, dz, NO_FACE, route
        tally_pane(scene.grid, face, px, py, pz, v, cells)
        region, dx, dy, dz = meet_pane_inside(scene, region, face, dx, dy, dz, uniform(rng, seed), v, sinks)
        route = route_at_pane(route, wet, region == GLASS, face, dz)
        return region, px, py, pz, dx, dy, dz, NO_FACE, route
    if event == _MEDIUM:
        region, dx, dy, dz, met = meet_medium(
            scene, region, px, py, pz, dx, dy, dz, rate, v, sinks, rng, seed
        )
        return region, px, py, pz, dx, dy, dz, NO_FACE, MIXED if met else route
    if event == _SOIL:
        gathered = scene.gathers and wet and route % _COST == DIRECT
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
        region, dx, dy, dz, mirrored = meet_inside_of_glass(
            scene, inner, px, py, pz, dx, dy, dz, v, sinks, rng, seed
        )
        direct = route % _COST == RETURNING + inner and (region == WATER or (mirrored and pz < tank.water_m))
        route = (
            bounded(route - RETURNING + (OUTWARD if mirrored else DIRECT - inner) + TRIP_COST * _COST)
            if direct
            else MIXED
        )
    else:
        px, py, pz = on_face(face, px, py, pz, -s, tank.lx_m + s, -s, tank.ly_m + s, -b, tank.lz_m)
        region, dx, dy, dz, mirrored = meet_pane_outside(scene, face, dx, dy, dz, v, sinks, rng, seed)
        direct = mirrored and route % _COST == OUTWARD + face
        route = route - OUTWARD + RETURNING if direct else MIXED
    return region, px, py, pz, dx, dy, dz, route


@inlined_kernel
def step_outside(
    scene, bvh, px, py, pz, dx, dy, dz, skip, s_part, entered, v, cells, sinks, rng, seed, stack
):
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
    if mesh.top_m > tank.lz_m:
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
        return ENDED, px, py, pz, dx, dy, dz, NO_FACE, s_part
    px, py, pz = px + t * dx, py + t * dy, pz + t * dz
    if event == _TANK:
        px, py, pz = on_face(face, px, py, pz, -s, tank.lx_m + s, -s, tank.ly_m + s, -b, tank.lz_m)
        region, dx, dy, dz = meet_tank_outside(scene, face, px, py, pz, dx, dy, dz, v, sinks, rng, seed)
        return region, px, py, pz, dx, dy, dz, NO_FACE, s_part
    if event == _LID:
        alive, px, py, pz, dx, dy, dz, s_part = meet_lid(
            scene, px, py, dx, dy, dz, s_part, v, sinks, rng, seed
        )
        return OUTSIDE if alive else ENDED, px, py, pz, dx, dy, dz, NO_FACE, s_part
    alive, px, py, pz, dx, dy, dz = meet_mesh(
        scene, i_face, px, py, pz, dx, dy, dz, v, cells, sinks, rng, seed
    )
    return OUTSIDE if alive else ENDED, px, py, pz, dx, dy, dz, i_face, s_part


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
    s_part = UNPOLARISED  # part that swings across the vertical plane of the ray
    events = 0
    while region != ENDED:
        events += 1
        dx_before, dy_before = dx, dy
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
            region, px, py, pz, dx, dy, dz, skip, s_part = step_outside(
                scene, bvh, px, py, pz, dx, dy, dz, skip, s_part, entered, v, cells, sinks, rng, seed, stack
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
                s_part,
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
        if s_part != UNPOLARISED and (dx != dx_before or dy != dy_before):
            s_part = UNPOLARISED  # known only from sheet to sheet, all of them level
        if region == WATER:
            entered = 2
