"""The triangles of a scene, and the two questions asked of them: what does a ray meet first, is it blocked.

There are two layouts, with the same answers. `wide` is for CPUs and the fastest; `scalar` is its reference, and what
runs where there are no vectors; `fine` is the latter with fewer triangles to a leaf, for cards. The type of the BVH
says which is meant, so a kernel is compiled for one.
"""

from __future__ import annotations

import os

import numba
import numpy as np
from numba.extending import overload

from underlit.kernels import bvh_scalar, bvh_wide
from underlit.kernels.bvh_build import MAX_DEPTH, build_tree
from underlit.kernels.bvh_ray import clip, finite_reciprocal, make_ray
from underlit.kernels.bvh_scalar import ScalarBvh, scalar_layout, walk_scalar
from underlit.kernels.bvh_wide import WideBvh, walk_wide, wide_layout
from underlit.kernels.jit import OF_OVERLOAD, exact_kernel, inlined_exact_kernel

Bvh = ScalarBvh | WideBvh
LAYOUTS = {
    "scalar": (scalar_layout, bvh_scalar.LEAF_SIZE),
    "fine": (scalar_layout, bvh_scalar.FINE_LEAF_SIZE),
    "wide": (wide_layout, bvh_wide.LEAF_SIZE),
}

# Both margins are shares of the largest coordinate. Boxes are padded by more than the rounding of a box and a
# triangle test, about ten units of 2**-24; the bounds by so much more that a ray moved to them starts well
# before any triangle.
BOX_MARGIN = 2.0**-19
BOUNDS_MARGIN = 2.0**-10
OUT_OF_REACH = np.full(6, np.inf)  # limits of a mesh without triangles: every ray is turned away at once


def build_bvh(vertices, faces, layout=None):
    """Build the BVH of a mesh, or of no triangle at all.

    Parameters
    ----------
    vertices : array_like, shape (n_vertex, 3)
        [m]
    faces : array_like of int, shape (n_tri, 3)
        Corners of each triangle, as indices of vertices.
    layout : {"wide", "scalar", "fine"}, optional
        By default what the environment variable UNDERLIT_BVH says, else "wide", or "scalar" where numba
        does not compile.

    Returns
    -------
    Bvh

    Raises
    ------
    ValueError
        A corner is not a finite number, a face names a vertex that is not there, or there is no such layout.
    """
    make_layout, leaf_size = _layout(layout)
    vertices = np.ascontiguousarray(vertices, np.float32).reshape(-1, 3)
    faces = np.ascontiguousarray(faces, np.int32).reshape(-1, 3)
    if faces.size and (faces.min() < 0 or faces.max() >= len(vertices)):
        raise ValueError("a face names a vertex that is not there")
    if not np.isfinite(vertices).all():
        raise ValueError("a vertex is not a finite number")
    corner = vertices[faces] if len(faces) else np.zeros((1, 3, 3), np.float32)
    tree = build_tree(corner, leaf_size)
    scale = np.abs(tree.bounds[0]).max()
    limits = _widened(tree.bounds[0].astype(np.float64), BOUNDS_MARGIN * scale)
    tree = tree._replace(bounds=_widened(tree.bounds, np.float32(BOX_MARGIN * scale)))
    return make_layout(limits if len(faces) else OUT_OF_REACH, tree, corner)


def _layout(name):
    name = name or os.environ.get("UNDERLIT_BVH") or ("scalar" if numba.config.DISABLE_JIT else "wide")
    if name not in LAYOUTS:
        raise ValueError(f"no BVH layout {name!r}: expected 'wide', 'scalar' or 'fine'")
    return LAYOUTS[name]


def _widened(bounds, margin):
    return np.concatenate([bounds[..., :3] - margin, bounds[..., 3:] + margin], axis=-1)


def new_stack():
    """Scratch for the traversal: one per thread, used again for every ray."""
    return np.empty(8 * (MAX_DEPTH + 2), np.int64)


def _walk(bvh, ray, t_max, skip, any_will_do, stack):
    return walk_scalar(bvh, ray, t_max, skip, any_will_do, stack)


@overload(_walk, jit_options=OF_OVERLOAD)
def _walk_for_layout(bvh, ray, t_max, skip, any_will_do, stack):
    walk = walk_wide if bvh.instance_class is WideBvh else walk_scalar
    return lambda bvh, ray, t_max, skip, any_will_do, stack: walk(bvh, ray, t_max, skip, any_will_do, stack)


@inlined_exact_kernel
def _first_hit(bvh, ox, oy, oz, dx, dy, dz, t_max, skip, any_will_do, stack):
    ix, iy, iz = finite_reciprocal(dx), finite_reciprocal(dy), finite_reciprocal(dz)
    enter, leave = clip(bvh.limits, ox, oy, oz, ix, iy, iz, t_max)
    if enter >= leave:
        return t_max, -1
    ray = make_ray(ox + enter * dx, oy + enter * dy, oz + enter * dz, dx, dy, dz, ix, iy, iz)
    t, i_face = _walk(bvh, ray, np.float32(leave - enter), skip, any_will_do, stack)
    return (enter + t if i_face >= 0 else t_max), i_face


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
    return _first_hit(bvh, ox, oy, oz, dx, dy, dz, t_max, skip, False, stack)


@exact_kernel
def any_hit(bvh, ox, oy, oz, dx, dy, dz, t_max, skip, stack):
    """Whether any triangle but `skip` lies along a ray within `t_max`; arguments as in `closest_hit`."""
    return _first_hit(bvh, ox, oy, oz, dx, dy, dz, t_max, skip, True, stack)[1] >= 0
