"""What the card's kernels are compiled for, and where their numbers stand in shared memory, in words of four bytes."""

from __future__ import annotations

THREADS = 256  # of a block
N_BANDS = 16
N_SINKS = 24

# A warp takes what its threads do in steps, and takes one when so many threads wait for it, of 32.
SEND_OUT = 7
SEARCH = 14
SEARCH_ON = 12
LEAVES = 3

# Threads that share the bands of one packet where a warp works on several together: one to each band.
LANES = 1 if N_BANDS == 1 else 2 if N_BANDS == 2 else 4 if N_BANDS <= 4 else 8 if N_BANDS <= 8 else 16
LANES = LANES if N_BANDS <= 16 else 32
ROW = (
    32 if N_BANDS <= 32 else N_BANDS
)  # of the light budget: a number to each thread of a warp, so that none collide

PACKET = 0  # (THREADS, 4) what `bands.weigh` is told of each thread's packet
EVENT = PACKET + 4 * THREADS  # (THREADS, 4) and of its event
OWN = EVENT + 4 * THREADS  # (warps, 3, 32) entries of the light budget that a warp keeps for itself, int64
GOES_ON = OWN + 6 * THREADS  # (THREADS,) what `bands.weigh` answers
WEIGHT = GOES_ON + THREADS  # (THREADS, STRIDE)
STRIDE = N_BANDS | 1  # odd, so that threads that go through their bands in step never meet in a bank
GLASS_PER_M = WEIGHT + STRIDE * THREADS  # (32,) absorption
WATER_PER_M = GLASS_PER_M + ROW
LOW = WATER_PER_M + ROW  # (N_SINKS, ROW) light budget of the block, lower words
HIGH = LOW + N_SINKS * ROW  # and upper words
SCRAMBLE = HIGH + N_SINKS * ROW  # (5,) of the Sobol points
LOW_POINTS = SCRAMBLE + 5  # (5, 32) the first 32 Sobol points
POINTS = LOW_POINTS + 5 * 32  # (warps, 5) the first of those that a warp sends out
END = POINTS + 5 * (THREADS // 32)
