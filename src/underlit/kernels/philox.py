"""Counter-based random numbers."""

from __future__ import annotations

import numpy as np

from underlit.kernels.jit import kernel


@kernel
def philox(c0, c1, c2, c3, k0, k1):
    """Philox 4x32-10: four random words from counter and key.

    J. K. Salmon, M. A. Moraes, R. O. Dror, D. E. Shaw 2011, Parallel random numbers: as easy as 1, 2, 3, SC '11.
    """
    mask = np.uint64(0xFFFFFFFF)
    shift = np.uint64(32)
    for _ in range(10):
        product0 = np.uint64(0xD2511F53) * np.uint64(c0)
        product1 = np.uint64(0xCD9E8D57) * np.uint64(c2)
        c0, c1, c2, c3 = (
            np.uint32(np.uint32(product1 >> shift) ^ c1 ^ k0),
            np.uint32(product1 & mask),
            np.uint32(np.uint32(product0 >> shift) ^ c3 ^ k1),
            np.uint32(product0 & mask),
        )
        k0 = np.uint32(k0 + np.uint32(0x9E3779B9))
        k1 = np.uint32(k1 + np.uint32(0xBB67AE85))
    return c0, c1, c2, c3
