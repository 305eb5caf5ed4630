"""What a block of threads is compiled for, and where its numbers stand in shared memory, in words of four bytes.

Each thread has several photons under way. Word k of the photon in slot s of a thread stands at
(s WORDS + k) THREADS + thread: no two threads of a warp ever meet in a bank.
"""

from __future__ import annotations

THREADS = 256
SLOTS = 4
N_BANDS = 16
N_SINKS = 24

# Words of a photon.
PX, PY, PZ, DX, DY, DZ, T, U_FIRST, S_PART, KINDS, EVENTS, FACE, SKIP, GLASS_M, WATER_M = range(15)
RANDOM = 15  # (8,) state of the random numbers
WEIGHT = 23  # (N_BANDS,)
WORDS = WEIGHT + N_BANDS

GLASS_PER_M = SLOTS * WORDS * THREADS  # (N_BANDS,) absorption
WATER_PER_M = GLASS_PER_M + N_BANDS
LOW = WATER_PER_M + N_BANDS  # (N_SINKS, N_BANDS) light budget of the block, lower words
HIGH = LOW + N_SINKS * N_BANDS  # and upper words
COUNTS = HIGH + N_SINKS * N_BANDS  # (3, 16) photons at each stage
END = COUNTS + 48
