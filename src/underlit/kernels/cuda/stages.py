"""What a photon is to do next, and how a block of threads agrees on what it does next.

All warps of a block do the same at the same time, what most threads have a photon for: so code is fetched once for all
of them, and the threads of a warp stay together.
"""

from __future__ import annotations

import numpy as np
from numba import cuda

from underlit.kernels.arrays import BOTTOM, ENDED, GLASS, OUTSIDE
from underlit.kernels.cuda.load import add_shared, load_word, store_word
from underlit.kernels.cuda.sizes import COUNTS, SLOTS
from underlit.kernels.jit import kernel
from underlit.kernels.reach import INNER_FACE, MESH, OUTER_FACE, SOIL, TANK, WALL

(
    BEGIN,
    LOOK_INSIDE,
    LOOK_IN_GLASS,
    LOOK_OUTSIDE,
    SEARCH,
    AT_OPAQUE,
    AT_WALL,
    AT_LEVEL,
    AT_INNER_FACE,
    AT_OUTER_FACE,
    AT_TANK,
    AT_OTHER,
    N_STAGES,
) = range(13)
IDLE = 15
_BITS, _MASK = 4, 15  # of a stage, in the word that holds those of all slots
_ALL = 0xFFFFFFFF
_ROW = 16  # words of a row of counts


@kernel
def looking(region):
    """Where a photon goes on from after an event."""
    if region == ENDED:
        return BEGIN
    if region == GLASS:
        return LOOK_IN_GLASS
    return LOOK_OUTSIDE if region == OUTSIDE else LOOK_INSIDE


@kernel
def at(event, face):
    """Where a photon goes on from once its next event is known: with those for which the same is to be done."""
    if event == WALL:
        return AT_WALL if face < BOTTOM else AT_LEVEL
    if event == INNER_FACE:
        return AT_INNER_FACE
    if event == OUTER_FACE:
        return AT_OUTER_FACE
    if event == TANK:
        return AT_TANK
    return AT_OPAQUE if event == SOIL or event == MESH else AT_OTHER


@kernel
def present(stages, more):
    """A bit for each stage that one of a thread's photons is at; `BEGIN` counts if there are more photons to come."""
    found = 0
    for slot in range(SLOTS):
        found |= 1 << ((stages >> (slot * _BITS)) & _MASK)
    return found if more else found & ~(1 << BEGIN)


@kernel
def slot_at(stages, stage):
    """A slot of the thread with a photon at `stage`."""
    found = 0
    for slot in range(1, SLOTS):
        if (stages >> (slot * _BITS)) & _MASK == stage:
            found = slot
    return found


@kernel
def moved(stages, slot, stage):
    """`stages` once the photon in `slot` is at `stage`."""
    return stages & ~(_MASK << (slot * _BITS)) | stage << (slot * _BITS)


@kernel
def most_wanted(found, turn):
    """The stage that most threads of the block have a photon at; `IDLE` if none has any.

    Counts are kept in three rows by turns: one is added to, one may still be read, one is cleared.
    """
    lane, mine = cuda.threadIdx.x & 31, 0
    for stage in range(N_STAGES):
        n = cuda.popc(cuda.ballot_sync(_ALL, (found >> stage) & 1))
        mine = n if lane == stage else mine
    if mine > 0:
        add_shared(lane, COUNTS + _ROW * turn, np.uint32(mine))
    cuda.syncthreads()
    mine = load_word(lane & _MASK, COUNTS + _ROW * turn)
    if cuda.threadIdx.x < _ROW:
        store_word(cuda.threadIdx.x, COUNTS + _ROW * (2 if turn == 0 else turn - 1), np.int32(0))
    most = np.int32(mine << _BITS | lane & _MASK)
    for distance in (8, 4, 2, 1):
        most = max(most, cuda.shfl_xor_sync(_ALL, most, distance))
    return most & _MASK if most >> _BITS > 0 else IDLE
