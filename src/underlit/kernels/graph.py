"""Things linked to one another: which hang together, and which is nearest to what."""

from __future__ import annotations

import numpy as np

from underlit.kernels.jit import exact_kernel, inlined_exact_kernel


@exact_kernel
def number_pieces(a, b, piece):
    """Number the connected pieces of what is linked in pairs.

    Parameters
    ----------
    a, b : ndarray, shape (P,), int64
        Ends of each link.
    piece : ndarray, shape (n,), int64
        Filled with the piece of each thing, in the order of their first things.

    Returns
    -------
    int
        Number of pieces.
    """
    for i in range(len(piece)):
        piece[i] = i
    for k in range(len(a)):
        i, j = _root(piece, a[k]), _root(piece, b[k])
        piece[max(i, j)] = min(i, j)
    n = 0
    for i in range(len(piece)):
        if piece[i] == i:
            piece[i] = n
            n += 1
        else:  # hangs on one before it, which has its number
            piece[i] = piece[piece[i]]
    return n


@inlined_exact_kernel
def _root(above, i):
    """The first thing of a piece, which hangs on none; ways to it are halved as they are gone."""
    while above[i] != i:
        above[i] = above[above[i]]
        i = above[i]
    return i


@exact_kernel
def link(a, b, apart, first, linked, length):
    """Lay links out by the nodes that they start from, each both ways.

    Parameters
    ----------
    a, b : ndarray, shape (P,), int64
        Nodes at the ends of each link.
    apart : ndarray, shape (P,), float64
        How far from one another.
    first : ndarray, shape (n + 1,), int64
        Filled: node i is linked to `linked[first[i]:first[i + 1]]`.
    linked, length : ndarray, shape (2 P,), int64 and float64
        Filled.
    """
    for i in range(len(first)):
        first[i] = 0
    for k in range(len(a)):
        first[a[k]] += 1
        first[b[k]] += 1
    for i in range(1, len(first)):
        first[i] += first[i - 1]
    for k in range(len(a)):  # from the end of each node's room to its start
        first[a[k]] -= 1
        linked[first[a[k]]], length[first[a[k]]] = b[k], apart[k]
        first[b[k]] -= 1
        linked[first[b[k]]], length[first[b[k]]] = a[k], apart[k]


@exact_kernel
def spread(first, linked, length, seeds, distance, owner, waiting, waits):
    """Find the nearest of some seeds for each node, along the links.

    A node that has come nearer to a seed tells its neighbours (Bellman, Ford and Moore). Where seeds are close
    together, each has to do so a few times only, and nothing need be kept in order.

    Parameters
    ----------
    first, linked, length : ndarray
        From `link`; every length above 0.
    seeds : ndarray, shape (k,), int64
        Nodes, each once.
    distance : ndarray, shape (n,), float64
        Filled; infinite where no seed can be reached.
    owner : ndarray, shape (n,), int64
        Filled with the place of the nearest in `seeds`; -1 for none.
    waiting, waits : ndarray, shape (n,), int64 and bool
        Scratch: nodes that have something to tell.
    """
    n = len(distance)
    for i in range(n):
        distance[i], owner[i], waits[i] = np.inf, -1, False
    n_waiting = len(seeds)
    for k in range(n_waiting):
        i = seeds[k]
        distance[i], owner[i], waiting[k], waits[i] = 0.0, k, i, True
    at = 0
    while n_waiting > 0:
        i = waiting[at]
        at, n_waiting, waits[i] = _after(at, 1, n), n_waiting - 1, False
        for k in range(first[i], first[i + 1]):
            j, through = linked[k], distance[i] + length[k]
            if through < distance[j]:
                distance[j], owner[j] = through, owner[i]
                if not waits[j]:
                    waiting[_after(at, n_waiting, n)], waits[j] = j, True
                    n_waiting += 1


@inlined_exact_kernel
def _after(at, steps, n):
    """So many places on in a ring of n."""
    at += steps
    return at - n if at >= n else at


@exact_kernel
def centre(owner, point, weight, total, middle, nearest):
    """Find the thing that is nearest to the middle of each group.

    Parameters
    ----------
    owner : ndarray, shape (n,), int64
        Group of each thing.
    point : ndarray, shape (n, 3), float64
    weight : ndarray, shape (n,), float64
        Above 0.
    total, middle : ndarray, shapes (k,) and (k, 3), float64
        Scratch.
    nearest : ndarray, shape (k,), int64
        Filled with a thing of each group.
    """
    for g in range(len(total)):
        total[g], nearest[g] = 0.0, -1
        for x in range(3):
            middle[g, x] = 0.0
    for i in range(len(owner)):
        g = owner[i]
        total[g] += weight[i]
        for x in range(3):
            middle[g, x] += weight[i] * point[i, x]
        if nearest[g] < 0:  # for good, where nothing in the group has a weight
            nearest[g] = i
    for g in range(len(total)):
        for x in range(3):
            middle[g, x] /= total[g]
        total[g] = np.inf  # from now on, how far the nearest is, squared
    for i in range(len(owner)):
        g = owner[i]
        x, y, z = point[i, 0] - middle[g, 0], point[i, 1] - middle[g, 1], point[i, 2] - middle[g, 2]
        away = x * x + y * y + z * z
        if away < total[g]:
            total[g], nearest[g] = away, i
