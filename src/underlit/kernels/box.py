"""Where a ray leaves or enters an upright box; faces are numbered left, right, front, back, bottom, top."""

from __future__ import annotations

import math

from underlit.kernels.arrays import BACK, BOTTOM, FRONT, LEFT, RIGHT, TOP
from underlit.kernels.jit import inlined_kernel, kernel


@kernel
def wall_ahead(p, d, lo, hi):
    """Distance to the wall that a ray inside lo < p < hi goes towards, along one axis."""
    t = ((hi if d > 0.0 else lo) - p) / (d if d != 0.0 else 1.0)
    return t if d != 0.0 else math.inf


@kernel
def exit_face(px, py, pz, dx, dy, dz, x0, x1, y0, y1, z0, z1):
    """Distance to the wall that a ray inside the box goes towards, and its face."""
    t, face = wall_ahead(px, dx, x0, x1), RIGHT if dx > 0.0 else LEFT
    ty = wall_ahead(py, dy, y0, y1)
    face = (BACK if dy > 0.0 else FRONT) if ty < t else face
    t = min(t, ty)
    tz = wall_ahead(pz, dz, z0, z1)
    face = (TOP if dz > 0.0 else BOTTOM) if tz < t else face
    return max(min(t, tz), 0.0), face


@kernel
def slab(p, d, lo, hi):
    """Distances at which a ray enters and leaves lo < p < hi along one axis."""
    along = d if d != 0.0 else 1.0
    a, b = (lo - p) / along, (hi - p) / along
    near, far = min(a, b), max(a, b)
    if d == 0.0:
        inside = lo < p < hi
        near, far = (-math.inf, math.inf) if inside else (math.inf, -math.inf)
    return near, far


@kernel
def entry_face(px, py, pz, dx, dy, dz, x0, x1, y0, y1, z0, z1):
    """Distance to the box from outside and the face met, or infinity and -1 where the ray goes by."""
    t_in, t_out = slab(px, dx, x0, x1)
    face = LEFT if dx > 0.0 else RIGHT
    a, b = slab(py, dy, y0, y1)
    face = (FRONT if dy > 0.0 else BACK) if a > t_in else face
    t_in, t_out = max(t_in, a), min(t_out, b)
    a, b = slab(pz, dz, z0, z1)
    face = (BOTTOM if dz > 0.0 else TOP) if a > t_in else face
    t_in, t_out = max(t_in, a), min(t_out, b)
    meets = t_in < t_out and t_in >= 0.0
    return t_in if meets else math.inf, face if meets else -1


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
