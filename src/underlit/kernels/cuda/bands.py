"""The spectral packet on a card: each thread has one, and the threads of a warp work out their packets together.

A packet is what has happened to it: a path through glass and then water, light that has landed, `v` in registers; and
the weights that it had before that, in shared memory, once they are no longer all 1. `cuda.weigh` works out the bands
of the packets of a warp, a thread to a band. Where the path of one photon alone asks for its bands (a leaf, a film,
dirt), its thread works them out by itself.

Tallies are fixed-point integers from the first addition on. The light budget stands in shared memory, so what kernels
hand on as `sinks` is the array of cells: light that has landed must be booked before its packet changes.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import cuda
from numba.cuda import libdevice

from underlit.kernels.arrays import IN_GLASS, IN_WATER
from underlit.kernels.cuda.load import (
    add_global,
    add_shared,
    bits,
    from_bits,
    load,
    store,
)
from underlit.kernels.cuda.sizes import (
    GLASS_PER_M,
    HIGH,
    LANES,
    LOW,
    N_BANDS,
    ROW,
    STRIDE,
    WATER_PER_M,
    WEIGHT,
)
from underlit.kernels.jit import kernel, outlined_kernel

SCALE = np.float32(2.0**30)
NOTHING = np.int32(-1)


class Cells(NamedTuple):
    """What light is booked to: the cells of all replicates.

    Attributes
    ----------
    light : ndarray, shape (K, C, N_BANDS), int64
    white : ndarray, shape (K, C), int64
        Packets of weight 1 in all bands that have come to each, on top of `light`.
    first : int32
        Row of the replicate's first cell.
    """

    light: np.ndarray
    white: np.ndarray
    first: int


# Of a packet in registers, float32 (5,): path through glass and water [m], which share of it has landed in which cell
# (an int32), whether its weights are all 1 (an int32).
GLASS_M, WATER_M, SHARE, CELL, WHITE = range(5)
PACKET_WORDS = 5


@kernel
def start(v):
    """A packet of weight 1 in all bands."""
    v[GLASS_M], v[WATER_M], v[SHARE] = np.float32(0.0), np.float32(0.0), np.float32(0.0)
    v[CELL], v[WHITE] = from_bits(NOTHING), from_bits(np.int32(1))


@kernel
def fixed(amount):
    """Fixed-point integer of a weight."""
    return libdevice.float2ll_rn(amount * SCALE)


@kernel
def lose(sink, place, amount):
    """Add to place `place` of an entry of the light budget.

    Each weight is rounded, not the difference, so that a packet's losses sum to it.
    """
    k = np.int32(sink) * np.int32(ROW) + np.int32(place)
    word = np.uint32(amount)
    before = add_shared(k, LOW, word)
    upper = np.uint32(amount >> 32)
    if np.uint32(before + word) < word:
        upper = np.uint32(upper + np.uint32(1))
    if upper != np.uint32(0):
        add_shared(k, HIGH, upper)


@kernel
def own_place(b):
    """Where a thread adds to band b of the light budget."""
    return b if N_BANDS > 32 else ((cuda.threadIdx.x & 31) // LANES) * LANES + b


@kernel
def weight_at(b):
    """Where in shared memory the weight of the thread's packet stands."""
    return cuda.threadIdx.x * STRIDE + b


@outlined_kernel
def _work_out(glass_m, water_m, white):
    """Take from the thread's packet what glass and water have taken."""
    for b in range(N_BANDS):
        before = np.float32(1.0) if white != 0 else load(weight_at(b), WEIGHT)
        between = before * math.exp(-load(b, GLASS_PER_M) * glass_m)
        after = between * math.exp(-load(b, WATER_PER_M) * water_m)
        store(weight_at(b), WEIGHT, after)
        middle = fixed(between)
        lose(IN_GLASS, own_place(b), fixed(before) - middle)
        lose(IN_WATER, own_place(b), middle - fixed(after))


