"""How far a path goes, and what it comes to there."""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.arrays import GLASS, OUTSIDE, WATER
from underlit.kernels.box import entry_face, exit_face
from underlit.kernels.draws import uniform
from underlit.kernels.features import CANOPIES, HOUSINGS, LID, MESHES, SCATTERING
from underlit.kernels.jit import inlined_kernel
from underlit.kernels.soil import soil_hit

# What ends a stretch of path: a wall of the air or the water inside the tank, a face of the glass met from within, ...
WALL, INNER_FACE, OUTER_FACE, SOIL, MESH, MEDIUM, TANK, LID_FACE, NOTHING = np.arange(9)

FAR_M = 1e3


@inlined_kernel
def lid_face(cover, dz):
    """Height of the face of the lid that a ray from outside meets. [m]"""
    return cover.lid_z_m + (cover.lid_m if dz < 0.0 else 0.0)


@inlined_kernel
def box_of(tank, region):
    """The box that holds a region: air and water inside the panes, all else around them."""
    if region == GLASS or region == OUTSIDE:
        s = tank.side_m
        return -s, tank.lx_m + s, -s, tank.ly_m + s, -tank.bottom_m, tank.lz_m
    if region == WATER:
        return 0.0, tank.lx_m, 0.0, tank.ly_m, 0.0, tank.water_m
    return 0.0, tank.lx_m, 0.0, tank.ly_m, tank.water_m, tank.lz_m


@inlined_kernel
def reach_lid(cover, t, event, px, py, pz, dx, dy, dz):
    """The next event outside, where the lid may be nearer."""
    if cover.has_lid and dz != 0.0:
        t_lid = (lid_face(cover, dz) - pz) / dz
        x, y = px + t_lid * dx, py + t_lid * dy
        box = cover.lid_box_m
        if 0.0 <= t_lid < t and box[0] <= x <= box[2] and box[1] <= y <= box[3]:
            return t_lid, LID_FACE
    return t, event


@inlined_kernel
def volume_rate(scene, region, pz, dz, t):
    """Tentative collisions with particles and leaves along a stretch of path. [m-1]"""
    rate = 0.0
    if SCATTERING and region == WATER:
        rate = scene.tank.scattering_per_m
    leafy = CANOPIES and scene.canopy.n > 0 and region != GLASS and region != OUTSIDE
    if leafy and min(pz, pz + dz * t) < scene.canopy.top_m:
        rate += scene.canopy.max_density_per_m
    return rate


@inlined_kernel
def reach_walls(scene, region, px, py, pz, dx, dy, dz):
    """The next event of a path but for meshes: its distance [m], its kind, and the face of the tank."""
    tank = scene.tank
    t, event, face = math.inf, NOTHING, -1
    x0, x1, y0, y1, z0, z1 = box_of(tank, region)
    if region != OUTSIDE:
        t, face = exit_face(px, py, pz, dx, dy, dz, x0, x1, y0, y1, z0, z1)
        event = OUTER_FACE if region == GLASS else WALL
    if region == GLASS or region == OUTSIDE:
        if region == GLASS:
            x0, x1, y0, y1, z0, z1 = 0.0, tank.lx_m, 0.0, tank.ly_m, 0.0, tank.lz_m
        t_in, entered = entry_face(px, py, pz, dx, dy, dz, x0, x1, y0, y1, z0, z1)
        if t_in < t:
            t, event, face = t_in, INNER_FACE if region == GLASS else TANK, entered
        if LID and region == OUTSIDE:
            t, event = reach_lid(scene.cover, t, event, px, py, pz, dx, dy, dz)
        t = min(t, FAR_M)
    elif min(pz, pz + t * dz) < scene.soil.z_max_m:
        t_soil = soil_hit(scene.soil, px, py, pz, dx, dy, dz, t)
        if t_soil < t:
            t, event = t_soil, SOIL
    return t, event, face


@inlined_kernel
def meshes_about(scene, region, t, pz, dz):
    """Whether a stretch of path may meet triangles."""
    if not MESHES or region == GLASS:
        return False
    if region == OUTSIDE:
        return HOUSINGS and scene.mesh.top_m > scene.tank.lz_m
    return min(pz, pz + t * dz) < scene.mesh.top_m


@inlined_kernel
def reach_medium(scene, region, t, event, pz, dz, rng, seed):
    """The next event, where particles or leaves may be nearer; last is how many there may be to the metre. [m-1]"""
    rate = volume_rate(scene, region, pz, dz, t)
    if rate > 0.0:
        free = -math.log(uniform(rng, seed)) / rate
        if free < t:
            return free, MEDIUM, rate
    return t, event, rate
