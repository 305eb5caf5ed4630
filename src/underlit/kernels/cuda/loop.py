"""The photon loop on a CUDA card: each thread has a few photons under way, a block takes those at one stage further."""

from __future__ import annotations

import numpy as np
from numba import cuda

from underlit.kernels.bvh_build import MAX_DEPTH
from underlit.kernels.cuda.bands import start
from underlit.kernels.cuda.bvh import comes_near
from underlit.kernels.cuda.load import load, load_bits, load_word, store, store_bits, store_word
from underlit.kernels.cuda.sizes import (
    DX,
    DY,
    DZ,
    END,
    EVENTS,
    FACE,
    GLASS_PER_M,
    HIGH,
    KINDS,
    LOW,
    N_BANDS,
    N_SINKS,
    PX,
    PY,
    PZ,
    S_PART,
    SKIP,
    THREADS,
    U_FIRST,
    WATER_PER_M,
    WORDS,
    T,
)  # fmt: skip
from underlit.kernels.cuda.stages import (
    BEGIN,
    IDLE,
    SEARCH,
    at,
    looking,
    most_wanted,
    moved,
    present,
    slot_at,
)
from underlit.kernels.emit import emit
from underlit.kernels.fresnel import UNPOLARISED
from underlit.kernels.jit import kernel
from underlit.kernels.reach import NOTHING, meshes_about, reach_mesh, reach_walls
from underlit.kernels.rng import (
    SOBOL_DIMENSIONS,
    mix32,
    owen_scramble,
    rng_start,
    sobol_skip,
    sobol_start,
    stream_word,
)  # fmt: skip
from underlit.kernels.route import MIXED
from underlit.kernels.track import NO_FACE, arrive, begin, goes_on

_STACK = MAX_DEPTH + 2
_IN_SHARED_MEMORY = 0  # stands for the light budget, which kernels are handed on


@kernel
def save_ray(v, px, py, pz, dx, dy, dz):
    """Keep where a photon is and where it goes."""
    store(v, PX * THREADS, px)
    store(v, PY * THREADS, py)
    store(v, PZ * THREADS, pz)
    store(v, DX * THREADS, dx)
    store(v, DY * THREADS, dy)
    store(v, DZ * THREADS, dz)


@kernel
def ray(v):
    """Where a photon is and where it goes."""
    return (
        load(v, PX * THREADS), load(v, PY * THREADS), load(v, PZ * THREADS),
        load(v, DX * THREADS), load(v, DY * THREADS), load(v, DZ * THREADS),
    )  # fmt: skip


@kernel
def save_kinds(v, region, event, entered):
    """Keep where a photon is, what it comes to, and how far it has come."""
    store_word(v, KINDS * THREADS, np.int32(region | event << 4 | entered << 8))


@kernel
def kinds(v):
    """Region, event and how far a photon has come."""
    word = load_word(v, KINDS * THREADS)
    return word & 15, (word >> 4) & 15, word >> 8


@kernel
def save_event(v, t, event, face, region, entered):
    """Keep what a photon comes to next; returned is the stage that it is at."""
    store(v, T * THREADS, t)
    store_word(v, FACE * THREADS, np.int32(face))
    save_kinds(v, region, event, entered)
    return at(event, face)


@kernel
def send_out(source, tank, points, scramble, photon, stream, v):
    """Start a photon; returned, as by all that follow, is the stage that it is at then."""
    start(v)
    rng_start(v, photon, stream)
    px, py, pz, dx, dy, dz = emit(
        source,
        owen_scramble(points[0], scramble[0]),
        owen_scramble(points[1], scramble[1]),
        owen_scramble(points[2], scramble[2]),
        owen_scramble(points[3], scramble[3]),
    )
    region, entered = begin(tank, px, py, pz)
    save_ray(v, px, py, pz, dx, dy, dz)
    save_kinds(v, region, NOTHING, entered)
    store(v, U_FIRST * THREADS, owen_scramble(points[4], scramble[4]))
    store(v, S_PART * THREADS, UNPOLARISED)
    store_word(v, EVENTS * THREADS, np.int32(0))
    store_word(v, SKIP * THREADS, np.int32(NO_FACE))
    return looking(region)


@kernel
def look(scene, bvh, v, seed):
    """Find a photon's next event but for meshes."""
    px, py, pz, dx, dy, dz = ray(v)
    region, _, entered = kinds(v)
    events = load_word(v, EVENTS * THREADS) + 1
    store_word(v, EVENTS * THREADS, np.int32(events))
    if not goes_on(scene, events, v, _IN_SHARED_MEMORY, v, seed):
        return BEGIN
    t, event, face = reach_walls(scene, region, px, py, pz, dx, dy, dz)
    stage = save_event(v, t, event, face, region, entered)
    near = meshes_about(scene, region, t, pz, dz) and comes_near(bvh, px, py, pz, dx, dy, dz, t)
    return SEARCH if near else stage


