"""From the binary tree to one with eight children a node.

Which subtrees become nodes is chosen to make the sum of the areas of nodes and leaves smallest, from the
bottom up: for every binary node the cost of showing it to its parent as one to seven roots.

References
----------
H. Ylitie, T. Karras, S. Laine, "Efficient incoherent ray traversal on GPUs through compressed wide
BVHs", High Performance Graphics 2017.
"""

from __future__ import annotations

import numpy as np

from underlit.kernels.bvh_build import half_area
from underlit.kernels.held import Held
from underlit.kernels.jit import inlined_kernel, kernel

WIDTH = 8  # children of a node
ONE_LESS = 0  # in `plan`: no use for so many roots, take one less


def collapse(tree):
    """Nodes of the wide tree, as places in the binary one.

    Parameters
    ----------
    tree : bvh_build.Tree

    Returns
    -------
    child : ndarray, shape (n_node, 8), int32
        Binary node shown in each place; -1 where there is none. Node 0 is the root.
    row : ndarray, shape (n_node, 8), int32
        Row of that child in these arrays, -1 when it is a leaf.
    """
    n_node = len(tree.link)
    plan = np.zeros((n_node, WIDTH + 1), np.int8)
    child, row = (np.full((n_node // 2 + 1, WIDTH), -1, np.int32) for _ in range(2))
    if n_node == 1:  # the root is a leaf
        child[0, 0] = 0
        return child, row
    held = Held(tree)
    _plan(held, np.empty((n_node, WIDTH + 1), np.float32), plan)
    n_row = _gather(
        held, plan, child, row, np.zeros((2, len(child)), np.int32), np.empty((2, 2 * WIDTH), np.int64)
    )
    return child[:n_row].copy(), row[:n_row].copy()


@kernel
def _plan(tree, cost, plan):
    """How to share roots between two children: plan[c, n] of at most n go to the first child of node c.

    cost[c, n] is the cost of node c as at most n roots; the last place, n = 8, is for the children of c once it
    is a wide node itself.
    """
    for c in range(len(plan) - 1, -1, -1):  # children come after their parent
        area = half_area(tree.bounds[c])
        if tree.link[c, 1] > 0:
            for n in range(1, WIDTH + 1):
                cost[c, n] = area
            continue
        first = tree.link[c, 0]
        for n in range(2, WIDTH + 1):
            _share(cost, plan, c, first, n)
        cost[c, 1] = area + cost[c, WIDTH]
        for n in range(2, WIDTH):
            if cost[c, n - 1] <= cost[c, n]:
                cost[c, n], plan[c, n] = cost[c, n - 1], ONE_LESS


@inlined_kernel
def _share(cost, plan, c, first, n):
    cost[c, n] = np.inf
    for k in range(1, n):
        both = cost[first, k] + cost[first + 1, n - k]
        if both < cost[c, n]:
            cost[c, n], plan[c, n] = both, k


@kernel
def _gather(tree, plan, child, row, todo, open_roots):
    """Fill `child` and `row` as planned; return the number of nodes."""
    rows, roots = todo  # nodes still to fill, and the binary node of each row
    n_todo, n_row = 1, 1
    while n_todo > 0:
        n_todo -= 1
        at = rows[n_todo]
        n = _roots(tree.link, plan, roots[at], child[at], open_roots)
        for i in range(n):
            if tree.link[child[at, i], 1] == 0:
                row[at, i], roots[n_row], rows[n_todo] = n_row, child[at, i], n_row
                n_row, n_todo = n_row + 1, n_todo + 1
    return n_row


@inlined_kernel
def _roots(link, plan, c, roots, open_roots):
    """Fill `roots` with the children of wide node c, in the order of the tree; return their number."""
    node, room = open_roots
    node[0], room[0] = c, WIDTH
    n_open, n_root = 1, 0
    while n_open > 0:
        n_open -= 1
        c, n = node[n_open], room[n_open]
        while 1 < n < WIDTH and plan[c, n] == ONE_LESS:
            n -= 1
        if n == 1 or link[c, 1] > 0:
            roots[n_root] = c
            n_root += 1
            continue
        share = np.int64(plan[c, n])
        node[n_open], room[n_open] = link[c, 0] + 1, n - share
        node[n_open + 1], room[n_open + 1] = link[c, 0], share
        n_open += 2
    return n_root
