"""Which way a path has come, as far as `gather` needs to know: it gathers some routes, and photons carry the others.

A route is one number: through the air, down through the surface, and returned by panes. In glass it also holds the
pane, and everywhere what its returns have cost, in steps of `COST`.
"""

from __future__ import annotations

import numpy as np

from underlit.kernels.arrays import BOTTOM, GLASS, WATER
from underlit.kernels.jit import inlined_kernel
from underlit.kernels.reach import INNER_FACE, OUTER_FACE, WALL

MAX_COST, TRIP_COST, INNER_COST, AIR_COST = 2, 1, 2, 2
# Light that glances off a pane in air more level than this is left to the photons.
AIR_COSINE_MIN = 0.25

MIXED, FRESH, DIRECT, OUTWARD, RETURNING, COST = np.array([-1, 0, 1, 8, 16, 32])


@inlined_kernel
def bounded(route):
    """The route, if it does not cost more than what is gathered."""
    return route if route < (MAX_COST + 1) * COST else MIXED


@inlined_kernel
def route_at_pane(route, wet, entered, face, dz):
    """How a route goes on from the inner face of a pane, which it has entered or glanced off."""
    if face >= BOTTOM:
        return MIXED
    if wet and route % COST == DIRECT:
        return route - DIRECT + OUTWARD + face if entered else bounded(route + INNER_COST * COST)
    if not wet and not entered and route % COST == FRESH and dz <= -AIR_COSINE_MIN:
        return bounded(route + AIR_COST * COST)
    return MIXED


@inlined_kernel
def route_through_surface(route, crossed):
    """How a route goes on from the water surface."""
    return route + DIRECT if crossed and route % COST == FRESH else MIXED


@inlined_kernel
def route_after(route, event, face, region, surface, crossed, wet, dz):
    """The route after a face of a pane, or a level water surface, that took a path to `region`.

    Parameters
    ----------
    route, event, face, region : int
    surface, crossed : bool
        Whether it was the water surface; whether the path went through and was not mirrored.
    wet : bool
        Whether there is water at the inside of the place.
    dz : float
        Afterwards.
    """
    if surface:
        return route_through_surface(route, crossed)
    if event == WALL:
        return route_at_pane(route, wet, region == GLASS, face, dz)
    if event == OUTER_FACE and not crossed and route % COST == OUTWARD + face:
        return route - OUTWARD + RETURNING
    if event == INNER_FACE and wet and route % COST == RETURNING + face and (not crossed or region == WATER):
        return bounded(route - RETURNING + (DIRECT - face if crossed else OUTWARD) + TRIP_COST * COST)
    return MIXED
