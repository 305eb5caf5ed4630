"""Traversal of the tree with eight children a node: eight boxes, then eight triangles, in one go.

Node
    256 bytes: low x, high x, low y, high y, low z, high z of the eight children (48 float32), then a word for
    each: the row of its node, or ~block when it is a leaf.
Block
    Up to eight triangles: their nine coordinates (72 float32), then their faces (8 int32, -1 where none).
Stack
    A child still to visit: the bits of its entry distance, with its place in the node in the lowest
    three, then the row of the node. As the distance is not negative, entries compare as distances do.

The triangle test is that of `bvh_scalar`; boxes are tested as low / d - o / d, whose rounding the
padding covers.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.kernels.bvh_collapse import WIDTH, collapse
from underlit.kernels.bvh_ray import frame_of, no_frame
from underlit.kernels.jit import inlined_exact_kernel
from underlit.kernels.likely import rarely
from underlit.kernels.simd import (
    bits_from_float,
    bits_of,
    count_bits,
    float_from_bits,
    fma,
    lane_max,
    lane_min,
    lane_numbers,
    largest,
    load_float32x8,
    load_int32,
    load_int32x8,
    load_int64,
    lowest_bit,
    mask_bits,
    select,
    smallest,
    sort_descending,
    splat_float32x8,
    splat_int32x8,
    store_int64,
    store_pairs,
)

LEAF_SIZE = WIDTH
ALIGNMENT = 256  # bytes: a node fills four whole cache lines
NODE, WORDS = 64, 48  # float32 in a node, and before its words
BLOCK, FACES = 80, 72  # float32 in a block, and before its faces
ZERO = np.float32(0.0)
INFINITY_BITS = np.int32(np.float32(np.inf).view(np.int32))
BELOW_ALL = np.int32(-(2**31))


class WideBvh(NamedTuple):
    """Tree with eight children a node, and triangles in blocks.

    Attributes
    ----------
    limits : ndarray, shape (6,), float64
        Low and high corner of all triangles, with a margin. [m]
    nodes : ndarray, shape (n_node, 64), float32
    blocks : ndarray, shape (n_leaf, 80), float32
    """

    limits: np.ndarray
    nodes: np.ndarray
    blocks: np.ndarray


class Lanes(NamedTuple):
    """A `Ray` in all lanes: what depends on the direction is ready for `fma`, `near_x` tells the side met first."""

    ix: object
    iy: object
    iz: object
    shift_x: object
    shift_y: object
    shift_z: object
    near_x: int
    near_y: int
    near_z: int


def wide_layout(limits, tree, corner):
    """Layout of a tree and its triangles; `corner` (n_tri, 3, 3) is in the order of the faces."""
    child, row = collapse(tree)
    is_leaf = (child >= 0) & (row < 0)
    words = row.copy()
    words[is_leaf] = ~np.arange(is_leaf.sum(), dtype=np.int32)
    nodes = _aligned(len(child), NODE)
    bounds = np.where(child[..., None] >= 0, tree.bounds[child], np.float32([np.inf] * 3 + [-np.inf] * 3))
    nodes[:, :WORDS] = bounds.reshape(-1, WIDTH, 2, 3).transpose(0, 3, 2, 1).reshape(-1, WORDS)
    nodes[:, WORDS : WORDS + WIDTH] = words.view(np.float32)
    return WideBvh(limits, nodes, _blocks(tree, tree.link[child[is_leaf]], corner))


def _blocks(tree, link, corner):
    """One block for each leaf, `link` being first place and count."""
    place = link[:, :1] + np.arange(LEAF_SIZE)
    is_used = np.arange(LEAF_SIZE) < link[:, 1:]
    face = np.where(is_used, tree.order[np.minimum(place, len(tree.order) - 1)], np.int32(-1))
    coordinates = np.where(is_used[..., None], corner.reshape(-1, 9)[face], np.float32(0.0))
    blocks = _aligned(len(link), BLOCK)
    blocks[:, :FACES] = coordinates.transpose(0, 2, 1).reshape(-1, FACES)
    blocks[:, FACES:] = face.view(np.float32)
    return blocks


def _aligned(n_row, n_column):
    n_byte = 4 * n_row * n_column
    memory = np.zeros(n_byte + ALIGNMENT, np.uint8)
    start = -memory.ctypes.data % ALIGNMENT
    return memory[start : start + n_byte].view(np.float32).reshape(n_row, n_column)


@inlined_exact_kernel
def walk_wide(bvh, ray, t_max, skip, any_will_do, stack):
    """Distance and face of the nearest hit, or of any; `t_max` and -1 when there is none."""
    lanes = _in_lanes(ray)
    t_best, i_best = t_max, -1
    word, n_stack, frame, is_framed = 0, 0, no_frame(), False
    while True:
        if word >= 0:
            near, is_entered = _enter_children(bvh.nodes, word * NODE, lanes, t_best)
            entered = mask_bits(is_entered)
            if entered != 0:
                keys = _keys(near)
                nearest = smallest(select(is_entered, keys, splat_int32x8(INFINITY_BITS)))
                others = entered & (entered - 1)
                if rarely(others & (others - 1) != 0):
                    pending = sort_descending(select(is_entered, keys, splat_int32x8(BELOW_ALL)))
                    store_pairs(stack, n_stack, pending, word)
                    n_stack += count_bits(entered) - 1
                else:  # one or two, as often as not: no branch tells them apart
                    furthest = largest(select(is_entered, keys, splat_int32x8(BELOW_ALL)))
                    store_int64(stack, n_stack, np.int64(furthest) << 32 | word)
                    n_stack += others != 0
                word = _word(bvh.nodes, word, nearest)
                continue
        else:
            if not is_framed:
                frame, is_framed = frame_of(ray), True
            t, is_hit = _meet_triangles(bvh.blocks, ~word * BLOCK, frame, t_best, skip)
            if mask_bits(is_hit) != 0:
                t_bits = smallest(bits_of(select(is_hit, t, splat_float32x8(t_best))))
                lane = lowest_bit(mask_bits(is_hit & (bits_of(t) == splat_int32x8(t_bits))))
                t_best = float_from_bits(t_bits)
                i_best = np.int64(load_int32(bvh.blocks, ~word * BLOCK + FACES + lane))
                if any_will_do:
                    return t_best, i_best
        last = np.int64(bits_from_float(t_best)) | (WIDTH - 1)
        while n_stack > 0 and load_int64(stack, n_stack - 1) >> 32 > last:
            n_stack -= 1
        if n_stack == 0:
            return t_best, i_best
        n_stack -= 1
        top = load_int64(stack, n_stack)
        word = _word(bvh.nodes, top & 0xFFFFFFFF, top >> 32)


@inlined_exact_kernel
def _in_lanes(ray):
    return Lanes(
        *(splat_float32x8(ray.ix), splat_float32x8(ray.iy), splat_float32x8(ray.iz)),
        splat_float32x8(-ray.ox * ray.ix),
        splat_float32x8(-ray.oy * ray.iy),
        splat_float32x8(-ray.oz * ray.iz),
        *(WIDTH * (ray.ix < ZERO), WIDTH * (ray.iy < ZERO), WIDTH * (ray.iz < ZERO)),
    )


@inlined_exact_kernel
def _enter_children(nodes, at, lanes, t_max):
    """Entry distances of the eight children, and which of them the ray enters within `t_max`."""
    x0 = fma(load_float32x8(nodes, at + lanes.near_x), lanes.ix, lanes.shift_x)
    y0 = fma(load_float32x8(nodes, at + 16 + lanes.near_y), lanes.iy, lanes.shift_y)
    z0 = fma(load_float32x8(nodes, at + 32 + lanes.near_z), lanes.iz, lanes.shift_z)
    x1 = fma(load_float32x8(nodes, at + 8 - lanes.near_x), lanes.ix, lanes.shift_x)
    y1 = fma(load_float32x8(nodes, at + 24 - lanes.near_y), lanes.iy, lanes.shift_y)
    z1 = fma(load_float32x8(nodes, at + 40 - lanes.near_z), lanes.iz, lanes.shift_z)
    near = lane_max(lane_max(x0, y0), lane_max(z0, splat_float32x8(ZERO)))
    far = lane_min(lane_min(x1, y1), lane_min(z1, splat_float32x8(t_max)))
    return near, near <= far


@inlined_exact_kernel
def _keys(near):
    """Entry distances as integers, with the lane in the lowest three bits."""
    return (bits_of(near) & splat_int32x8(np.int32(-WIDTH))) | lane_numbers()


@inlined_exact_kernel
def _word(nodes, row, key):
    return np.int64(load_int32(nodes, row * NODE + WORDS + (key & (WIDTH - 1))))


@inlined_exact_kernel
def _meet_triangles(blocks, at, frame, t_max, skip):
    """Distances to the triangles of a block, and which of them are hit within (0, t_max)."""
    x, y, z = at + WIDTH * frame.kx, at + WIDTH * frame.ky, at + WIDTH * frame.kz
    px, py, pz = splat_float32x8(frame.px), splat_float32x8(frame.py), splat_float32x8(frame.pz)
    sx, sy, sz = splat_float32x8(-frame.sx), splat_float32x8(-frame.sy), splat_float32x8(frame.sz)
    az = load_float32x8(blocks, z) - pz
    bz = load_float32x8(blocks, z + 24) - pz
    cz = load_float32x8(blocks, z + 48) - pz
    ax = fma(sx, az, load_float32x8(blocks, x) - px)
    bx = fma(sx, bz, load_float32x8(blocks, x + 24) - px)
    cx = fma(sx, cz, load_float32x8(blocks, x + 48) - px)
    ay = fma(sy, az, load_float32x8(blocks, y) - py)
    by = fma(sy, bz, load_float32x8(blocks, y + 24) - py)
    cy = fma(sy, cz, load_float32x8(blocks, y + 48) - py)
    u, v, w = cx * by - cy * bx, ax * cy - ay * cx, bx * ay - by * ax
    zero = splat_float32x8(ZERO)
    is_inside = (zero <= lane_min(lane_min(u, v), w)) | (lane_max(lane_max(u, v), w) <= zero)
    t = fma(u, az, fma(v, bz, w * cz)) / (u + v + w) * sz
    is_other = load_int32x8(blocks, at + FACES) != splat_int32x8(np.int32(skip))
    return t, is_inside & (zero < t) & (t < splat_float32x8(t_max)) & is_other
