"""Where a ray leaves or enters an upright box; faces are numbered left, right, front, back, bottom, top."""

from __future__ import annotations

import math

from underlit.kernels.arrays import BACK, BOTTOM, FRONT, LEFT, RIGHT, TOP
from underlit.kernels.jit import inlined_kernel, kernel


@kernel
def exit_face(px, py, pz, dx, dy, dz, x0, x1, y0, y1, z0, z1):
    """Distance to the wall that a ray inside the box goes towards, and its face."""
    t, face = math.inf, TOP
    if dx != 0.0:
        t, face = ((x1 - px) / dx, RIGHT) if dx > 0.0 else ((x0 - px) / dx, LEFT)
    if dy != 0.0:
        ty, face_y = ((y1 - py) / dy, BACK) if dy > 0.0 else ((y0 - py) / dy, FRONT)
        if ty < t:
            t, face = ty, face_y
    if dz != 0.0:
        tz, face_z = ((z1 - pz) / dz, TOP) if dz > 0.0 else ((z0 - pz) / dz, BOTTOM)
        if tz < t:
            t, face = tz, face_z
    return max(t, 0.0), face


@kernel
def slab(p, d, lo, hi):
    """Distances at which a ray enters and leaves lo < p < hi along one axis."""
    if d > 0.0:
        return (lo - p) / d, (hi - p) / d
    if d < 0.0:
        return (hi - p) / d, (lo - p) / d
    if lo < p < hi:
        return -math.inf, math.inf
    return math.inf, -math.inf


@kernel
def entry_face(px, py, pz, dx, dy, dz, x0, x1, y0, y1, z0, z1):
    """Distance to the box from outside and the face met, or infinity and -1 where the ray goes by."""
    t_in, t_out = slab(px, dx, x0, x1)
    face = LEFT if dx > 0.0 else RIGHT
    a, b = slab(py, dy, y0, y1)
    if a > t_in:
        t_in, face = a, FRONT if dy > 0.0 else BACK
    t_out = min(t_out, b)
    a, b = slab(pz, dz, z0, z1)
    if a > t_in:
        t_in, face = a, BOTTOM if dz > 0.0 else TOP
    t_out = min(t_out, b)
    if t_in < t_out and t_in >= 0.0:
        return t_in, face
    return math.inf, -1


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
