"""Random and quasi-random numbers, each a pure function of seed, photon number and draw.

Owen-scrambled Sobol points drive the first `SOBOL_DIMENSIONS` choices of a photon, Philox all later ones. No state
is shared between photons, so results do not depend on the number of threads.
"""

from __future__ import annotations

import numpy as np

from underlit.kernels.jit import kernel, outlined_kernel
from underlit.kernels.real import unit
from underlit.kernels.state import get, put

SOBOL_DIMENSIONS = 5
_BITS = 32

# Degree, polynomial and initial numbers of dimensions 2-5 (S. Joe and F. Y. Kuo 2008, SIAM J. Sci. Comput. 30:2635).
_JOE_KUO = ((1, 0, (1,)), (2, 1, (1, 3)), (3, 1, (1, 3, 1)), (3, 2, (1, 1, 1)))


def sobol_directions() -> np.ndarray:
    """Direction numbers of the Sobol sequence, bit-reversed.

    Returns
    -------
    ndarray, shape (SOBOL_DIMENSIONS, 32), uint32
        Bit 0 holds the first binary digit, as `owen_scramble` wants it.
    """
    directions = np.zeros((SOBOL_DIMENSIONS, _BITS), np.uint32)
    directions[0] = [1 << (_BITS - 1 - k) for k in range(_BITS)]
    for dimension, (degree, polynomial, initial) in enumerate(_JOE_KUO, start=1):
        numbers = [m << (_BITS - 1 - k) for k, m in enumerate(initial)]
        for k in range(degree, _BITS):
            value = numbers[k - degree] ^ (numbers[k - degree] >> degree)
            for j in range(1, degree):
                if polynomial >> (degree - 1 - j) & 1:
                    value ^= numbers[k - j]
            numbers.append(value)
        directions[dimension] = numbers
    return np.array([[int(f"{v:032b}"[::-1], 2) for v in row] for row in directions], np.uint32)


@kernel
def mix32(x):
    """Scramble a 32-bit word (the finaliser of MurmurHash3, public domain)."""
    x = np.uint32(x)
    x ^= x >> np.uint32(16)
    x = np.uint32(x * np.uint32(0x85EBCA6B))
    x ^= x >> np.uint32(13)
    x = np.uint32(x * np.uint32(0xC2B2AE35))
    return np.uint32(x ^ (x >> np.uint32(16)))


@kernel
def stream_word(seed, stream):
    """What all scrambling of a stream starts from."""
    return mix32(np.uint32(seed) ^ mix32(np.uint32(seed >> 32) ^ np.uint32(stream)))


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


@kernel
def owen_scramble(reversed_digits, seed):
    """Uniform in (0, 1) from a bit-reversed Sobol number, nested-uniform scrambled.

    Each operation lets a bit depend on lower bits only, which after reversal are the leading digits: B. Burley 2020,
    Practical hash-based Owen scrambling, J. Comput. Graph. Tech. 9(4), after Laine and Karras 2011.
    """
    x = np.uint32(reversed_digits)
    x = np.uint32(x + seed)
    x ^= np.uint32(x * np.uint32(0x6C50B47C))
    x ^= np.uint32(x * np.uint32(0xB82F1E52))
    x ^= np.uint32(x * np.uint32(0xC7AFE638))
    x ^= np.uint32(x * np.uint32(0x8D22F6E6))
    return unit(reverse_bits(x))


@kernel
def owen_scramble_all(points, keys, u):
    """`owen_scramble` in each dimension."""
    for dimension in range(SOBOL_DIMENSIONS):
        u[dimension] = owen_scramble(points[dimension], keys[dimension])


@kernel
def sobol_start(directions, index, state):
    """Set `state` (5,) to Sobol point `index` in Gray-code order."""
    gray = np.uint32(index ^ (index >> 1))
    for dimension in range(state.size):
        value = np.uint32(0)
        for k in range(32):
            if (gray >> np.uint32(k)) & np.uint32(1):
                value ^= directions[dimension, k]
        state[dimension] = value


@kernel
def sobol_next(directions, index, state):
    """Step `state` from point `index` to point `index + 1`."""
    k = 0
    rest = index + 1
    while rest & 1 == 0:
        rest >>= 1
        k += 1
    for dimension in range(state.size):
        state[dimension] ^= directions[dimension, k]


@kernel
def sobol_skip(directions, index, log2_step, state):
    """Step `state` from point `index` to point `index + 2**log2_step`."""
    # Such a step flips a run of bits, and of their Gray code the highest and the one below the lowest.
    rest, k = index >> log2_step, log2_step
    while rest & 1:
        rest >>= 1
        k += 1
    for dimension in range(state.size):
        state[dimension] ^= directions[dimension, k]
        if log2_step > 0:
            state[dimension] ^= directions[dimension, log2_step - 1]


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


# Layout of a photon's random state, uint32 (8,): four buffered words, how many are used, block, photon low, stream.
_WORD_0, _WORD_1, _WORD_2, _WORD_3, _USED, _BLOCK, _PHOTON, _STREAM = np.arange(8)
RNG_WORDS = 8


@kernel
def rng_start(rng, photon, stream):
    """Give `rng` (RNG_WORDS,) to photon number `photon` of `stream`."""
    put(rng, _USED, np.uint32(4))
    put(rng, _BLOCK, np.uint32(0))
    put(rng, _PHOTON, np.uint32(photon))
    put(rng, _STREAM, np.uint32(stream))


@kernel
def draw_block(rng, seed):
    """Fill the buffer with the next four words."""
    block = get(rng, _BLOCK)
    w0, w1, w2, w3 = philox(
        get(rng, _PHOTON), get(rng, _STREAM), block, np.uint32(0), np.uint32(seed), np.uint32(seed >> 32)
    )
    put(rng, _WORD_0, w0)
    put(rng, _WORD_1, w1)
    put(rng, _WORD_2, w2)
    put(rng, _WORD_3, w3)
    put(rng, _BLOCK, np.uint32(block + np.uint32(1)))


@outlined_kernel
def uniform(rng, seed):
    """Next uniform number in (0, 1) of this photon."""
    used = get(rng, _USED)
    if used == np.uint32(4):
        draw_block(rng, seed)
        used = np.uint32(0)
    put(rng, _USED, np.uint32(used + np.uint32(1)))
    return unit(get(rng, np.intp(used)))
