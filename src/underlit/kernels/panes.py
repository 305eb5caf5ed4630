"""What a path meets at a pane: the inner face from either side, the outer face, and what lies behind it.

Panes are real slabs with two faces; the five panes and their corners are one body of glass, as clear silicone joins
them.
"""

from __future__ import annotations

import math

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
from underlit.kernels.bands import book, multiply, scale
from underlit.kernels.fresnel import fresnel
from underlit.kernels.interface import along, component, flip, refract
from underlit.kernels.jit import called_kernel, inlined_kernel
from underlit.kernels.rng import uniform
from underlit.kernels.roulette import survives
from underlit.kernels.sampling import TWO_PI, about, lambertian
from underlit.kernels.soil import soil_height


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
            nx, ny, nz = along(axis, -1.0 if face & 1 else 1.0)
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
    """The inner face of a pane, from the glass: to water, to air, or to the soil that lies against it.

    Last returned is whether the face mirrored the path.
    """
    tank = scene.tank
    axis = face >> 1
    if pz < soil_height(scene.soil, px, py):
        # Wet grains against the glass send light back into it, with no air or water between to bend it.
        multiply(v, scene.reflectance, scene.soil.surface, sinks, IN_SOIL)
        if not survives(v, scene.n_bands, sinks, rng, seed):
            return ENDED, dx, dy, dz, False
        nx, ny, nz = along(axis, 1.0 if face & 1 else -1.0)
        dx, dy, dz = lambertian(nx, ny, nz, uniform(rng, seed), uniform(rng, seed))
        return GLASS, dx, dy, dz, False
    wet = pz < tank.water_m
    eta = tank.n_glass / (tank.n_water if wet else 1.0)
    reflectance, mu_t = fresnel(abs(component(axis, dx, dy, dz)), eta)
    if uniform(rng, seed) < reflectance:
        dx, dy, dz = flip(axis, dx, dy, dz)
        return GLASS, dx, dy, dz, True
    if tank.clear[face] < 1.0:
        scale(v, tank.clear[face], sinks, IN_DIRT)
    dx, dy, dz = refract(axis, eta, mu_t, dx, dy, dz)
    return WATER if wet else AIR, dx, dy, dz, False