@kernel
def search(bvh, v, stack):
    """See whether a photon meets a mesh before."""
    px, py, pz, dx, dy, dz = ray(v)
    region, event, entered = kinds(v)
    t, face, skip = load(v, T * THREADS), np.int64(load_word(v, FACE * THREADS)), load_word(v, SKIP * THREADS)
    t, event, face = reach_mesh(bvh, t, event, face, px, py, pz, dx, dy, dz, skip, stack)
    return save_event(v, t, event, face, region, entered)


@kernel
def meet(scene, cells, v, seed):
    """Take a photon through its next event."""
    px, py, pz, dx, dy, dz = ray(v)
    region, event, entered = kinds(v)
    t, face = load(v, T * THREADS), np.int64(load_word(v, FACE * THREADS))
    u_first, s_part = load(v, U_FIRST * THREADS), load(v, S_PART * THREADS)
    region, px, py, pz, dx, dy, dz, skip, _, s_part, entered, u_first = arrive(
        scene, t, event, face, region, px, py, pz, dx, dy, dz, MIXED, s_part, entered, u_first, v, cells,
        _IN_SHARED_MEMORY, v, seed,
    )  # fmt: skip
    save_ray(v, px, py, pz, dx, dy, dz)
    save_kinds(v, region, event, entered)
    store(v, U_FIRST * THREADS, u_first)
    store(v, S_PART * THREADS, s_part)
    store_word(v, SKIP * THREADS, np.int32(skip))
    return looking(region)


@kernel
def prepare_block(tank):
    """Set what a block has in shared memory."""
    me = cuda.threadIdx.x
    for b in range(me, N_BANDS, THREADS):
        store(b, GLASS_PER_M, tank.a_glass_per_m[b])
        store(b, WATER_PER_M, tank.a_water_per_m[b])
    for k in range(me, END - LOW, THREADS):
        store_bits(k, LOW, np.uint32(0))
    cuda.syncthreads()


@kernel
def add_budget(sinks, replicate):
    """Add the light budget of a block to that of the run."""
    cuda.syncthreads()
    for k in range(cuda.threadIdx.x, N_SINKS * N_BANDS, THREADS):
        amount = (np.int64(load_word(k, HIGH)) << 32) + np.int64(load_bits(k, LOW))
        if amount != 0:
            cuda.atomic.add(sinks, (replicate, k // N_BANDS, k % N_BANDS), amount)


def trace_on_card(
    scene, bvh, source, directions, seed, first_stream, stream_step, first, count, log2_step, cells, sinks
):
    """Trace photons `first` to `first + count` of each replicate, a row of blocks of 2**log2_step threads for each.

    `cells` (K, C, n_bands) and `sinks` (K, N, n_bands) are int64 and added to. Thread t traces photons t,
    t + 2**log2_step, ... Which thread traces what does not show in the sums.
    """
    points = cuda.local.array(SOBOL_DIMENSIONS, np.uint32)
    scramble = cuda.local.array(SOBOL_DIMENSIONS, np.uint32)
    stack = cuda.local.array(_STACK, np.int32)
    prepare_block(scene.tank)
    replicate = cuda.blockIdx.y
    stream = first_stream + replicate * stream_step
    word = stream_word(seed, stream)
    for dimension in range(SOBOL_DIMENSIONS):
        scramble[dimension] = mix32(word + np.uint32(dimension) * np.uint32(0x9E3779B9))
    photon = first + cuda.blockIdx.x * THREADS + cuda.threadIdx.x
    sobol_start(directions, photon, points)
    stages = turn = 0  # all slots at `BEGIN`
    while True:
        found = present(stages, photon < first + count)
        chosen = most_wanted(found, turn)
        turn = 0 if turn == 2 else turn + 1
        if chosen == IDLE:
            break
        if (found >> chosen) & 1:
            slot = slot_at(stages, chosen)
            v = slot * (WORDS * THREADS) + cuda.threadIdx.x
            if chosen == BEGIN:
                stage = send_out(source, scene.tank, points, scramble, photon, stream, v)
                sobol_skip(directions, photon, log2_step, points)
                photon += 1 << log2_step
            elif chosen < SEARCH:
                stage = look(scene, bvh, v, seed)
            elif chosen == SEARCH:
                stage = search(bvh, v, stack)
            else:
                stage = meet(scene, cells[replicate], v, seed)
            stages = moved(stages, slot, stage)
    add_budget(sinks, replicate)


def compiled(registers: int):
    """`trace_on_card` as a kernel of so many registers for each thread."""
    return cuda.jit(max_registers=registers, fastmath=True)(trace_on_card)
