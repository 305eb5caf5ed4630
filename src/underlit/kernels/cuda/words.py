"""What a card has instructions for."""

from __future__ import annotations

import numpy as np
from numba import cuda

from underlit.kernels.jit import kernel


@kernel
def reverse_bits(x):
    """The 32 bits of `x` in reverse order."""
    return np.uint32(cuda.brev(np.uint32(x)))
