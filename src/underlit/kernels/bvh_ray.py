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
    """A ray.

    Attributes
    ----------
    ox, oy, oz : float32
        Origin. [m]
    ix, iy, iz : float32
        Reciprocal direction, finite.
    dx, dy, dz, over_x, over_y, over_z : float64
        Direction and its reciprocal.
    """

    ox: np.float32
    oy: np.float32
    oz: np.float32
    ix: np.float32
    iy: np.float32
    iz: np.float32
    dx: np.float64
    dy: np.float64
    dz: np.float64
    over_x: np.float64
    over_y: np.float64
    over_z: np.float64


class Frame(NamedTuple):
    """The frame in which triangles are tested; many rays never come to one.

    Attributes
    ----------
    kx, ky, kz : int
        Axes; along kz the direction is longest.
    px, py, pz : float32
        Origin of the ray. [m]
    sx, sy, sz : float32
        Shear that makes the direction the third axis, and the scale of distances along it.
    """

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
    return Ray(
        *(np.float32(ox), np.float32(oy), np.float32(oz)),
        *(np.float32(ix), np.float32(iy), np.float32(iz)),
        *(dx, dy, dz),
        *(ix, iy, iz),
    )


@inlined_exact_kernel
def frame_of(ray):
    """The frame of the triangle test."""
    kz = longest_axis(ray.dx, ray.dy, ray.dz)
    kx = kz + 1 if kz < 2 else 0
    ky = kx + 1 if kx < 2 else 0
    scale = pick(kz, ray.over_x, ray.over_y, ray.over_z)
    return Frame(
        *(kx, ky, kz),
        *(
            pick(kx, ray.ox, ray.oy, ray.oz),
            pick(ky, ray.ox, ray.oy, ray.oz),
            pick(kz, ray.ox, ray.oy, ray.oz),
        ),
        *(
            np.float32(pick(kx, ray.dx, ray.dy, ray.dz) * scale),
            np.float32(pick(ky, ray.dx, ray.dy, ray.dz) * scale),
            np.float32(scale),
        ),
    )


@inlined_exact_kernel
def no_frame():
    """What stands for a frame before there is one."""
    zero = np.float32(0.0)
    return Frame(0, 0, 0, zero, zero, zero, zero, zero, zero)
