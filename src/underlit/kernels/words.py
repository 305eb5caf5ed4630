"""What is done to the bits of a word."""

from __future__ import annotations

import numpy as np

from underlit.kernels.jit import kernel


@kernel
def reverse_bits(x):
    """The 32 bits of `x` in reverse order."""
    x = np.uint32(x)
    x = (x >> np.uint32(16)) | np.uint32(x << np.uint32(16))
    x = ((x & np.uint32(0xFF00FF00)) >> np.uint32(8)) | np.uint32((x & np.uint32(0x00FF00FF)) << np.uint32(8))
    x = ((x & np.uint32(0xF0F0F0F0)) >> np.uint32(4)) | np.uint32((x & np.uint32(0x0F0F0F0F)) << np.uint32(4))
    x = ((x & np.uint32(0xCCCCCCCC)) >> np.uint32(2)) | np.uint32((x & np.uint32(0x33333333)) << np.uint32(2))
    return np.uint32(
        ((x & np.uint32(0xAAAAAAAA)) >> np.uint32(1)) | np.uint32((x & np.uint32(0x55555555)) << np.uint32(1))
    )
