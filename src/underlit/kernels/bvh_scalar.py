"""Traversal of the binary tree, one box and one triangle at a time: the reference, and what any target runs.

A triangle is tested in the ray's own sheared frame, where the ray is the z axis and the test is the sign of
three edge functions. The sign of a difference of two rounded products is right or zero, as rounding keeps order,
and both triangles at an edge see the same two products. So no ray slips between triangles that share an edge or
a vertex, provided that nothing is fused into multiply-add.

References
----------
S. Woop, C. Benthin, I. Wald, "Watertight ray/triangle intersection", Journal of Computer Graphics Techniques
2(1), 2013.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.kernels.jit import exact_kernel

ZERO = np.float32(0.0)
ONE = np.float32(1.0)
TINY = np.float32(1e-18)  # stands for a direction component of zero: its reciprocal and products stay finite


class Ray(NamedTuple):
    """A ray in float32: origin, reciprocal direction, and the sheared frame of the triangle test."""

    ox: np.float32
    oy: np.float32
    oz: np.float32
    ix: np.float32
    iy: np.float32
    iz: np.float32
    kx: np.int64
    ky: np.int64
    kz: np.int64
    sx: np.float32
    sy: np.float32
    sz: np.float32


@exact_kernel
def reciprocal(x):
    """1/x in float32, finite also for x = 0."""
    x = np.float32(x)
    if abs(x) < TINY:
        x = np.float32(np.copysign(TINY, x))
    return ONE / x


@exact_kernel
def pick(k, x, y, z):
    """Component k of (x, y, z)."""
    return x if k == 0 else (y if k == 1 else z)


@exact_kernel
def longest_axis(dx, dy, dz):
    """Axis along which the direction is longest."""
    ax, ay, az = abs(dx), abs(dy), abs(dz)
    if ax >= ay and ax >= az:
        return 0
    return 1 if ay >= az else 2


@exact_kernel
def make_ray(ox, oy, oz, dx, dy, dz):
    """Ray from its float64 origin and direction."""
    kz = longest_axis(dx, dy, dz)
    kx = kz + 1 if kz < 2 else 0
    ky = kx + 1 if kx < 2 else 0
    inverse = 1.0 / pick(kz, dx, dy, dz)
    return Ray(
        np.float32(ox),
        np.float32(oy),
        np.float32(oz),
        reciprocal(dx),
        reciprocal(dy),
        reciprocal(dz),
        kx,
        ky,
        kz,
        np.float32(pick(kx, dx, dy, dz) * inverse),
        np.float32(pick(ky, dx, dy, dz) * inverse),
        np.float32(inverse),
    )


@exact_kernel
def box_entry(ray, bounds, node, t_max):
    """Distance at which the ray enters the box of a node; infinite when it misses it within `t_max`."""
    x0, x1 = (bounds[node, 0] - ray.ox) * ray.ix, (bounds[node, 3] - ray.ox) * ray.ix
    y0, y1 = (bounds[node, 1] - ray.oy) * ray.iy, (bounds[node, 4] - ray.oy) * ray.iy
    z0, z1 = (bounds[node, 2] - ray.oz) * ray.iz, (bounds[node, 5] - ray.oz) * ray.iz
    near = max(max(min(x0, x1), min(y0, y1)), max(min(z0, z1), ZERO))
    far = min(min(max(x0, x1), max(y0, y1)), min(max(z0, z1), t_max))
    return near if near <= far else np.float32(np.inf)


@exact_kernel
def triangle_hit(ray, tri, i, t_max):
    """Distance to triangle i; infinite when it is not hit within (0, t_max). Both sides count."""
    o_x, o_y = pick(ray.kx, ray.ox, ray.oy, ray.oz), pick(ray.ky, ray.ox, ray.oy, ray.oz)
    o_z = pick(ray.kz, ray.ox, ray.oy, ray.oz)
    az, bz, cz = tri[i, ray.kz] - o_z, tri[i, 3 + ray.kz] - o_z, tri[i, 6 + ray.kz] - o_z
    ax, ay = tri[i, ray.kx] - o_x - ray.sx * az, tri[i, ray.ky] - o_y - ray.sy * az
    bx, by = tri[i, 3 + ray.kx] - o_x - ray.sx * bz, tri[i, 3 + ray.ky] - o_y - ray.sy * bz
    cx, cy = tri[i, 6 + ray.kx] - o_x - ray.sx * cz, tri[i, 6 + ray.ky] - o_y - ray.sy * cz
    u, v, w = cx * by - cy * bx, ax * cy - ay * cx, bx * ay - by * ax
    if (u < ZERO or v < ZERO or w < ZERO) and (u > ZERO or v > ZERO or w > ZERO):
        return np.float32(np.inf)
    det = u + v + w
    if det == ZERO:
        return np.float32(np.inf)
    t = (u * az + v * bz + w * cz) / det * ray.sz
    return t if ZERO < t < t_max else np.float32(np.inf)


@exact_kernel
def closest_hit_scalar(bvh, ray, t_max, skip, stack):
    """Nearest triangle along a ray: distance and face, or `t_max` and -1."""
    t_best, i_best = t_max, -1
    if box_entry(ray, bvh.bounds, 0, t_max) > t_max:
        return t_best, i_best
    stack[0] = 0
    n_stack = 1
    while n_stack > 0:
        n_stack -= 1
        node = stack[n_stack]
        first, count = bvh.link[node, 0], bvh.link[node, 1]
        if count > 0:
            for i in range(first, first + count):
                t = triangle_hit(ray, bvh.tri, i, t_best)
                if t < t_best and bvh.face[i] != skip:
                    t_best, i_best = t, bvh.face[i]
            continue
        near = box_entry(ray, bvh.bounds, first, t_best)
        far = box_entry(ray, bvh.bounds, first + 1, t_best)
        near_node, far_node = first, first + 1
        if far < near:
            near, far, near_node, far_node = far, near, far_node, near_node
        if far < np.inf:
            stack[n_stack] = far_node
            n_stack += 1
        if near < np.inf:
            stack[n_stack] = near_node
            n_stack += 1
    return t_best, i_best


@exact_kernel
def any_hit_scalar(bvh, ray, t_max, skip, stack):
    """Whether anything lies along a ray within `t_max`."""
    stack[0] = 0
    n_stack = 1
    while n_stack > 0:
        n_stack -= 1
        node = stack[n_stack]
        if box_entry(ray, bvh.bounds, node, t_max) > t_max:
            continue
        first, count = bvh.link[node, 0], bvh.link[node, 1]
        if count == 0:
            stack[n_stack], stack[n_stack + 1] = first + 1, first
            n_stack += 2
        for i in range(first, first + count):
            if triangle_hit(ray, bvh.tri, i, t_max) < t_max and bvh.face[i] != skip:
                return True
    return False
