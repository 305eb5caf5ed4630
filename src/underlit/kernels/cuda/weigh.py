"""The threads of a warp work out their packets together, each a band: see `bands`."""

from __future__ import annotations

import math

import numpy as np
from numba import cuda

from underlit.kernels.arrays import IN_GLASS, IN_WATER, ROULETTE
from underlit.kernels.cuda.bands import (
    CELL,
    GLASS_M,
    NOTHING,
    SHARE,
    WATER_M,
    WHITE,
    book,
    fixed,
    flush,
    lose,
    mean,
    multiply,
    scale,
    settle,
    weight_at,
)
from underlit.kernels.cuda.load import (
    add_global,
    bits,
    from_bits,
    load,
    load4_shared,
    load_long,
    load_word,
    store,
    store4_shared,
    store_long,
    store_word,
)
from underlit.kernels.cuda.sizes import (
    EVENT,
    GLASS_PER_M,
    GOES_ON,
    LANES,
    N_BANDS,
    OWN,
    PACKET,
    STRIDE,
    WATER_PER_M,
    WEIGHT,
)
from underlit.kernels.jit import kernel
from underlit.kernels.roulette import ROULETTE_BELOW

ALL = 0xFFFFFFFF

# Entries of the light budget that a warp keeps for itself, each thread its own: there so much is added.
OFTEN = (IN_GLASS, IN_WATER, ROULETTE)
OFTEN_GLASS, OFTEN_WATER, OFTEN_ROULETTE = range(len(OFTEN))

_HALVINGS = LANES.bit_length() - 1
GROUPS = 32 // LANES  # of threads that share a packet, in a warp


@kernel
def before_me(threads):
    """How many of some threads of the warp come before this one."""
    return np.int32(cuda.popc(np.uint32(threads) & np.uint32((1 << (cuda.threadIdx.x & 31)) - 1)))


@kernel
def lose_often(entry, amount):
    """Add to one of the entries that a warp keeps for itself."""
    place = np.int32(((cuda.threadIdx.x >> 5) * len(OFTEN) + entry) * 64 + 2 * (cuda.threadIdx.x & 31))
    store_long(place, OWN, load_long(place, OWN) + amount)


@kernel
def pass_on():
    """Add the entries that a warp keeps for itself to the light budget of the block."""
    lane = np.int32(cuda.threadIdx.x & 31)
    for entry in range(len(OFTEN)):
        place = np.int32(((cuda.threadIdx.x >> 5) * len(OFTEN) + entry) * 64 + 2 * lane)
        lose(OFTEN[entry], lane, load_long(place, OWN))
        store_long(place, OWN, np.int64(0))


@kernel
def sum_of_bands(x):
    """Sum over the threads that share a packet, in an order that is always the same."""
    for k in range(_HALVINGS):
        x += cuda.shfl_xor_sync(ALL, x, 1 << k)
    return x


