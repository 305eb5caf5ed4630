"""The triangles of a scene, and the two questions asked of them: what does a ray meet first, is it blocked.

Rays come in as float64; inside all is float32. A ray that starts outside the bounds is first moved, in float64,
to where it enters them, so the float32 error is that of the size of the mesh and not of the length of the ray.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.kernels.bvh_build import MAX_DEPTH, build_tree, triangle_bounds
from underlit.kernels.bvh_scalar import any_hit_scalar, closest_hit_scalar, make_ray
from underlit.kernels.jit import exact_kernel

# Both margins are shares of the largest coordinate. Boxes are padded by more than the rounding of a slab test,
# a few units of 2**-24; the bounds by so much more that a ray moved to them starts well before any triangle.
BOX_MARGIN = 2.0**-20
BOUNDS_MARGIN = 2.0**-10


class Bvh(NamedTuple):
    """Triangles and the tree over them, for `closest_hit` and `any_hit`.

    Attributes
    ----------
    limits : ndarray, shape (6,), float64
        Low and high corner of all triangles, with a margin. [m]
    bounds, link : ndarray
        As in `bvh_build.Tree`, boxes padded.
    tri : ndarray, shape (n_tri, 9), float32
        The three corners of each triangle, in the order of the leaves. [m]
    face : ndarray, shape (n_tri,), int32
        Its index among the faces given.
    """

    limits: np.ndarray
    bounds: np.ndarray
    link: np.ndarray
    tri: np.ndarray
    face: np.ndarray


def build_bvh(vertices, faces):
    """Build the BVH of a mesh, or of no triangle at all.

    Parameters
    ----------
    vertices : array_like, shape (n_vertex, 3)
        [m]
    faces : array_like of int, shape (n_tri, 3)
        Corners of each triangle, as indices of vertices.

    Returns
    -------
    Bvh

    Raises
    ------
    ValueError
        A corner is not a finite number, or a face names a vertex that is not there.
    """
    vertices = np.ascontiguousarray(vertices, np.float32).reshape(-1, 3)
    faces = np.ascontiguousarray(faces, np.int32).reshape(-1, 3)
    if faces.size == 0:
        return _empty_bvh()
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise ValueError("a face names a vertex that is not there")
    if not np.isfinite(vertices).all():
        raise ValueError("a vertex is not a finite number")
    tree = build_tree(triangle_bounds(vertices, faces))
    scale = np.abs(tree.bounds[0]).max()
    return Bvh(
        limits=_widened(tree.bounds[0].astype(np.float64), BOUNDS_MARGIN * scale),
        bounds=_widened(tree.bounds, np.float32(BOX_MARGIN * scale)),
        link=tree.link,
        tri=vertices[faces[tree.order]].reshape(-1, 9),
        face=tree.order,
    )


def _empty_bvh():
    """No triangle: limits that no ray enters."""
    limits = np.array([np.inf, np.inf, np.inf, -np.inf, -np.inf, -np.inf])
    return Bvh(
        limits,
        np.zeros((0, 6), np.float32),
        np.zeros((0, 2), np.int32),
        np.zeros((0, 9), np.float32),
        np.zeros(0, np.int32),
    )


def _widened(bounds, margin):
    return np.concatenate([bounds[..., :3] - margin, bounds[..., 3:] + margin], axis=-1)


def new_stack():
    """Scratch for the traversal: one per thread, used again for every ray."""
    return np.empty(8 * (MAX_DEPTH + 1), np.int64)


@exact_kernel
def clip_to_limits(limits, ox, oy, oz, dx, dy, dz, t_max):
    """Part of a ray inside the limits, as distances (enter, leave); enter > leave when there is none."""
    enter, leave = 0.0, t_max
    if limits[0] > limits[3]:
        return np.inf, 0.0
    for low, high, o, d in (
        (limits[0], limits[3], ox, dx),
        (limits[1], limits[4], oy, dy),
        (limits[2], limits[5], oz, dz),
    ):
        if d == 0.0:
            if o < low or o > high:
                return np.inf, 0.0
            continue
        t0, t1 = (low - o) / d, (high - o) / d
        enter, leave = max(enter, min(t0, t1)), min(leave, max(t0, t1))
    return enter, leave


@exact_kernel
def closest_hit(bvh, ox, oy, oz, dx, dy, dz, t_max, skip, stack):
    """First triangle that a ray meets, from either side.

    Parameters
    ----------
    bvh : Bvh
    ox, oy, oz, dx, dy, dz : float
        Origin and direction. [m]
    t_max : float
        Triangles further than this are not looked at; may be infinite. [length of the direction]
    skip : int
        Face to pass over, the one just left; -1 for none.
    stack : ndarray
        From `new_stack`.

    Returns
    -------
    t : float
        Distance, over 0 and under `t_max`; `t_max` when nothing is met. [length of the direction]
    i_face : int
        Index of the face as given to `build_bvh`; -1 when nothing is met.
    """
    enter, leave = clip_to_limits(bvh.limits, ox, oy, oz, dx, dy, dz, t_max)
    if enter > leave:
        return t_max, -1
    ray = make_ray(ox + enter * dx, oy + enter * dy, oz + enter * dz, dx, dy, dz)
    t, i_face = closest_hit_scalar(bvh, ray, np.float32(leave - enter), skip, stack)
    if i_face < 0:
        return t_max, -1
    return enter + t, np.int64(i_face)


@exact_kernel
def any_hit(bvh, ox, oy, oz, dx, dy, dz, t_max, skip, stack):
    """Whether any triangle but `skip` lies along a ray within `t_max`; arguments as in `closest_hit`."""
    enter, leave = clip_to_limits(bvh.limits, ox, oy, oz, dx, dy, dz, t_max)
    if enter > leave:
        return False
    ray = make_ray(ox + enter * dx, oy + enter * dy, oz + enter * dz, dx, dy, dz)
    return any_hit_scalar(bvh, ray, np.float32(leave - enter), skip, stack)
