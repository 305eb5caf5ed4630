"""A ray made ready for traversal: clipped to the bounds of the mesh, reciprocals and triangle frame at hand.

Rays come in as float64; the traversal is in float32. A ray that starts outside the bounds is first moved, in
float64, to where it enters them, so that rounding is that of the size of the mesh, however long the ray.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.kernels.jit import inlined_exact_kernel

TINY = 1e-18  # a direction component below counts as this: its reciprocal and products stay finite in float32


class Ray(NamedTuple):
    """A ray in float32.

    Attributes
    ----------
    ox, oy, oz : origin. [m]
    ix, iy, iz : reciprocal direction, finite.
    kx, ky, kz : axes of the frame of the triangle test; along kz the direction is longest.
    px, py, pz : origin in that frame. [m]
    sx, sy, sz : shear that makes the direction the third axis, and the scale of distances along it.
    """

    ox: np.float32
    oy: np.float32
    oz: np.float32
    ix: np.float32
    iy: np.float32
    iz: np.float32
    kx: np.int64
    ky: np.int64
    kz: np.int64
    px: np.float32
    py: np.float32
    pz: np.float32
    sx: np.float32
    sy: np.float32
    sz: np.float32


@inlined_exact_kernel
def finite_reciprocal(x):
    """1/x, finite also for x = 0, with the sign of x."""
    return 1.0 / x if abs(x) > TINY else np.copysign(1.0 / TINY, x)


@inlined_exact_kernel
def clip(limits, ox, oy, oz, ix, iy, iz, t_max):
    """Distances (enter, leave) between which a ray is inside the limits; enter >= leave when nowhere."""
    x0, x1 = (limits[0] - ox) * ix, (limits[3] - ox) * ix
    y0, y1 = (limits[1] - oy) * iy, (limits[4] - oy) * iy
    z0, z1 = (limits[2] - oz) * iz, (limits[5] - oz) * iz
    enter = max(max(min(x0, x1), min(y0, y1)), max(min(z0, z1), 0.0))
    leave = min(min(max(x0, x1), max(y0, y1)), min(max(z0, z1), t_max))
    return enter, leave


@inlined_exact_kernel
def pick(k, x, y, z):
    """Component k of (x, y, z)."""
    return x if k == 0 else (y if k == 1 else z)


@inlined_exact_kernel
def longest_axis(dx, dy, dz):
    """Axis along which a direction is longest."""
    ax, ay, az = abs(dx), abs(dy), abs(dz)
    if ax >= ay and ax >= az:
        return 0
    return 1 if ay >= az else 2


@inlined_exact_kernel
def make_ray(ox, oy, oz, dx, dy, dz, ix, iy, iz):
    """Ray from float64 origin, direction and reciprocal direction."""
    kz = longest_axis(dx, dy, dz)
    kx = kz + 1 if kz < 2 else 0
    ky = kx + 1 if kx < 2 else 0
    scale = pick(kz, ix, iy, iz)
    x, y, z = np.float32(ox), np.float32(oy), np.float32(oz)
    return Ray(
        *(x, y, z),
        *(np.float32(ix), np.float32(iy), np.float32(iz)),
        *(kx, ky, kz),
        *(pick(kx, x, y, z), pick(ky, x, y, z), pick(kz, x, y, z)),
        *(
            np.float32(pick(kx, dx, dy, dz) * scale),
            np.float32(pick(ky, dx, dy, dz) * scale),
            np.float32(scale),
        ),
    )