@outlined_kernel
def _land(share, cell, cells):
    """Book the thread's packet where it has landed."""
    for b in range(N_BANDS):
        add_global(cells.light, np.int64(cell) * N_BANDS + b, fixed(share * load(weight_at(b), WEIGHT)))


@outlined_kernel
def _take(table, row, sink):
    """Multiply the thread's packet by a row of a table."""
    for b in range(N_BANDS):
        before = load(weight_at(b), WEIGHT)
        after = before * table[row, b]
        store(weight_at(b), WEIGHT, after)
        lose(sink, own_place(b), fixed(before) - fixed(after))


@outlined_kernel
def _take_along(absorption_per_m, path_m, sink):
    """Send the thread's packet through something."""
    for b in range(N_BANDS):
        before = load(weight_at(b), WEIGHT)
        after = before * math.exp(-absorption_per_m[b] * path_m)
        store(weight_at(b), WEIGHT, after)
        lose(sink, own_place(b), fixed(before) - fixed(after))


@outlined_kernel
def _take_share(factor, sink):
    """Multiply the thread's packet by one factor."""
    for b in range(N_BANDS):
        before = load(weight_at(b), WEIGHT)
        after = before * factor
        store(weight_at(b), WEIGHT, after)
        lose(sink, own_place(b), fixed(before) - fixed(after))


@outlined_kernel
def _mean(n_bands):
    """Mean weight of the thread's packet."""
    total = np.float32(0.0)
    for b in range(N_BANDS):
        total += load(weight_at(b), WEIGHT)
    return total / np.float32(N_BANDS)


@kernel
def settle(v):
    """Work out what glass and water have taken."""
    if bits(v[WHITE]) != 0 or v[GLASS_M] + v[WATER_M] > 0.0:
        _work_out(v[GLASS_M], v[WATER_M], bits(v[WHITE]))
        v[GLASS_M], v[WATER_M], v[WHITE] = np.float32(0.0), np.float32(0.0), from_bits(np.int32(0))


@kernel
def flush(v, cells):
    """Work out what glass and water have taken, and book what has landed."""
    settle(v)
    if bits(v[CELL]) >= 0:
        _land(v[SHARE], bits(v[CELL]), cells)
        v[CELL] = from_bits(NOTHING)


@kernel
def attenuate(v, absorption_per_m, path_m, cells, sink):
    """Note a path through glass or water; work out one through anything else."""
    if sink == IN_GLASS:
        v[GLASS_M] += path_m
    elif sink == IN_WATER:
        v[WATER_M] += path_m
    else:
        flush(v, cells)
        _take_along(absorption_per_m, path_m, np.int32(sink))


@kernel
def multiply(v, table, row, cells, sink):
    """Multiply by row `row` of `table` (n, B) and book what is lost."""
    flush(v, cells)
    _take(table, np.int32(row), np.int32(sink))


@kernel
def scale(v, factor, cells, sink):
    """Multiply by one factor and book what is lost (or, above 1, gained)."""
    flush(v, cells)
    _take_share(np.float32(factor), np.int32(sink))


@kernel
def book(v, cells, sink):
    """Book the whole packet: the path ends here."""
    scale(v, np.float32(0.0), cells, sink)


@kernel
def deposit(v, factor, cells, cell):
    """Note that `factor` times the packet has landed in a cell; count it there if it is as it was sent out."""
    row = np.int32(cells.first + cell)
    if bits(v[WHITE]) != 0 and v[GLASS_M] + v[WATER_M] == 0.0 and factor == 1.0:
        add_global(cells.white, row, np.int64(1))
        return
    if bits(v[CELL]) >= 0:
        flush(v, cells)
    v[SHARE], v[CELL] = np.float32(factor), from_bits(row)


@kernel
def mean(v, n_bands):
    """Mean weight over the bands."""
    settle(v)
    return _mean(n_bands)


@kernel
def table_mean(table, row, n_bands):
    """Mean of a row of a spectral table over its bands."""
    total = np.float32(0.0)
    for b in range(n_bands):
        total += table[row, b]
    return total / np.float32(n_bands)
