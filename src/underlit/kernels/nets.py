"""Surface nets: where a field on a grid changes its sign. Arrays are flat, and a sample's neighbours `strides` away."""

from __future__ import annotations

import numpy as np

from underlit.kernels.jit import exact_kernel, inlined_exact_kernel


@exact_kernel
def fill_saddles(inside, rows, shape, strides):
    """Make a corner inside wherever the corners of a cell face alternate: two sheets would share an edge there.

    Parameters
    ----------
    inside : ndarray, shape (n,), bool
        Whether each sample is inside; nowhere in the outermost layers. Changed.
    rows : ndarray, shape (nx ny,), bool
        Rows along z with a sample inside; changed with it.
    shape, strides : tuple of 3 ints

    Returns
    -------
    int
        How many edges of the grid the surface then crosses.
    """
    while _fill_some(inside, rows, shape, strides):
        pass
    n = 0
    for row in range(len(rows)):
        if _is_near(rows, row, shape[1]):
            for at in range(row * shape[2], (row + 1) * shape[2]):
                for axis in range(3):
                    n += inside[at] != inside[at + strides[axis]]
    return n


@exact_kernel
def _fill_some(inside, rows, shape, strides):
    """Fill what alternates; whether there was any."""
    found = False
    for i in range(shape[0] - 1):
        for j in range(shape[1] - 1):
            row = i * shape[1] + j
            if not (_is_near(rows, row, shape[1]) or rows[row + shape[1] + 1]):
                continue
            for at in range(row * shape[2], (row + 1) * shape[2] - 1):
                found |= _fill(inside, rows, shape[2], at, strides[1], strides[2])
                found |= _fill(inside, rows, shape[2], at, strides[0], strides[2])
                found |= _fill(inside, rows, shape[2], at, strides[0], strides[1])
    return found


@inlined_exact_kernel
def _fill(inside, rows, length, at, one, other):
    """Fill one corner of the face from `at`, if it is such a face."""
    p, q = inside[at], inside[at + one]
    if p == q or p == inside[at + other] or p != inside[at + one + other]:
        return False
    hole = at + one if p else at
    inside[hole], rows[hole // length] = True, True
    return True


@exact_kernel
def find_crossings(field, inside, rows, shape, strides, around, cells, crossing, outward):
    """Find where the surface crosses edges of the grid.

    Parameters
    ----------
    field : ndarray, shape (n,), float32
    inside : ndarray, shape (n,), bool
        Where it is negative; nowhere in the outermost layers.
    rows : ndarray, shape (nx ny,), bool
        Rows along z with a sample inside.
    shape, strides : tuple of 3 ints
    around : ndarray, shape (3, 4), int64
        For an edge along each axis, from its lower end to the four cells round it.
    cells : ndarray, shape (m, 4), int64
        Filled with these cells, for each of the m edges that `fill_saddles` counts.
    crossing : ndarray, shape (m, 3), float64
        Filled. [grid steps]
    outward : ndarray, shape (m,), bool
        Filled: whether the surface faces up the edge there.
    """
    n = 0
    for row in range(len(rows)):
        if not _is_near(rows, row, shape[1]):
            continue
        for k in range(shape[2]):
            at = row * shape[2] + k
            for axis in range(3):
                if inside[at] == inside[at + strides[axis]]:
                    continue
                for c in range(4):
                    cells[n, c] = at + around[axis, c]
                low = field[at]
                share = low / (low - field[at + strides[axis]])
                crossing[n, 0], crossing[n, 1], crossing[n, 2] = row // shape[1], row % shape[1], k
                crossing[n, axis] += min(max(share, np.float32(0.02)), np.float32(0.98))
                outward[n] = inside[at]
                n += 1


@inlined_exact_kernel
def _is_near(rows, row, ny):
    """Whether an edge from this row may be crossed. The last rows are outside and have no edges into the grid."""
    after = row + ny
    return after < len(rows) and (rows[row] or rows[row + 1] or rows[after])
