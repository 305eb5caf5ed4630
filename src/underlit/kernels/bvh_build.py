"""Binary bounding-volume tree over triangles, by the binned surface-area heuristic.

Deterministic: the same mesh gives the same tree, bit for bit. The scalar traversal walks it; the wide layout is
gathered from it.

References
----------
I. Wald, "On fast construction of SAH-based bounding volume hierarchies", IEEE Symposium on Interactive Ray
Tracing 2007.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.kernels.held import Held
from underlit.kernels.jit import inlined_exact_kernel, inlined_kernel, kernel

MAX_DEPTH = 80  # of any tree: see MEDIAN_DEPTH
MEDIAN_DEPTH = 48  # from here on ranges are halved, so that 2**31 triangles add at most 31 levels
N_BINS = 16


class Tree(NamedTuple):
    """Binary tree; node 0 is the root, and the two children of a node are neighbours.

    Attributes
    ----------
    bounds : ndarray, shape (n_node, 6), float32
        Low corner, then high corner. [m]
    link : ndarray, shape (n_node, 2), int32
        Inner node: first child, 0 (the second child is the next node). Leaf: first place in `order`, count.
    order : ndarray, shape (n_tri,), int32
        Faces in the order of the leaves.
    """

    bounds: np.ndarray
    link: np.ndarray
    order: np.ndarray


class Bins(NamedTuple):
    """Scratch: what falls into each bin along each axis, and the bounds of the centres binned."""

    box: np.ndarray  # (3, N_BINS, 6) float32
    count: np.ndarray  # (3, N_BINS) int32
    cost: np.ndarray  # (N_BINS,) float64: of a bin and all after it
    sweep: np.ndarray  # (6,) float32
    middle: np.ndarray  # (6,) float32: low and high corner of twice the centres


def build_tree(corner, leaf_size):
    """Build the tree of a mesh.

    Parameters
    ----------
    corner : ndarray, shape (n_tri, 3, 3), float32
        Triangle, corner, axis; at least one triangle. [m]
    leaf_size : int
        Triangles a leaf holds at most. The heuristic counts cost in such blocks.

    Returns
    -------
    Tree
    """
    n_tri = len(corner)
    box = np.concatenate([corner.min(axis=1), corner.max(axis=1)], axis=1)
    if n_tri <= leaf_size:  # the root is a leaf: nothing to compile a kernel for
        bounds = np.concatenate([box[:, :3].min(axis=0), box[:, 3:].max(axis=0)])
        return Tree(bounds[None], np.array([[0, n_tri]], np.int32), np.arange(n_tri, dtype=np.int32))
    tree = Tree(
        np.empty((2 * n_tri, 6), np.float32),
        np.zeros((2 * n_tri, 2), np.int32),
        np.arange(n_tri, dtype=np.int32),
    )
    bins = Bins(
        np.empty((3, N_BINS, 6), np.float32),
        np.empty((3, N_BINS), np.int32),
        np.empty(N_BINS, np.float64),
        np.empty(6, np.float32),
        np.empty(6, np.float32),
    )
    n_node = _build(Held(tree), box, leaf_size, Held(bins), np.empty((MAX_DEPTH + 1, 4), np.int32))
    return Tree(tree.bounds[:n_node].copy(), tree.link[:n_node].copy(), tree.order)


@kernel
def _build(tree, box, leaf_size, bins, todo):
    """Fill the tree, reordering `box` with its `order`; return the number of nodes."""
    _put(todo, 0, 0, 0, len(box), 0)
    n_todo, n_node = 1, 1
    while n_todo > 0:
        n_todo -= 1
        node, first, end, depth = todo[n_todo, 0], todo[n_todo, 1], todo[n_todo, 2], todo[n_todo, 3]
        _enclose(box, first, end, tree.bounds, node, bins.middle)
        if end - first <= leaf_size:
            tree.link[node, 0], tree.link[node, 1] = first, end - first
            continue
        cut = _split(box, tree.order, first, end, depth, leaf_size, bins)
        tree.link[node, 0] = n_node
        _put(todo, n_todo, n_node + 1, cut, end, depth + 1)
        _put(todo, n_todo + 1, n_node, first, cut, depth + 1)
        n_todo, n_node = n_todo + 2, n_node + 2
    return n_node


@inlined_kernel
def _put(todo, i, node, first, end, depth):
    todo[i, 0], todo[i, 1], todo[i, 2], todo[i, 3] = node, first, end, depth


@inlined_kernel
def _enclose(box, first, end, bounds, node, middle):
    """Bounds of a range of boxes, and of twice their centres."""
    for k in range(3):
        low, high = box[first, k], box[first, 3 + k]
        mid_low = low + high
        mid_high = mid_low
        for i in range(first + 1, end):
            a, b = box[i, k], box[i, 3 + k]
            low, high = min(low, a), max(high, b)
            mid_low, mid_high = min(mid_low, a + b), max(mid_high, a + b)
        bounds[node, k], bounds[node, 3 + k] = low, high
        middle[k], middle[3 + k] = mid_low, mid_high


@inlined_kernel
def _split(box, order, first, end, depth, leaf_size, bins):
    """Reorder a range by its best split; return where the second half starts."""
    axis, last_bin = -1, -1
    if depth < MEDIAN_DEPTH:
        _fill_bins(box, first, end, bins)
        axis, last_bin = _best_split(bins, leaf_size)
    if axis < 0:  # too deep, or all centres coincide
        return first + (end - first) // 2
    return _partition(box, order, first, end, bins.middle, axis, last_bin)


@inlined_exact_kernel  # rounded alike where boxes are counted and where they are moved, or a half may stay empty
def _bin_of(low, high, mid_low, mid_high):
    scale = np.float32(N_BINS) / (mid_high - mid_low)
    return min(N_BINS - 1, max(0, int((low + high - mid_low) * scale)))


@inlined_kernel
def _fill_bins(box, first, end, bins):
    for k in range(3):
        for b in range(N_BINS):
            bins.count[k, b] = 0
            _empty(bins.box[k, b])
        low, high = bins.middle[k], bins.middle[3 + k]
        if low < high:
            for i in range(first, end):
                b = _bin_of(box[i, k], box[i, 3 + k], low, high)
                bins.count[k, b] += 1
                _grow(bins.box[k, b], box[i])


@inlined_kernel
def _empty(a):
    for k in range(3):
        a[k], a[3 + k] = np.inf, -np.inf


@inlined_kernel
def _grow(a, b):
    for k in range(3):
        a[k] = min(a[k], b[k])
        a[3 + k] = max(a[3 + k], b[3 + k])


@inlined_kernel
def half_area(a):
    """Half the surface of a box."""
    x, y, z = a[3] - a[0], a[4] - a[1], a[5] - a[2]
    return x * y + y * z + z * x


@inlined_kernel
def _best_split(bins, leaf_size):
    """Axis and last bin of the first half, of the cheapest split; axis -1 when there is none."""
    best, best_axis, best_bin = np.inf, -1, -1
    for k in range(3):
        n_all = _sweep_back(bins, k, leaf_size)
        _empty(bins.sweep)
        n_first = 0
        for b in range(N_BINS - 1):
            n_first += bins.count[k, b]
            _grow(bins.sweep, bins.box[k, b])
            if 0 < n_first < n_all:
                cost = _cost(bins.sweep, n_first, leaf_size) + bins.cost[b + 1]
                if cost < best:
                    best, best_axis, best_bin = cost, k, b
    return best_axis, best_bin


@inlined_kernel
def _sweep_back(bins, k, leaf_size):
    """Cost of each bin with all after it; returns the number of triangles."""
    _empty(bins.sweep)
    n = 0
    for b in range(N_BINS - 1, -1, -1):
        n += bins.count[k, b]
        _grow(bins.sweep, bins.box[k, b])
        bins.cost[b] = _cost(bins.sweep, n, leaf_size) if n > 0 else 0.0
    return n


@inlined_kernel
def _cost(box, n, leaf_size):
    return half_area(box) * np.float64((n + leaf_size - 1) // leaf_size)


@inlined_kernel
def _partition(box, order, first, end, middle, axis, last_bin):
    low, high = first, end - 1
    mid_low, mid_high = middle[axis], middle[3 + axis]
    while low <= high:
        if _bin_of(box[low, axis], box[low, 3 + axis], mid_low, mid_high) <= last_bin:
            low += 1
            continue
        for k in range(6):
            box[low, k], box[high, k] = box[high, k], box[low, k]
        order[low], order[high] = order[high], order[low]
        high -= 1
    return low
