"""The photon loop on a CUDA card: each thread follows one photon after another, the threads of a warp in step."""

from __future__ import annotations

import numpy as np
from numba import cuda

from underlit.kernels.arrays import AIR, ENDED, PAST_TANK, WATER
from underlit.kernels.bvh_build import MAX_DEPTH
from underlit.kernels.cuda.bands import PACKET_WORDS, Cells, lose, start
from underlit.kernels.cuda.bvh import FOUND, comes_near, search
from underlit.kernels.cuda.draws import RNG_WORDS, draw_for, draw_rarely, rng_start, uniform
from underlit.kernels.cuda.load import load_bits, load_word, store, store_bits
from underlit.kernels.cuda.sizes import (
    GLASS_PER_M,
    HIGH,
    LANES,
    LOW,
    LOW_POINTS,
    N_BANDS,
    N_SINKS,
    OWN,
    POINTS,
    ROW,
    SCRAMBLE,
    SEARCH,
    SEARCH_ON,
    SEND_OUT,
    THREADS,
    WATER_PER_M,
)
from underlit.kernels.cuda.weigh import ALL, before_me, pass_on, pass_plane, weigh
from underlit.kernels.emit import emit
from underlit.kernels.features import LID, MESHES, PLANES
from underlit.kernels.fresnel import UNPOLARISED
from underlit.kernels.jit import kernel
from underlit.kernels.panes import NO_ROW, NO_SINK
from underlit.kernels.reach import MESH, NOTHING, meshes_about, reach_medium, reach_walls
from underlit.kernels.rng import SOBOL_DIMENSIONS, mix32, owen_scramble, stream_word
from underlit.kernels.route import MIXED
from underlit.kernels.tally import NO_CELL, plane_cell
from underlit.kernels.track import ROULETTE_EVERY, arrive, begin, goes_on, leave

_STACK = int(MAX_DEPTH) + 2
_AT_ONCE = 32  # photons that a warp fetches
_LOOK_TURN = 1 << 16  # of random numbers: for what is drawn before an event is known

# What a thread's photon is to do next: there is none; find its next event; see whether it meets a mesh before; meet it.
NONE, LOOK, SEARCHES, MEET = np.arange(4, dtype=np.int32)


@kernel
def sobol_bits(directions, dimension, index):
    """Sobol number of one of the first points of a dimension, bit-reversed."""
    gray, value = np.uint32(index ^ (index >> 1)), np.uint32(0)
    for k in range(5):
        if (gray >> np.uint32(k)) & np.uint32(1):
            value ^= directions[dimension, k]
    return np.uint32(value)


