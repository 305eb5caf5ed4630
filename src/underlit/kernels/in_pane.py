"""Light inside a side pane: many reflections in one step, where all of it is reflected."""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.arrays import BONDED, FRONT, GLASS, IN_GLASS, LEFT
from underlit.kernels.bands import attenuate
from underlit.kernels.features import BONDED_FILMS, DIRT, GATHERING
from underlit.kernels.fresnel import UNPOLARISED
from underlit.kernels.interface import component, flip
from underlit.kernels.jit import inlined_kernel
from underlit.kernels.panes import cross_pane
from underlit.kernels.reach import FAR_M, INNER_FACE, OUTER_FACE
from underlit.kernels.route import MIXED, route_after

NO, YES = np.array([False, True])  # typed: a plain one would have kernels compiled anew

# Less than so many thicknesses of the pane is not worth a step of its own.
_FAR = 3.0


@inlined_kernel
def go_and_return(tank, soil_top_m, face, px, py, pz, dx, dy, dz, route, v, sinks, rng, seed):
    """Follow light that has just come from the water into a side pane while it is sent back between its two faces.

    Returns
    -------
    region
        `WATER`, if it comes back there; `GLASS`, still at the inner face, if what comes next is not as plain as that.
    px, py, pz, dx, dy, dz, route
    """
    region = GLASS
    mu = component(face >> 1, dx, dy, dz)
    mirrors = tank.n_glass * tank.n_glass * (1.0 - mu * mu) >= 1.0
    plain = not (BONDED_FILMS and tank.backing[face] == BONDED) and not (DIRT and tank.clear[face] < 1.0)
    there_and_back = 2.0 * tank.side_m / abs(mu)
    path = 0.0
    while mirrors and plain and region == GLASS:
        qx, qy, qz = px + there_and_back * dx, py + there_and_back * dy, pz + there_and_back * dz
        qx, qy = px if face < FRONT else qx, qy if face < FRONT else py
        inside = 0.0 <= qx <= tank.lx_m and 0.0 <= qy <= tank.ly_m
        if not inside or max(pz, qz) >= tank.water_m or qz <= soil_top_m:
            break
        px, py, pz = qx, qy, qz
        path += there_and_back
        dx, dy, dz = flip(face >> 1, dx, dy, dz)
        if GATHERING and route != MIXED:
            route = route_after(route, OUTER_FACE, face, GLASS, NO, NO, YES, dz)
        region, dx, dy, dz, _, crossed = cross_pane(
            tank, INNER_FACE, GLASS, face, NO, pz, dx, dy, dz, UNPOLARISED, -1.0, v, sinks, rng, seed
        )
        if GATHERING and route != MIXED:
            route = route_after(route, INNER_FACE, face, region, NO, crossed, YES, dz)
    if path > 0.0:
        attenuate(v, tank.a_glass_per_m, path, sinks, IN_GLASS)
    return region, px, py, pz, dx, dy, dz, route


@inlined_kernel
def folded(w, thickness, mu, t):
    """Depth and cosine behind the inner face of a pane between mirrors, `t` on from depth `w` and cosine `mu`."""
    y = (w if mu > 0.0 else 2.0 * thickness - w) + abs(mu) * t
    k = math.floor(y / thickness)
    r = y - k * thickness
    inward = k - 2.0 * math.floor(0.5 * k) == 1.0
    r = min(max(r, 0.0), thickness)
    return thickness - r if inward else r, -abs(mu) if inward else abs(mu)


@inlined_kernel
def be_guided(tank, soil_top_m, px, py, pz, dx, dy, dz, route, v, sinks):
    """Take light that both faces of a side pane reflect along the pane, up to its end, the rim or the soil.

    So goes what has come in at the rim. Unfolded at its faces, the pane is a space in which the path is straight.
    """
    wx, wy = max(-px, px - tank.lx_m), max(-py, py - tank.ly_m)  # depths behind the inner faces
    upright_to_x = wx > wy
    far_side = px > 0.0 if upright_to_x else py > 0.0
    outward, along = (dx, dy) if upright_to_x else (dy, dx)
    outward = outward if far_side else -outward
    face = (LEFT if upright_to_x else FRONT) + (1 if far_side else 0)
    guided = tank.n_glass * tank.n_glass * (1.0 - outward * outward) >= tank.n_water * tank.n_water
    bonded = BONDED_FILMS and tank.backing[face] == BONDED
    if not guided or bonded or min(wx, wy) > 0.0 or pz <= soil_top_m:
        return px, py, pz, dx, dy, dz, route
    place, length = (py, tank.ly_m) if upright_to_x else (px, tank.lx_m)
    ahead = (length if along > 0.0 else 0.0) - place
    below = (tank.lz_m if dz > 0.0 else soil_top_m) - pz
    t = min(ahead / along if along != 0.0 else math.inf, below / dz if dz != 0.0 else math.inf)
    if not _FAR * tank.side_m < t < FAR_M:
        return px, py, pz, dx, dy, dz, route
    attenuate(v, tank.a_glass_per_m, t, sinks, IN_GLASS)
    w, outward = folded(wx if upright_to_x else wy, tank.side_m, outward, t)
    px, py, pz = px + t * dx, py + t * dy, pz + t * dz
    if upright_to_x:
        px, dx = (tank.lx_m + w, outward) if far_side else (-w, -outward)
    else:
        py, dy = (tank.ly_m + w, outward) if far_side else (-w, -outward)
    return px, py, pz, dx, dy, dz, MIXED
