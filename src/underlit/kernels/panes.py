"""What a path meets at a pane: the inner face from either side, the outer face, and what lies behind it.

Panes are real slabs with two faces; the five panes and their corners are one body of glass, as clear silicone joins
them.
"""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.arrays import (
    AIR,
    BONDED,
    CLEAN,
    ENDED,
    GLASS,
    IN_DIRT,
    IN_FILMS,
    IN_SOIL,
    OUT_OF_LEFT,
    OUT_OF_RIM,
    TOP,
    WATER,
)
from underlit.kernels.bands import multiply, scale
from underlit.kernels.draws import uniform
from underlit.kernels.features import BONDED_FILMS, DIRT, FILMS
from underlit.kernels.fresnel import UNPOLARISED, fresnel, fresnel_of
from underlit.kernels.interface import along, component, flip, refract
from underlit.kernels.jit import called_kernel, inlined_kernel
from underlit.kernels.reach import INNER_FACE, OUTER_FACE, TANK
from underlit.kernels.roulette import survives
from underlit.kernels.sampling import TWO_PI, about
from underlit.kernels.soil import soil_height

NO_ROW, NO_SINK = np.int64(-1), np.int64(-1)


@inlined_kernel
def cross_pane(tank, event, region, face, surface, pz, dx, dy, dz, s_part, u_first, v, sinks, rng, seed):
    """A face of a pane, or a level water surface, from either side: back from it, or through.

    Returns
    -------
    region : int
        The one before, if the face mirrored the path, and if what lies behind the pane is still to be met.
    dx, dy, dz : float
        As before in the latter case.
    mu : float
        Cosine beyond the face.
    crossed : bool
    """
    axis = face >> 1
    beyond = GLASS
    if surface:
        beyond = AIR if region == WATER else WATER
        eta = tank.n_water if region == WATER else 1.0 / tank.n_water
    elif event == INNER_FACE:
        beyond = WATER if pz < tank.water_m else AIR
        eta = tank.n_glass / (tank.n_water if beyond == WATER else 1.0)
    elif event == OUTER_FACE:
        eta = tank.n_glass
    else:
        eta = (tank.n_water if region == WATER else 1.0) / tank.n_glass
    reflectance, mu = fresnel_of(abs(component(axis, dx, dy, dz)), eta, s_part if surface else UNPOLARISED)
    mirrors = reflectance >= 1.0
    if not mirrors:
        u = u_first if surface and u_first >= 0.0 else uniform(rng, seed)
        mirrors = u < reflectance
    if mirrors:
        dx, dy, dz = flip(axis, dx, dy, dz)
        return region, dx, dy, dz, mu, False
    if event == OUTER_FACE:
        return region, dx, dy, dz, mu, True
    if DIRT and event != TANK and not surface and tank.clear[face] < 1.0:
        scale(v, tank.clear[face], sinks, IN_DIRT)
    dx, dy, dz = refract(axis, eta, mu, dx, dy, dz)
    return beyond, dx, dy, dz, mu, True


@inlined_kernel
def behind_pane(scene, event, face, px, py, pz):
    """What lies against the glass, with no air or water between to bend light: soil inside, a bonded film outside.

    Returns
    -------
    row, sink : int
        Of the surface; `NO_ROW` for none.
    mirror : bool
    nx, ny, nz : float
        Normal, into the glass.
    """
    tank = scene.tank
    nx, ny, nz = along(face >> 1, 1.0 if (face & 1) == (event == INNER_FACE) else -1.0)
    if event == INNER_FACE and pz < soil_height(scene.soil, px, py):
        return np.int64(scene.soil.surface), IN_SOIL, False, nx, ny, nz
    if BONDED_FILMS and event == OUTER_FACE and face != TOP and tank.backing[face] == BONDED:
        return np.int64(tank.backing_surface[face]), IN_FILMS, bool(tank.backing_mirror[face]), nx, ny, nz
    return NO_ROW, NO_SINK, False, nx, ny, nz


@called_kernel
def meet_film(scene, face, dx, dy, dz, mu_air, v, sinks, rng, seed):
    """Light that has left a pane into the air gap before a film: absorbed, or back through the glass."""
    tank = scene.tank
    axis = face >> 1
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
        nx, ny, nz = along(axis, -1.0 if face & 1 else 1.0)
        dx, dy, dz = about(nx, ny, nz, mu_t, TWO_PI * uniform(rng, seed))
        return True, dx, dy, dz


@inlined_kernel
def beyond_glass(scene, face, dx, dy, dz, mu_air, v, sinks, rng, seed):
    """Light that has left a pane outwards: gone, or back from a film behind air. Last is where it is gone to."""
    if face == TOP:
        return ENDED, dx, dy, dz, OUT_OF_RIM
    if not FILMS or scene.tank.backing[face] == CLEAN:
        return ENDED, dx, dy, dz, OUT_OF_LEFT + face
    alive, dx, dy, dz = meet_film(scene, face, dx, dy, dz, mu_air, v, sinks, rng, seed)
    return GLASS if alive else ENDED, dx, dy, dz, NO_SINK
