"""Binary bounding-volume tree over triangles, by the binned surface-area heuristic.

Deterministic: the same mesh gives the same tree, bit for bit. The scalar traversal walks it; the wide
layout is gathered from it.

References
----------
I. Wald, "On fast construction of SAH-based bounding volume hierarchies", IEEE Symposium on Interactive Ray
Tracing 2007.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.kernels.jit import builder

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


@builder
def triangle_bounds(corner):
    """Boxes of the triangles.

    Parameters
    ----------
    corner : ndarray, shape (n_tri, 3, 3), float32
        Triangle, corner, axis. [m]

    Returns
    -------
    ndarray, shape (n_tri, 6), float32
    """
    box = np.empty((corner.shape[0], 6), np.float32)
    for i in range(corner.shape[0]):
        for k in range(3):
            a, b, c = corner[i, 0, k], corner[i, 1, k], corner[i, 2, k]
            box[i, k] = min(a, min(b, c))
            box[i, 3 + k] = max(a, max(b, c))
    return box


@builder
def build_tree(box, leaf_size):
    """Build the tree; `box` is reordered on the way.

    Parameters
    ----------
    box : ndarray, shape (n_tri, 6), float32
        At least one triangle.
    leaf_size : int
        Triangles a leaf holds at most. The heuristic counts cost in such blocks.

    Returns
    -------
    Tree
    """
    n_tri = box.shape[0]
    bounds = np.empty((2 * n_tri, 6), np.float32)
    link = np.zeros((2 * n_tri, 2), np.int32)
    order = np.arange(n_tri).astype(np.int32)
    bin_box = np.empty((3, N_BINS, 6), np.float32)
    bin_count = np.empty((3, N_BINS), np.int32)
    middle = np.empty(6, np.float32)
    todo = np.empty((MAX_DEPTH + 1, 4), np.int32)  # node, first, end, depth
    _push(todo, 0, 0, 0, n_tri, 0)
    n_todo, n_node = 1, 1
    while n_todo > 0:
        n_todo -= 1
        node, first, end, depth = todo[n_todo, 0], todo[n_todo, 1], todo[n_todo, 2], todo[n_todo, 3]
        _enclose(box, first, end, bounds[node], middle)
        if end - first <= leaf_size:
            link[node, 0], link[node, 1] = first, end - first
            continue
        cut = _split(box, order, first, end, depth, leaf_size, middle, bin_box, bin_count)
        link[node, 0] = n_node
        _push(todo, n_todo, n_node + 1, cut, end, depth + 1)
        _push(todo, n_todo + 1, n_node, first, cut, depth + 1)
        n_todo, n_node = n_todo + 2, n_node + 2
    return Tree(bounds[:n_node].copy(), link[:n_node].copy(), order)


@builder
def _push(todo, i, node, first, end, depth):
    todo[i, 0], todo[i, 1], todo[i, 2], todo[i, 3] = node, first, end, depth


@builder
def _enclose(box, first, end, bounds, middle):
    """Bounds of a range of boxes, and of twice their centres."""
    for k in range(3):
        low, high = box[first, k], box[first, 3 + k]
        mid_low = low + high
        mid_high = mid_low
        for i in range(first + 1, end):
            a, b = box[i, k], box[i, 3 + k]
            low, high = min(low, a), max(high, b)
            mid_low, mid_high = min(mid_low, a + b), max(mid_high, a + b)
        bounds[k], bounds[3 + k] = low, high
        middle[k], middle[3 + k] = mid_low, mid_high


@builder
def _split(box, order, first, end, depth, leaf_size, middle, bin_box, bin_count):
    """Reorder a range by its best split; return where the second half starts."""
    half = first + (end - first) // 2
    if depth >= MEDIAN_DEPTH:
        return half
    _fill_bins(box, first, end, middle, bin_box, bin_count)
    axis, last_bin = _best_split(bin_box, bin_count, leaf_size)
    if axis < 0:  # all centres coincide
        return half
    return _partition(box, order, first, end, middle, axis, last_bin)


@builder
def _bin_of(low, high, mid_low, mid_high):
    scale = np.float32(N_BINS) / (mid_high - mid_low)
    return min(N_BINS - 1, max(0, int((low + high - mid_low) * scale)))


@builder
def _fill_bins(box, first, end, middle, bin_box, bin_count):
    bin_count[:] = 0
    bin_box[:, :, :3] = np.inf
    bin_box[:, :, 3:] = -np.inf
    for k in range(3):
        if middle[3 + k] <= middle[k]:
            continue
        for i in range(first, end):
            b = _bin_of(box[i, k], box[i, 3 + k], middle[k], middle[3 + k])
            bin_count[k, b] += 1
            _grow(bin_box[k, b], box[i])


@builder
def _grow(a, b):
    for k in range(3):
        a[k] = min(a[k], b[k])
        a[3 + k] = max(a[3 + k], b[3 + k])


@builder
def half_area(a):
    x, y, z = a[3] - a[0], a[4] - a[1], a[5] - a[2]
    return x * y + y * z + z * x


@builder
def _best_split(bin_box, bin_count, leaf_size):
    """Axis and last bin of the first half, of the cheapest split; axis -1 when there is none."""
    best, best_axis, best_bin = np.inf, -1, -1
    right_cost = np.empty(N_BINS, np.float64)
    sweep = np.empty(6, np.float32)
    for k in range(3):
        n_right = _sweep_from_right(bin_box[k], bin_count[k], leaf_size, right_cost, sweep)
        if n_right == 0:
            continue
        sweep[:3], sweep[3:] = np.inf, -np.inf
        n_left = 0
        for b in range(N_BINS - 1):
            n_left += bin_count[k, b]
            _grow(sweep, bin_box[k, b])
            if n_left == 0 or n_left == n_right:
                continue
            cost = half_area(sweep) * (-(-n_left // leaf_size)) + right_cost[b + 1]
            if cost < best:
                best, best_axis, best_bin = cost, k, b
    return best_axis, best_bin


@builder
def _sweep_from_right(bin_box, bin_count, leaf_size, right_cost, sweep):
    """Cost of all bins from each on; returns the number of triangles."""
    sweep[:3], sweep[3:] = np.inf, -np.inf
    n_right = 0
    for b in range(N_BINS - 1, -1, -1):
        n_right += bin_count[b]
        _grow(sweep, bin_box[b])
        right_cost[b] = half_area(sweep) * (-(-n_right // leaf_size)) if n_right > 0 else 0.0
    return n_right


@builder
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
