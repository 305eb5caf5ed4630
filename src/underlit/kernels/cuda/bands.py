"""The spectral packet on a card: where it stands, and when it is worked out.

The weights stand in shared memory, `v` says where. Water and glass only note how long the path through them
was; the bands are worked out where light lands or scatters, which is where they are needed. Between two such places a
path goes through glass, then through water, never the other way round: where it leaves the water it lands. Tallies
are fixed-point integers from the first addition on.
The light budget stands in shared memory too: what is passed for it, `sinks`, is not looked at.
"""

from __future__ import annotations

import math

import numpy as np
from numba import cuda
from numba.cuda import libdevice

from underlit.kernels.arrays import IN_GLASS, IN_WATER
from underlit.kernels.cuda.load import add_shared, load, store
from underlit.kernels.cuda.sizes import (
    GLASS_M,
    GLASS_PER_M,
    HIGH,
    LOW,
    N_BANDS,
    THREADS,
    WATER_M,
    WATER_PER_M,
    WEIGHT,
)
from underlit.kernels.jit import kernel, outlined_kernel

SCALE = np.float32(2.0**30)


@kernel
def start(v):
    """A packet of weight 1 in all bands."""
    for b in range(N_BANDS):
        store(v, (WEIGHT + b) * THREADS, 1.0)
    store(v, GLASS_M * THREADS, 0.0)
    store(v, WATER_M * THREADS, 0.0)


@kernel
def fixed(amount):
    """Fixed-point integer of a weight."""
    return libdevice.float2ll_rn(amount * SCALE)


@kernel
def lose(sink, b, amount):
    """Add to the light budget: each weight is rounded, not the difference, so that a packet's losses sum to it."""
    place = np.int32(sink * N_BANDS + b)
    word = np.uint32(amount)
    before = add_shared(place, LOW, word)
    upper = np.uint32(amount >> 32)
    if np.uint32(before + word) < word:
        upper += np.uint32(1)
    if upper != np.uint32(0):
        add_shared(place, HIGH, upper)


@kernel
def turned(k):
    """Bands in another order for each thread, so that neighbours rarely add to the same number at once."""
    return np.int32(np.uint32(k + cuda.threadIdx.x) % np.uint32(N_BANDS))


@kernel
def settle(v):
    """Work out what glass and water have taken."""
    glass_m, water_m = load(v, GLASS_M * THREADS), load(v, WATER_M * THREADS)
    if glass_m + water_m > 0.0:
        store(v, GLASS_M * THREADS, 0.0)
        store(v, WATER_M * THREADS, 0.0)
        for k in range(N_BANDS):
            b = turned(k)
            before = load(v, (WEIGHT + b) * THREADS)
            between = before * math.exp(-load(b, GLASS_PER_M) * glass_m)
            after = between * math.exp(-load(b, WATER_PER_M) * water_m)
            store(v, (WEIGHT + b) * THREADS, after)
            middle = fixed(between)
            if glass_m > 0.0:
                lose(IN_GLASS, b, fixed(before) - middle)
            if water_m > 0.0:
                lose(IN_WATER, b, middle - fixed(after))


@kernel
def attenuate(v, absorption_per_m, path_m, sinks, sink):
    """Note a path through glass or water; work out one through anything else."""
    if sink == IN_GLASS:
        store(v, GLASS_M * THREADS, load(v, GLASS_M * THREADS) + path_m)
    elif sink == IN_WATER:
        store(v, WATER_M * THREADS, load(v, WATER_M * THREADS) + path_m)
    else:
        settle(v)
        for k in range(N_BANDS):
            b = turned(k)
            before = load(v, (WEIGHT + b) * THREADS)
            after = before * math.exp(-absorption_per_m[b] * path_m)
            store(v, (WEIGHT + b) * THREADS, after)
            lose(sink, b, fixed(before) - fixed(after))


@outlined_kernel
def multiply(v, table, row, sinks, sink):
    """Multiply by row `row` of `table` (n, B) and book what is lost."""
    settle(v)
    for k in range(N_BANDS):
        b = turned(k)
        before = load(v, (WEIGHT + b) * THREADS)
        after = before * table[row, b]
        store(v, (WEIGHT + b) * THREADS, after)
        lose(sink, b, fixed(before) - fixed(after))


@outlined_kernel
def scale(v, factor, sinks, sink):
    """Multiply by one factor and book what is lost (or, above 1, gained)."""
    settle(v)
    for k in range(N_BANDS):
        b = turned(k)
        before = load(v, (WEIGHT + b) * THREADS)
        after = before * factor
        store(v, (WEIGHT + b) * THREADS, after)
        lose(sink, b, fixed(before) - fixed(after))


@kernel
def book(v, sinks, sink):
    """Book the whole packet: the path ends here."""
    scale(v, np.float32(0.0), sinks, sink)


@outlined_kernel
def deposit(v, factor, cells, cell):
    """Add `factor` times the packet to row `cell` of `cells` (C, B) int64."""
    settle(v)
    for k in range(N_BANDS):
        b = turned(k)
        cuda.atomic.add(cells, (cell, b), fixed(factor * load(v, (WEIGHT + b) * THREADS)))


@outlined_kernel
def deposit_along(v, absorption_per_m, path_m, cells, cell):
    """Add to row `cell` of `cells` the packet as it is after `path_m` of water."""
    settle(v)
    for k in range(N_BANDS):
        b = turned(k)
        passed = math.exp(-load(b, WATER_PER_M) * path_m)
        cuda.atomic.add(cells, (cell, b), fixed(passed * load(v, (WEIGHT + b) * THREADS)))


@outlined_kernel
def mean(v, n_bands):
    """Mean weight over the bands."""
    settle(v)
    total = np.float32(0.0)
    for b in range(N_BANDS):
        total += load(v, (WEIGHT + b) * THREADS)
    return total / np.float32(N_BANDS)


@kernel
def table_mean(table, row, n_bands):
    """Mean of a row of a spectral table over its bands."""
    total = np.float32(0.0)
    for b in range(n_bands):
        total += table[row, b]
    return total / np.float32(n_bands)