@kernel
def prepare_block(tank, directions):
    """Set what a block has in shared memory for all of its photons."""
    me = cuda.threadIdx.x
    for b in range(me, ROW, THREADS):
        store(b, GLASS_PER_M, tank.a_glass_per_m[b] if b < N_BANDS else np.float32(0.0))
        store(b, WATER_PER_M, tank.a_water_per_m[b] if b < N_BANDS else np.float32(0.0))
    for k in range(me, SOBOL_DIMENSIONS * _AT_ONCE, THREADS):
        store_bits(k, LOW_POINTS, sobol_bits(directions, k // _AT_ONCE, k % _AT_ONCE))
    for k in range(me, 2 * N_SINKS * ROW, THREADS):
        store_bits(k, LOW, np.uint32(0))
    for k in range(me, 6 * THREADS, THREADS):
        store_bits(k, OWN, np.uint32(0))


@kernel
def prepare_stream(seed, stream):
    """Set what a block has in shared memory for the photons of a stream."""
    cuda.syncthreads()
    word = stream_word(seed, stream)
    for dimension in range(cuda.threadIdx.x, SOBOL_DIMENSIONS, THREADS):
        store_bits(dimension, SCRAMBLE, mix32(word + np.uint32(dimension) * np.uint32(0x9E3779B9)))
    cuda.syncthreads()


@kernel
def prepare_points(directions, index, points):
    """Find, all threads of a warp together, the Sobol point of a photon whose number is a multiple of 32."""
    lane = cuda.threadIdx.x & 31
    gray = np.uint32(index) ^ (np.uint32(index) >> np.uint32(1))
    for dimension in range(SOBOL_DIMENSIONS):
        value = np.int32(0)
        if (gray >> np.uint32(lane)) & np.uint32(1):
            value = np.int32(directions[dimension, lane])
        for k in range(5):
            value = np.int32(value ^ cuda.shfl_xor_sync(ALL, value, 1 << k))
        store_bits(points, POINTS + dimension, np.uint32(value))
    cuda.syncwarp()


@kernel
def coordinate(points, number, dimension):
    """Scrambled Sobol number of photon `number` of those that a warp has fetched."""
    word = load_bits(points, POINTS + dimension) ^ load_bits(number, LOW_POINTS + dimension * _AT_ONCE)
    return owen_scramble(word, load_bits(dimension, SCRAMBLE))


@kernel
def add_budget(sinks, replicate):
    """Add the light budget of a block to that of the run, and clear it."""
    cuda.syncthreads()
    for k in range(cuda.threadIdx.x, N_SINKS * ROW, THREADS):
        b = k % ROW if N_BANDS > 32 else k & (LANES - 1)
        amount = (np.int64(load_word(k, HIGH)) << 32) + np.int64(load_bits(k, LOW))
        if amount != 0:
            cuda.atomic.add(sinks, (replicate, k // ROW, b), amount)
        store_bits(k, LOW, np.uint32(0))
        store_bits(k, HIGH, np.uint32(0))


@kernel
def fetch(counter, replicate):
    """Number of the next photons of a replicate that nobody has fetched, in units of 32: for a warp."""
    mine = np.int32(0)
    if cuda.threadIdx.x & 31 == 0:
        mine = cuda.atomic.add(counter, replicate, np.int32(1))
    return np.int32(cuda.shfl_sync(ALL, mine, 0))


@kernel
def book_missed(missed):
    """Book the photons that the threads of a warp have sent past the tank."""
    lane = cuda.threadIdx.x & 31
    for k in range(5):
        missed = np.int32(missed + cuda.shfl_xor_sync(ALL, missed, 1 << k))
    for b in range(lane, N_BANDS, 32):
        lose(PAST_TANK, b, np.int64(missed) << 30)


@kernel
def trace_replicate(
    scene, bvh, source, directions, seed, stream, first, count, counter, replicate, cells, stack, rng, v
):
    """Trace photons of a replicate until all are fetched and those of this warp have ended."""
    points = (cuda.threadIdx.x >> 5) * SOBOL_DIMENSIONS
    batches = np.int32(((first + count - 1) >> 5) - (first >> 5) + 1)
    ahead = np.int32(first & 31)  # of the first batch, numbers that are not to be traced
    fetched, number, missed = np.int32(0), np.int32(_AT_ONCE), np.int32(0)
    todo, event, face, region = NONE, np.int32(NOTHING), np.int32(-1), np.int32(ENDED)
    entered, events, here, n_stack, skip = np.int32(0), np.int32(0), np.int32(0), np.int32(0), np.int32(-1)
    px = py = pz = dx = dy = dz = t = u_first = np.float32(0.0)
    s_part = np.float32(UNPOLARISED)
    while True:
        # Send out photons where threads have none.
        idle = np.uint32(cuda.ballot_sync(ALL, todo == NONE))
        if cuda.popc(idle) >= SEND_OUT and fetched < batches:
            if number == _AT_ONCE:
                fetched, number = fetch(counter, replicate), np.int32(0)
                if fetched < batches:
                    prepare_points(directions, ((first >> 5) + fetched) << 5, points)
            mine = np.int32(number + before_me(idle))
            photon = np.int32((fetched << 5) + mine - ahead)  # of those to trace
            if todo == NONE and mine < _AT_ONCE and 0 <= photon < count:
                px, py, pz, dx, dy, dz = emit(
                    source,
                    coordinate(points, mine, 0),
                    coordinate(points, mine, 1),
                    coordinate(points, mine, 2),
                    coordinate(points, mine, 3),
                )
                u_first = coordinate(points, mine, 4)
                px, py, pz, begun, come = begin(scene, px, py, pz, dx, dy, dz)
                region, entered = np.int32(begun), np.int32(come)
                todo, events, skip = LOOK, np.int32(0), np.int32(-1)
                s_part = np.float32(UNPOLARISED)
                rng_start(rng, first + photon, stream)
                start(v)
            number = np.int32(min(number + cuda.popc(idle), _AT_ONCE))
        elif idle == np.uint32(ALL):
            break
        # Find the next event of each path, meshes left out. Most photons that miss the tank end here.
        if todo == LOOK:
            events = np.int32(events + 1)
            goes = True
            if events & (ROULETTE_EVERY - 1) == 0:  # a power of 2
                draw_rarely(rng, events, _LOOK_TURN, seed)
                goes = goes_on(scene, events, v, cells, rng, seed)
            if goes:
                t, its, side = reach_walls(scene, region, px, py, pz, dx, dy, dz)
                event, face, todo = np.int32(its), np.int32(side), MEET
                about = MESHES and meshes_about(scene, region, t, pz, dz)
                if about and comes_near(bvh, px, py, pz, dx, dy, dz, t):
                    todo, here, n_stack = SEARCHES, np.int32(0), np.int32(0)
                if todo == MEET and event == NOTHING and events == 1:
                    todo, missed = NONE, np.int32(missed + 1)
            else:
                todo = NONE
        idle = np.uint32(cuda.ballot_sync(ALL, todo == NONE))
        if cuda.popc(idle) >= SEND_OUT and fetched < batches:
            continue
        # See whether it meets a mesh before, once enough threads want to know.
        if MESHES:
            waiting = cuda.popc(cuda.ballot_sync(ALL, todo == SEARCHES))
            others = cuda.ballot_sync(ALL, todo == MEET)
            if waiting >= SEARCH or (waiting > 0 and others == 0):
                t, event, face, here, n_stack = search(
                    bvh, todo == SEARCHES, min(waiting, SEARCH_ON), MESH, px, py, pz, dx, dy, dz, t, event, face, skip,
                    here, n_stack, stack,
                )  # fmt: skip
                if todo == SEARCHES and here == FOUND:
                    todo = MEET
        # Meet it.
        meets, rate = todo == MEET, np.float32(0.0)
        if meets:
            draw_for(rng, events, 0, seed)
            t, its, rate = reach_medium(scene, region, t, event, pz, dz, rng, seed)
            event = np.int32(its)
        if PLANES:
            downward, z_end = meets and dz < 0.0 and (region == WATER or region == AIR), pz + dz * t
            for k in range(scene.grid.plane_z_m.size):
                cell, s = NO_CELL, np.float32(0.0)
                if downward:
                    cell, s = plane_cell(scene.grid, k, px, py, pz, dx, dy, dz, z_end)
                pass_plane(cell >= 0, cell, s if region == WATER else np.float32(0.0), v, cells)
        before, dx_before, dy_before, after = region, dx, dy, region
        row, sink, end, u = NO_ROW, NO_SINK, NO_SINK, np.float32(0.0)
        nx = ny = nz = np.float32(0.0)
        mirror = False
        if meets:
            after, px, py, pz, dx, dy, dz, _, s_part, row, sink, end, nx, ny, nz, mirror = arrive(
                scene, t, event, face, rate, region, px, py, pz, dx, dy, dz, MIXED,
                s_part if LID else np.float32(UNPOLARISED), entered, u_first, v, cells, cells, rng, seed,
            )  # fmt: skip
            if row != NO_ROW:
                u = uniform(rng, seed)
        alive = weigh(scene, meets, row, sink, end, u, v, cells)
        if meets:
            after, px, py, pz, dx, dy, dz, left, s_part, come, u_first = leave(
                scene, event, face, before, dx_before, dy_before, after, px, py, pz, dx, dy, dz, s_part, entered,
                u_first, row, nx, ny, nz, mirror, alive, rng, seed,
            )  # fmt: skip
            region, skip, entered = np.int32(after), np.int32(left), np.int32(come)
            todo = NONE if region == ENDED else LOOK
    book_missed(missed)
    pass_on()


def trace_on_card(
    scene,
    bvh,
    source,
    directions,
    seed,
    first_stream,
    stream_step,
    first,
    count,
    counters,
    light,
    white,
    sinks,
):
    """Trace photons `first` to `first + count` of each replicate, with any number of blocks of `THREADS` threads.

    `light` (K, C, n_bands), `white` (K, C), see `bands.Cells`, and `sinks` (K, N, n_bands) are int64 and added to;
    `counters` (K,) is int32 and 0. Blocks
    begin with different replicates, and go on with the next when all photons of one are under way; warps fetch
    photons by 32. Which thread traces what does not show in the sums.
    """
    stack = cuda.local.array(_STACK, np.int32)
    rng = cuda.local.array(RNG_WORDS, np.uint32)
    v = cuda.local.array(PACKET_WORDS, np.float32)
    prepare_block(scene.tank, directions)
    replicates = light.shape[0]
    replicate = cuda.blockIdx.x % replicates
    for _ in range(replicates):
        stream = first_stream + replicate * stream_step
        prepare_stream(seed, stream)
        cells = Cells(light, white, np.int32(replicate * light.shape[1]))
        trace_replicate(
            scene,
            bvh,
            source,
            directions,
            seed,
            stream,
            first,
            count,
            counters,
            replicate,
            cells,
            stack,
            rng,
            v,
        )
        add_budget(sinks, replicate)
        replicate = replicate + 1 if replicate + 1 < replicates else 0


def compiled(registers: int):
    """`trace_on_card` as a kernel of so many registers for each thread."""
    return cuda.jit(max_registers=registers, fastmath=True)(trace_on_card)
