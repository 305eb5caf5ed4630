"""Where the random state of a photon stands: in shared memory, at `slot`, see `sizes`."""

from __future__ import annotations

import numpy as np

from underlit.kernels.cuda.load import load_bits, store_bits
from underlit.kernels.cuda.sizes import RANDOM, THREADS
from underlit.kernels.jit import kernel


@kernel
def get(slot, k):
    """Word `k`."""
    return load_bits(slot, (RANDOM + k) * THREADS)


@kernel
def put(slot, k, word):
    """Set word `k`."""
    store_bits(slot, (RANDOM + k) * THREADS, np.uint32(word))
