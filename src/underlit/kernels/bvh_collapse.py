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
from underlit.kernels.jit import builder

WIDTH = 8  # children of a node
ONE_LESS = 0  # in `plan`: no use for so many roots, take one less


@builder
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
    plan = _plan(tree.bounds, tree.link)
    n_inner = (len(tree.link) + 1) // 2
    child, row = np.full((n_inner, WIDTH), -1, np.int32), np.full((n_inner, WIDTH), -1, np.int32)
    if tree.link[0, 1] > 0:  # the whole tree is one leaf
        child[0, 0] = 0
        return child, row
    root = np.zeros(n_inner, np.int32)
    todo = np.zeros(n_inner, np.int32)
    n_todo, n_row = 1, 1
    while n_todo > 0:
        n_todo -= 1
        at = todo[n_todo]
        n = _roots(tree.link, plan, root[at], child[at])
        for i in range(n):
            if tree.link[child[at, i], 1] == 0:
                row[at, i], root[n_row], todo[n_todo] = n_row, child[at, i], n_row
                n_row, n_todo = n_row + 1, n_todo + 1
    return child[:n_row].copy(), row[:n_row].copy()


@builder
def _plan(bounds, link):
    """How to share roots between two children: plan[c, n] of at most n go to the first child of node c.

    plan[c, 8] is for the children of c once c is a wide node itself.
    """
    n_node = len(link)
    cost = np.empty((n_node, WIDTH + 1), np.float32)  # of at most n roots; in the last place, of n children
    plan = np.zeros((n_node, WIDTH + 1), np.int8)
    for c in range(n_node - 1, -1, -1):  # children come after their parent
        if link[c, 1] > 0:
            cost[c, :] = half_area(bounds[c])
            continue
        first = link[c, 0]
        for n in range(2, WIDTH + 1):
            cost[c, n], plan[c, n] = _best_share(cost[first], cost[first + 1], n)
        cost[c, 1] = half_area(bounds[c]) + cost[c, WIDTH]
        for n in range(2, WIDTH):
            if cost[c, n - 1] <= cost[c, n]:
                cost[c, n], plan[c, n] = cost[c, n - 1], ONE_LESS
    return plan


@builder
def _best_share(cost_a, cost_b, n):
    best, share = np.float32(np.inf), 1
    for k in range(1, n):
        if cost_a[k] + cost_b[n - k] < best:
            best, share = cost_a[k] + cost_b[n - k], k
    return best, share


@builder
def _roots(link, plan, c, roots):
    """Fill `roots` with the children of wide node c, in the order of the tree; return their number."""
    node, room = np.empty(2 * WIDTH, np.int64), np.empty(2 * WIDTH, np.int64)
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
