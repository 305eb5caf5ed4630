"""The soil: a height field on a regular grid of nodes, each cell split into two triangles.

Cell (i, j) has the triangles 00-10-11 (below the diagonal u = v) and 00-11-01 (above it), the same split that
`underlit.geometry.Soil` uses.
"""

from __future__ import annotations

import math

from underlit.kernels.features import HILLS
from underlit.kernels.jit import kernel

BARE_M = 1e-9  # soil less deep than this is none: there the bottom pane lies bare


@kernel
def locate(soil, x, y):
    """Cell indices and position inside the cell, clamped to the grid."""
    ny, nx = soil.z_m.shape
    u = min(max(x / soil.dx_m, 0.0), float(nx - 1))
    v = min(max(y / soil.dy_m, 0.0), float(ny - 1))
    i = min(int(u), nx - 2)
    j = min(int(v), ny - 2)
    return i, j, u - float(i), v - float(j)


@kernel
def height_in_cell(soil, i, j, u, v):
    """Height of the triangulated surface at (u, v) of cell (i, j). [m]"""
    z00, z11 = soil.z_m[j, i], soil.z_m[j + 1, i + 1]
    if u >= v:
        z10 = soil.z_m[j, i + 1]
        return z00 + (z10 - z00) * u + (z11 - z10) * v
    z01 = soil.z_m[j + 1, i]
    return z00 + (z11 - z01) * u + (z01 - z00) * v


@kernel
def soil_plane_height(soil, x, y):
    """Height of an exactly planar soil. [m]"""
    return soil.plane[0] + soil.plane[1] * x + soil.plane[2] * y


@kernel
def soil_height(soil, x, y):
    """Height of the soil at (x, y). [m]"""
    if not HILLS or soil.is_plane:
        return soil_plane_height(soil, x, y)
    i, j, u, v = locate(soil, x, y)
    return height_in_cell(soil, i, j, u, v)


@kernel
def soil_normal(soil, x, y):
    """Upward unit normal of the soil at (x, y)."""
    if not HILLS or soil.is_plane:
        return soil.plane_normal[0], soil.plane_normal[1], soil.plane_normal[2]
    i, j, u, v = locate(soil, x, y)
    z00, z11 = soil.z_m[j, i], soil.z_m[j + 1, i + 1]
    if u >= v:
        z10 = soil.z_m[j, i + 1]
        sx, sy = (z10 - z00) / soil.dx_m, (z11 - z10) / soil.dy_m
    else:
        z01 = soil.z_m[j + 1, i]
        sx, sy = (z11 - z01) / soil.dx_m, (z01 - z00) / soil.dy_m
    return _upward(sx, sy)


@kernel
def _upward(sx, sy):
    """Upward unit normal of a surface of these slopes."""
    s = 1.0 / math.sqrt(1.0 + sx * sx + sy * sy)
    return -sx * s, -sy * s, s


@kernel
def crossing(f0, t0, f1, t1):
    """Where a ray with heights f0, f1 above a facet at t0, t1 goes through it, or -1.

    A start at or below the facet (rounding, or a path that has just left it) counts as a hit only if the ray goes
    further down.
    """
    if f1 >= 0.0 or f1 >= f0:
        return -1.0
    if f0 <= 0.0:
        return t0
    return t0 + (t1 - t0) * f0 / (f0 - f1)


@kernel
def soil_hit(soil, px, py, pz, dx, dy, dz, t_max):
    """Distance to the soil along a ray inside the tank, or `t_max` if it is not met before.

    Parameters
    ----------
    soil : SoilArrays
    px, py, pz, dx, dy, dz : float
        Origin, inside the footprint, [m] and unit direction.
    t_max : float
        End of the ray. [m]
    """
    if not HILLS or soil.is_plane:
        return plane_hit(soil, px, py, pz, dx, dy, dz, t_max)
    t_lo, t_hi = 0.0, t_max
    if pz > soil.z_max_m:
        if dz >= 0.0:
            return t_max
        t_lo = (soil.z_max_m - pz) / dz
    elif dz > 0.0:
        t_hi = min(t_hi, (soil.z_max_m - pz) / dz)
    if t_lo >= t_hi:
        return t_max
    t = _walk(soil, px, py, pz, dx, dy, dz, t_lo, t_hi, t_max)
    return t if t >= 0.0 and pz + dz * t > BARE_M else t_max


@kernel
def plane_hit(soil, px, py, pz, dx, dy, dz, t_max):
    """`soil_hit` for an exactly planar soil, without a branch."""
    above = max(pz - soil_plane_height(soil, px, py), 0.0)
    fall = soil.plane[1] * dx + soil.plane[2] * dy - dz
    t = above / (fall if fall > 0.0 else 1.0)
    return t if fall > 0.0 and t < t_max and pz + dz * t > BARE_M else t_max


@kernel
def _walk(soil, px, py, pz, dx, dy, dz, t_lo, t_hi, t_max):
    """Walk the cells under the ray (J. Amanatides and A. Woo 1987, Eurographics '87) until it dips below one."""
    i, j, _, _ = locate(soil, px + dx * t_lo, py + dy * t_lo)
    ny, nx = soil.z_m.shape
    step_i = 1 if dx > 0.0 else -1
    step_j = 1 if dy > 0.0 else -1
    inv_x = 1.0 / dx if dx != 0.0 else math.inf
    inv_y = 1.0 / dy if dy != 0.0 else math.inf
    t = t_lo
    while True:
        next_x = (float(i + (step_i > 0)) * soil.dx_m - px) * inv_x if dx != 0.0 else math.inf
        next_y = (float(j + (step_j > 0)) * soil.dy_m - py) * inv_y if dy != 0.0 else math.inf
        t_end = max(t, min(t_hi, min(next_x, next_y)))
        hit = _cell_hit(soil, i, j, px, py, pz, dx, dy, dz, t, t_end)
        if hit >= 0.0:
            return hit
        if t_end >= t_hi:
            return t_max
        t = t_end
        if next_x <= next_y:
            i += step_i
        else:
            j += step_j
        if i < 0 or j < 0 or i > nx - 2 or j > ny - 2:
            return t_max


@kernel
def _cell_hit(soil, i, j, px, py, pz, dx, dy, dz, t0, t1):
    """First crossing within cell (i, j) between t0 and t1, or -1; the diagonal splits the stretch in two."""
    x, y = float(i), float(j)
    u0, v0 = (px + dx * t0) / soil.dx_m - x, (py + dy * t0) / soil.dy_m - y
    u1, v1 = (px + dx * t1) / soil.dx_m - x, (py + dy * t1) / soil.dy_m - y
    f0 = pz + dz * t0 - height_in_cell(soil, i, j, u0, v0)
    f1 = pz + dz * t1 - height_in_cell(soil, i, j, u1, v1)
    side0, side1 = u0 - v0, u1 - v1
    if side0 * side1 < 0.0:
        t_diagonal = t0 + (t1 - t0) * side0 / (side0 - side1)
        u = (px + dx * t_diagonal) / soil.dx_m - x
        f = pz + dz * t_diagonal - height_in_cell(soil, i, j, u, u)
        hit = crossing(f0, t0, f, t_diagonal)
        if hit >= 0.0:
            return hit
        return crossing(f, t_diagonal, f1, t1)
    return crossing(f0, t0, f1, t1)
