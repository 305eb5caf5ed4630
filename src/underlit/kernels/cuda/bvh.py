"""Traversal on a card: one binary node holds the boxes of both its children, in four loads of sixteen bytes.

Rays and triangles are tested as in `bvh_scalar`, and with the same margins.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import cuda
from numba.cuda import libdevice

from underlit.kernels.cuda.load import bits, load4
from underlit.kernels.cuda.sizes import LEAVES
from underlit.kernels.jit import kernel

TINY = 1e-18
NOTHING = np.int32(-(2**31))  # no child
_COUNT_BITS = 3  # of a leaf: up to 7 triangles
FOUND = np.int32(2**31 - 1)  # where a ray is that has seen all of the tree
_ALL = 0xFFFFFFFF


class CardBvh(NamedTuple):
    """Tree and triangles.

    Attributes
    ----------
    limits : ndarray, shape (6,), float32
        Low and high corner of all triangles, with a margin. [m]
    node : ndarray, shape (n, 16), float32
        Low and high corner of the first child, then of the second; then, as int32, the first and second child: a
        row of `node`, or for a leaf -1 - (first triangle << 3 | count).
    corner : ndarray, shape (n_tri, 12), float32
        Corners of each triangle, in the order of the leaves, [m]; then, as int32, its index among the faces.
    """

    limits: np.ndarray
    node: np.ndarray
    corner: np.ndarray


def card_layout(bvh) -> CardBvh:
    """A `ScalarBvh` laid out for a card."""
    bounds, link = bvh.bounds, bvh.link
    n_used = 1 + int(np.where(link[:, 1] == 0, link[:, 0] + 1, 0).max(initial=0)) if len(link) else 1
    bounds, link = bounds[:n_used], link[:n_used]
    inner = link[:, 1] == 0
    row = np.cumsum(inner) - 1
    name = np.where(inner, row, -1 - (link[:, 0] << _COUNT_BITS | link[:, 1])).astype(np.int32)
    if inner[0]:
        first = link[inner, 0]
        node = np.zeros((len(first), 16), np.float32)
        node[:, :6], node[:, 6:12] = bounds[first], bounds[first + 1]
        node[:, 12:14] = np.stack([name[first], name[first + 1]], axis=1).view(np.float32)
    else:  # few triangles: one leaf
        node = np.zeros((1, 16), np.float32)
        node[0, :6] = bounds[0]
        node[0, 6:9], node[0, 9:12] = 1e30, -1e30
        node[0, 12:14] = np.array([name[0], NOTHING], np.int32).view(np.float32)
    corner = np.zeros((len(bvh.corner), 12), np.float32)
    corner[:, :9] = bvh.corner
    corner[:, 9] = bvh.face.astype(np.int32).view(np.float32)
    return CardBvh(bvh.limits.astype(np.float32), node, corner)


@kernel
def product(a, b):
    """`a * b`, rounded, never fused into a multiply-add."""
    return libdevice.fmul_rn(a, b)


@kernel
def finite_reciprocal(x):
    """1/x, finite also for x = 0, with the sign of x."""
    return 1.0 / x if abs(x) > TINY else math.copysign(1.0 / TINY, x)


@kernel
def pick(k, x, y, z):
    """Component k of (x, y, z)."""
    return x if k == 0 else (y if k == 1 else z)


@kernel
def longest_axis(dx, dy, dz):
    """Axis along which a direction is longest."""
    ax, ay, az = abs(dx), abs(dy), abs(dz)
    if ax >= ay and ax >= az:
        return 0
    return 1 if ay >= az else 2


@kernel
def entry(x0, y0, z0, x1, y1, z1, sx, sy, sz, ix, iy, iz, t_max):
    """Distance at which a ray enters a box; far when it misses it within `t_max`. `s` is minus origin times `i`."""
    ax, bx = x0 * ix + sx, x1 * ix + sx
    ay, by = y0 * iy + sy, y1 * iy + sy
    az, bz = z0 * iz + sz, z1 * iz + sz
    near = max(max(min(ax, bx), min(ay, by)), max(min(az, bz), 0.0))
    far = min(min(max(ax, bx), max(ay, by)), min(max(az, bz), t_max))
    return near if near <= far else math.inf


@kernel
def triangle(corner, i, kx, ky, kz, ox, oy, oz, sx, sy, sz, t_max):
    """Distance to triangle i, far when it is not hit within (0, t_max), and its face; see `bvh_scalar`."""
    ax, ay, az, bx = load4(corner, i, 0)
    by, bz, cx, cy = load4(corner, i, 1)
    cz, face, _, _ = load4(corner, i, 2)
    ax, ay, az = ax - ox, ay - oy, az - oz
    bx, by, bz = bx - ox, by - oy, bz - oz
    cx, cy, cz = cx - ox, cy - oy, cz - oz
    aw, bw, cw = pick(kz, ax, ay, az), pick(kz, bx, by, bz), pick(kz, cx, cy, cz)
    au = pick(kx, ax, ay, az) - product(sx, aw)
    av = pick(ky, ax, ay, az) - product(sy, aw)
    bu = pick(kx, bx, by, bz) - product(sx, bw)
    bv = pick(ky, bx, by, bz) - product(sy, bw)
    cu = pick(kx, cx, cy, cz) - product(sx, cw)
    cv = pick(ky, cx, cy, cz) - product(sy, cw)
    u = product(cu, bv) - product(cv, bu)
    v = product(au, cv) - product(av, cu)
    w = product(bu, av) - product(bv, au)
    if (u < 0.0 or v < 0.0 or w < 0.0) and (u > 0.0 or v > 0.0 or w > 0.0):
        return math.inf, bits(face)
    total = u + v + w
    if total == 0.0:
        return math.inf, bits(face)
    t = (u * aw + v * bw + w * cw) / total * sz
    return (t if 0.0 < t < t_max else math.inf), bits(face)


@kernel
def comes_near(bvh, ox, oy, oz, dx, dy, dz, t_max):
    """Whether a ray comes to where there are triangles."""
    ix, iy, iz = finite_reciprocal(dx), finite_reciprocal(dy), finite_reciprocal(dz)
    box = bvh.limits
    near = entry(
        box[0], box[1], box[2], box[3], box[4], box[5], -ox * ix, -oy * iy, -oz * iz, ix, iy, iz, t_max
    )
    return near < t_max


@kernel
def pop(stack, n_stack):
    """Where a ray goes on that has seen all below a node."""
    if n_stack == 0:
        return FOUND, n_stack
    n_stack = np.int32(n_stack - 1)
    return stack[n_stack], n_stack


@kernel
def search(
    bvh, searches, least, hit, ox, oy, oz, dx, dy, dz, t_best, event, face, skip, here, n_stack, stack
):
    """Take the rays of a warp through the tree until fewer than `least` of them are under way.

    All threads of the warp must call it.

    Parameters
    ----------
    bvh : CardBvh
    searches : bool
        Whether the thread has a ray under way.
    least : int
    hit : int
        What `event` is for a ray that meets a triangle.
    ox, oy, oz, dx, dy, dz : float
    t_best : float
        Distance to what the ray is known to meet. [m]
    event, face : int
        And what that is.
    skip : int
        Face to pass over, the one just left; -1 for none.
    here, n_stack : int
        Where in the tree the ray is; 0 and 0 to begin with.
    stack : ndarray of int32

    Returns
    -------
    t_best, event, face, here, n_stack
        `here` is `FOUND` once all of the tree has been seen.
    """
    ix, iy, iz = finite_reciprocal(dx), finite_reciprocal(dy), finite_reciprocal(dz)
    ax, ay, az = -ox * ix, -oy * iy, -oz * iz
    kz = longest_axis(dx, dy, dz)
    kx = kz + 1 if kz < 2 else 0
    ky = kx + 1 if kx < 2 else 0
    sz = pick(kz, ix, iy, iz)
    sx, sy = pick(kx, dx, dy, dz) * sz, pick(ky, dx, dy, dz) * sz
    if not searches:
        here = FOUND
    under_way = cuda.popc(cuda.ballot_sync(_ALL, here != FOUND))
    while under_way >= least:
        # Boxes, until most rays have come to triangles.
        few = under_way // LEAVES
        while cuda.popc(cuda.ballot_sync(_ALL, here >= 0 and here != FOUND)) > few:
            if here >= 0 and here != FOUND:
                x0, y0, z0, x1 = load4(bvh.node, here, 0)
                y1, z1, u0, v0 = load4(bvh.node, here, 1)
                w0, u1, v1, w1 = load4(bvh.node, here, 2)
                one, two, _, _ = load4(bvh.node, here, 3)
                near = entry(x0, y0, z0, x1, y1, z1, ax, ay, az, ix, iy, iz, t_best)
                far = entry(u0, v0, w0, u1, v1, w1, ax, ay, az, ix, iy, iz, t_best)
                near_child, far_child = bits(one), bits(two)
                if far < near:
                    near, far, near_child, far_child = far, near, far_child, near_child
                here = near_child
                if near >= 1e29:
                    here, n_stack = pop(stack, n_stack)
                elif far < 1e29:
                    stack[n_stack] = far_child
                    n_stack = np.int32(n_stack + 1)
        if here < 0:
            leaf = np.int32(-1) - here
            first = leaf >> np.int32(_COUNT_BITS)
            for k in range(leaf & np.int32(7)):
                t, its = triangle(bvh.corner, first + np.int32(k), kx, ky, kz, ox, oy, oz, sx, sy, sz, t_best)
                if t < t_best and its != skip:
                    t_best, event, face = t, np.int32(hit), its
            here, n_stack = pop(stack, n_stack)
        under_way = cuda.popc(cuda.ballot_sync(_ALL, here != FOUND))
    return t_best, event, face, here, n_stack
