"""Traversal of the binary tree, one box and one triangle at a time: the reference, and what any target runs.

A triangle is tested in the ray's own sheared frame, where the ray is the z axis and the test is the sign
of three edge functions. The sign of a difference of two rounded products is right or zero, as rounding
keeps order, and both triangles at an edge see the same two products. So no ray slips between triangles
that share an edge or a vertex, provided that nothing is fused into multiply-add.

References
----------
S. Woop, C. Benthin, I. Wald, "Watertight ray/triangle intersection", Journal of Computer Graphics Techniques
2(1), 2013.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.kernels.bvh_ray import frame_of
from underlit.kernels.jit import inlined_exact_kernel

LEAF_SIZE, FINE_LEAF_SIZE = 4, 2
ZERO, INFINITE = np.float32(0.0), np.float32(np.inf)


class ScalarBvh(NamedTuple):
    """Binary tree and triangles.

    Attributes
    ----------
    limits : ndarray, shape (6,), float64
        Low and high corner of all triangles, with a margin. [m]
    bounds, link : ndarray
        As in `bvh_build.Tree`, boxes padded.
    corner : ndarray, shape (n_tri, 9), float32
        The three corners of each triangle, in the order of the leaves. [m]
    face : ndarray, shape (n_tri,), int32
        Its index among the faces given.
    """

    limits: np.ndarray
    bounds: np.ndarray
    link: np.ndarray
    corner: np.ndarray
    face: np.ndarray


def scalar_layout(limits, tree, corner):
    """Layout of a tree and its triangles; `corner` (n_tri, 3, 3) is in the order of the faces."""
    return ScalarBvh(limits, tree.bounds, tree.link, corner[tree.order].reshape(-1, 9), tree.order)


@inlined_exact_kernel
def box_entry(ray, bounds, node, t_max):
    """Distance at which the ray enters the box of a node; infinite when it misses it within `t_max`."""
    x, y, z = 3 * (ray.ix < ZERO), 1 + 3 * (ray.iy < ZERO), 2 + 3 * (ray.iz < ZERO)  # the sides met first
    x0, x1 = (bounds[node, x] - ray.ox) * ray.ix, (bounds[node, 3 - x] - ray.ox) * ray.ix
    y0, y1 = (bounds[node, y] - ray.oy) * ray.iy, (bounds[node, 5 - y] - ray.oy) * ray.iy
    z0, z1 = (bounds[node, z] - ray.oz) * ray.iz, (bounds[node, 7 - z] - ray.oz) * ray.iz
    near, far = max(max(x0, y0), max(z0, ZERO)), min(min(x1, y1), min(z1, t_max))
    return near if near <= far else INFINITE


@inlined_exact_kernel
def triangle_hit(frame, corner, i, t_max):
    """Distance to triangle i; infinite when it is not hit within (0, t_max). Both sides count."""
    az, bz, cz = (
        corner[i, frame.kz] - frame.pz,
        corner[i, 3 + frame.kz] - frame.pz,
        corner[i, 6 + frame.kz] - frame.pz,
    )
    ax, ay = corner[i, frame.kx] - frame.px - frame.sx * az, corner[i, frame.ky] - frame.py - frame.sy * az
    bx, by = (
        corner[i, 3 + frame.kx] - frame.px - frame.sx * bz,
        corner[i, 3 + frame.ky] - frame.py - frame.sy * bz,
    )
    cx, cy = (
        corner[i, 6 + frame.kx] - frame.px - frame.sx * cz,
        corner[i, 6 + frame.ky] - frame.py - frame.sy * cz,
    )
    u, v, w = cx * by - cy * bx, ax * cy - ay * cx, bx * ay - by * ax
    if (u < ZERO or v < ZERO or w < ZERO) and (u > ZERO or v > ZERO or w > ZERO):
        return INFINITE
    det = u + v + w
    if det == ZERO:
        return INFINITE
    t = (u * az + v * bz + w * cz) / det * frame.sz
    return t if ZERO < t < t_max else INFINITE


@inlined_exact_kernel
def walk_scalar(bvh, ray, t_max, skip, any_will_do, stack):
    """Distance and face of the nearest hit, or of any; `t_max` and -1 when there is none."""
    t_best, i_best, frame = t_max, -1, frame_of(ray)
    stack[0] = 0
    n_stack = 1
    while n_stack > 0:
        n_stack -= 1
        first, count = bvh.link[stack[n_stack], 0], bvh.link[stack[n_stack], 1]
        if count > 0:
            t_best, i_best = _leaf_hit(bvh, frame, first, count, t_best, i_best, skip)
            if any_will_do and i_best >= 0:
                break
        else:
            n_stack = _push_children(bvh, ray, first, t_best, stack, n_stack)
    return t_best, i_best


@inlined_exact_kernel
def _leaf_hit(bvh, frame, first, count, t_best, i_best, skip):
    for i in range(first, first + count):
        t = triangle_hit(frame, bvh.corner, i, t_best)
        if t < t_best and bvh.face[i] != skip:
            t_best, i_best = t, np.int64(bvh.face[i])
    return t_best, i_best


@inlined_exact_kernel
def _push_children(bvh, ray, first, t_best, stack, n_stack):
    """Put the children that the ray enters on the stack, the nearer on top."""
    near_node, far_node = first, first + 1
    near, far = box_entry(ray, bvh.bounds, near_node, t_best), box_entry(ray, bvh.bounds, far_node, t_best)
    if far < near:
        near, far, near_node, far_node = far, near, far_node, near_node
    if far < INFINITE:
        stack[n_stack] = far_node
        n_stack += 1
    if near < INFINITE:
        stack[n_stack] = near_node
        n_stack += 1
    return n_stack