@kernel
def weigh(scene, works, row, sink, end, u, v, cells):
    """What `track.weigh` does, for the packets of all threads with `works`, `u` being a random number of each.

    All threads of the warp must call it.
    """
    if N_BANDS > 32:
        return _weigh_alone(scene, works, row, sink, end, u, v, cells)
    asks = works and (row >= 0 or end >= 0 or bits(v[CELL]) >= 0)
    asking = np.uint32(cuda.ballot_sync(ALL, asks))
    if asking == np.uint32(0):
        return True
    me, lane = np.int32(cuda.threadIdx.x), np.int32(cuda.threadIdx.x & 31)
    warp, n = np.int32(me - lane), np.int32(cuda.popc(asking))
    if asks:
        place = np.int32(warp + before_me(asking))
        entry = np.int32(sink) if row >= 0 else np.int32(end)
        store4_shared(place, PACKET, v[GLASS_M], v[WATER_M], v[SHARE], v[CELL])
        store4_shared(place, EVENT, u, from_bits(np.int32(row)), from_bits(entry), owner_word(v))
        store_word(me, GOES_ON, np.int32(1))
    cuda.syncwarp()
    k = np.int32(lane // LANES)
    for _ in range((n + GROUPS - 1) // GROUPS):
        _weigh_one(scene, np.int32(warp + k), k < n, warp, cells)
        k = np.int32(k + GROUPS)
    cuda.syncwarp()
    goes_on = True
    if asks:
        goes_on = load_word(me, GOES_ON) != 0
        if row >= 0 or v[GLASS_M] + v[WATER_M] > 0.0:
            v[WHITE] = from_bits(np.int32(0))
        v[GLASS_M], v[WATER_M], v[CELL] = np.float32(0.0), np.float32(0.0), from_bits(NOTHING)
    return goes_on


@kernel
def owner_word(v):
    """Which thread of the warp has a packet, and, 32 more, that its weights are all 1."""
    return from_bits(np.int32((cuda.threadIdx.x & 31) | (bits(v[WHITE]) << 5)))


@kernel
def _weigh_one(scene, place, works, warp, cells):
    """Weigh the packet at a place, all threads that share it together."""
    lane = np.int32(cuda.threadIdx.x & 31)
    b = np.int32(lane & (LANES - 1))
    works = works and b < N_BANDS
    glass_m, water_m, share, cell_bits = load4_shared(place, PACKET)
    u, row_bits, entry_bits, owner_bits = load4_shared(place, EVENT)
    cell, row, entry = bits(cell_bits), bits(row_bits), bits(entry_bits)
    owner = np.int32(warp + (bits(owner_bits) & 31))
    at = np.int32(owner * STRIDE + b)
    opaque, x, now = works and row >= 0, np.float32(0.0), np.int64(0)
    if works:
        x = np.float32(1.0) if bits(owner_bits) >= 32 else load(at, WEIGHT)
        now = fixed(x)
        if glass_m > 0.0:
            x *= math.exp(-load(b, GLASS_PER_M) * glass_m)
            left = fixed(x)
            lose_often(OFTEN_GLASS, now - left)
            now = left
        if water_m > 0.0:
            x *= math.exp(-load(b, WATER_PER_M) * water_m)
            left = fixed(x)
            lose_often(OFTEN_WATER, now - left)
            now = left
        if cell >= 0:
            add_global(cells.light, np.int64(cell) * N_BANDS + b, fixed(share * x))
        if entry >= 0:
            x *= scene.reflectance[row, b] if row >= 0 else np.float32(0.0)
            left = fixed(x)
            lose(entry, lane, now - left)
            now = left
            if row < 0:
                store_word(owner, GOES_ON, np.int32(0))
    if cuda.ballot_sync(ALL, opaque) != 0:
        mean_weight = sum_of_bands(x) / np.float32(N_BANDS)
        if opaque and mean_weight < ROULETTE_BELOW:
            x = x / mean_weight if u < mean_weight else np.float32(0.0)
            lose_often(OFTEN_ROULETTE, now - fixed(x))
            if u >= mean_weight:
                store_word(owner, GOES_ON, np.int32(0))
    if works:
        store(at, WEIGHT, x)


@kernel
def _weigh_alone(scene, works, row, sink, end, u, v, cells):
    """The same, each thread by itself: for more bands than a warp has threads."""
    if not works:
        return True
    if row >= 0:
        multiply(v, scene.reflectance, row, cells, sink)
        weight = mean(v, N_BANDS)
        if weight >= ROULETTE_BELOW:
            return True
        scale(v, 1.0 / weight if u < weight else np.float32(0.0), cells, ROULETTE)
        return u < weight
    if end >= 0:
        book(v, cells, end)
        return False
    if bits(v[CELL]) >= 0:
        flush(v, cells)
    return True


@kernel
def pass_plane(crosses, cell, water_m, v, cells):
    """Book the packets of all threads with `crosses` to a plane that they go through after so much more water.

    All threads of the warp must call it. Packets are left as they are.
    """
    row = np.int32(cells.first + cell)
    if N_BANDS > 32:
        if crosses:
            settle(v)
            for b in range(N_BANDS):
                passed = math.exp(-load(b, WATER_PER_M) * water_m) * load(weight_at(b), WEIGHT)
                add_global(cells.light, np.int64(row) * N_BANDS + b, fixed(passed))
        return
    crossing = np.uint32(cuda.ballot_sync(ALL, crosses))
    if crossing == np.uint32(0):
        return
    lane = np.int32(cuda.threadIdx.x & 31)
    warp, n = np.int32(cuda.threadIdx.x - lane), np.int32(cuda.popc(crossing))
    if crosses:
        place, after_m = np.int32(warp + before_me(crossing)), v[WATER_M] + np.float32(water_m)
        store4_shared(place, PACKET, v[GLASS_M], after_m, from_bits(row), owner_word(v))
    cuda.syncwarp()
    k = np.int32(lane // LANES)
    for _ in range((n + GROUPS - 1) // GROUPS):
        if k < n:
            _pass_one(np.int32(warp + k), warp, cells)
        k = np.int32(k + GROUPS)
    cuda.syncwarp()


@kernel
def _pass_one(place, warp, cells):
    """Book the packet at a place to the plane that it goes through."""
    b = np.int32(cuda.threadIdx.x & (LANES - 1))
    if b < N_BANDS:
        glass_m, water_m, cell_bits, owner_bits = load4_shared(place, PACKET)
        at = np.int32((warp + (bits(owner_bits) & 31)) * STRIDE + b)
        x = np.float32(1.0) if bits(owner_bits) >= 32 else load(at, WEIGHT)
        x *= math.exp(-load(b, GLASS_PER_M) * glass_m - load(b, WATER_PER_M) * water_m)
        add_global(cells.light, np.int64(bits(cell_bits)) * N_BANDS + b, fixed(x))
