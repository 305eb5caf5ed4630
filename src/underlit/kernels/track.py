"""What happens to a photon packet at each event of its path.

A path is always in one region: outside the tank, air or water inside it, or the glass. At each event, `arrive` takes it
there, `weigh` takes from its light, `leave` sends it on. What events have in common stands there once, one thing after
another: a graphics card runs many paths in step, and waits for the slowest at each.
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
from underlit.kernels.draws import uniform
from underlit.kernels.features import (
    BONDED_FILMS,
    CANOPIES,
    FLOATERS,
    GATHERING,
    HOUSINGS,
    LID,
    RIPPLE,
    SCATTERING,
    STRIPS,
)
from underlit.kernels.fresnel import UNPOLARISED
from underlit.kernels.interface import flip
from underlit.kernels.jit import inlined_kernel
from underlit.kernels.meet import (
    is_level,
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
)
from underlit.kernels.roulette import survives
from underlit.kernels.route import COST, DIRECT, MIXED, route_after, route_through_surface
from underlit.kernels.sampling import lambertian
from underlit.kernels.soil import soil_normal
from underlit.kernels.tally import land

# A path with more events than this is cut off and booked as such; the light budget shows how much that is.
MAX_EVENTS = 100_000
ROULETTE_EVERY = 64

NO_FACE = np.int64(-1)

# How far a path has come: it has met the tank; it has been in the water.
MET_TANK, BEEN_IN_WATER = 1, 2


@inlined_kernel
def begin(scene, px, py, pz, dx, dy, dz):
    """Place and region that a path starts in, and how far it has come.

    Nothing happens to light that comes through an open top: such a path starts there.
    """
    tank, cover = scene.tank, scene.cover
    if 0.0 < px < tank.lx_m and 0.0 < py < tank.ly_m and pz < tank.lz_m:
        return px, py, pz, AIR, MET_TANK
    covered = (LID and cover.has_lid) or (STRIPS and cover.strips_clear.size > 0)
    if dz < 0.0 and pz > tank.lz_m and not covered and not (HOUSINGS and scene.mesh.top_m > tank.lz_m):
        t = (tank.lz_m - pz) / dz
        x, y = px + t * dx, py + t * dy
        if 0.0 <= x <= tank.lx_m and 0.0 <= y <= tank.ly_m:
            return x, y, tank.lz_m, AIR, MET_TANK
    return px, py, pz, OUTSIDE, 0


@inlined_kernel
def goes_on(scene, events, v, sinks, rng, seed):
    """Whether a path goes on after so many events: a long one now and then plays roulette, and in the end is cut."""
    if events % ROULETTE_EVERY != 0:
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
def at_surface(tank, before, event, face):
    """Whether a path in region `before` has come to the water surface."""
    if event != WALL:
        return False
    return face == TOP if before == WATER else face == BOTTOM and tank.water_m > 0.0


@inlined_kernel
def arrive(
    scene, t, event, face, rate, region, px, py, pz, dx, dy, dz, route, s_part, entered, u_first, v, cells, sinks,
    rng, seed,
):  # fmt: skip
    """Take a path to its next event, and into it as far as where its light is weighed.

    Returns
    -------
    region : int
        Where it goes on, if `weigh` lets it.
    px, py, pz, dx, dy, dz : float
    route : int
    s_part : float
    row, sink : int
        An opaque surface that is met and its entry of the light budget; `NO_ROW` for none.
    end : int
        The entry that takes all of a path that is over; `NO_SINK` for none.
    nx, ny, nz : float
        Normal of the surface.
    mirror : bool
        Whether the surface mirrors.
    """
    tank = scene.tank
    before, wet = region, region == WATER
    if wet:
        attenuate(v, tank.a_water_per_m, t, sinks, IN_WATER)
    elif region == GLASS:
        attenuate(v, tank.a_glass_per_m, t, sinks, IN_GLASS)
    px, py, pz = px + t * dx, py + t * dy, pz + t * dz
    if event == WALL or event == INNER_FACE or event == OUTER_FACE or event == TANK:
        x0, x1, y0, y1, z0, z1 = box_of(tank, region)
        if event == INNER_FACE:
            x0, x1, y0, y1, z0, z1 = 0.0, tank.lx_m, 0.0, tank.ly_m, 0.0, tank.lz_m
        px, py, pz = on_face(face, px, py, pz, x0, x1, y0, y1, z0, z1)
    opening = event == WALL and face == TOP and not wet
    surface = at_surface(tank, region, event, face)

    nx, ny, nz = 0.0, 0.0, 1.0
    if event == SOIL:
        nx, ny, nz = soil_normal(scene.soil, px, py)
    elif event == MESH:
        nx, ny, nz = mesh_normal(scene.mesh, face, dx, dy, dz)
    gathered = GATHERING and event == SOIL and wet and route % COST == DIRECT
    if not gathered and not opening:
        land(scene, event, face, wet, surface, px, py, pz, dx, dy, dz, nx, ny, nz, v, cells)

    row, sink, mirror, end = NO_ROW, NO_SINK, False, NO_SINK
    pane, way, route = False, route, MIXED
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
            route = MIXED if met else way
    elif event == LID_FACE:
        if LID:
            region, px, py, pz, dx, dy, dz, s_part = meet_lid(
                scene, px, py, dx, dy, dz, s_part, v, sinks, rng, seed
            )
    elif opening:
        region = meet_strips(scene, px, py, OUTSIDE, v, sinks, rng, seed)
    elif surface:
        pane = not (RIPPLE or FLOATERS) or is_level(scene)
        if not pane:
            region, dx, dy, dz, crossed = meet_surface(
                scene, region, px, py, dx, dy, dz, s_part, u_first, v, sinks, rng, seed
            )
            route = route_through_surface(way, crossed)
    elif event == TANK and (face == TOP or tank.backing[face] != CLEAN):
        region, end = meet_rim_or_back(scene, face, px, py, v, sinks, rng, seed)
        pane = region == GLASS
        route = way if region == AIR else MIXED
    else:
        row, sink, mirror, nx, ny, nz = behind_pane(scene, event, face, px, py, pz)
        pane = row == NO_ROW
    if pane:
        region, dx, dy, dz, mu, crossed = cross_pane(
            tank, event, before, face, surface, pz, dx, dy, dz, s_part, u_first, v, sinks, rng, seed
        )
        if GATHERING and way != MIXED:
            route = route_after(way, event, face, region, surface, crossed, pz < tank.water_m, dz)
        if crossed and event == OUTER_FACE:
            region, dx, dy, dz, end = beyond_glass(scene, face, dx, dy, dz, mu, v, sinks, rng, seed)
    return region, px, py, pz, dx, dy, dz, route, s_part, row, sink, end, nx, ny, nz, mirror


@inlined_kernel
def weigh(scene, row, sink, end, v, sinks, rng, seed):
    """Take from a packet what an opaque surface keeps, or book all of it where its path ends; whether it goes on."""
    if row != NO_ROW:
        multiply(v, scene.reflectance, row, sinks, sink)
        return survives(v, scene.n_bands, sinks, rng, seed)
    if end != NO_SINK:
        book(v, sinks, end)
        return False
    return True


@inlined_kernel
def leave(
    scene, event, face, before, dx_before, dy_before, region, px, py, pz, dx, dy, dz, s_part, entered, u_first,
    row, nx, ny, nz, mirror, alive, rng, seed,
):  # fmt: skip
    """Send a path on from an event, `alive` being what `weigh` says."""
    tank = scene.tank
    if not alive:
        region = ENDED
    elif row != NO_ROW:
        if BONDED_FILMS and mirror:
            dx, dy, dz = flip(face >> 1, dx, dy, dz)
        else:
            dx, dy, dz = lambertian(nx, ny, nz, uniform(rng, seed), uniform(rng, seed))
    if event == SOIL or event == MESH:
        px, py, pz = px + HAIR_M * nx, py + HAIR_M * ny, pz + HAIR_M * nz
        if before != OUTSIDE:  # a hair's breadth must not carry a path through a wall or the water surface
            x0, x1, y0, y1, z0, z1 = box_of(tank, before)
            px, py, pz = min(max(px, x0), x1), min(max(py, y0), y1), min(max(pz, z0), z1)

    if u_first >= 0.0 and (before == AIR or before == WATER) and (region != before or pz == tank.water_m):
        u_first = -1.0  # spent: a path that the surface sent back is chosen, not evenly spread
    if LID and scene.cover.has_lid and (dx != dx_before or dy != dy_before):
        s_part = UNPOLARISED  # known only from sheet to sheet, all of them level
    if region == WATER:
        entered = BEEN_IN_WATER
    elif before == OUTSIDE:
        entered = max(entered, MET_TANK)
    skip = np.int64(face) if event == MESH else NO_FACE
    return region, px, py, pz, dx, dy, dz, skip, s_part, entered, u_first
