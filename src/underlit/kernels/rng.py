"""Quasi-random numbers, a pure function of seed and photon number: they drive the first choices of a photon.

Owen-scrambled Sobol points make the first `SOBOL_DIMENSIONS` choices; all later ones are `draws`.
"""

from __future__ import annotations

import numpy as np

from underlit.kernels.jit import kernel
from underlit.kernels.real import unit
from underlit.kernels.words import reverse_bits

SOBOL_DIMENSIONS = 5
SOBOL_DRAWS = 4  # dimensions beyond, for the first draws of a photon
_BITS = 32

# Degree, polynomial and initial numbers of dimensions 2-9 (S. Joe and F. Y. Kuo 2008, SIAM J. Sci. Comput. 30:2635).
_JOE_KUO = (
    (1, 0, (1,)),
    (2, 1, (1, 3)),
    (3, 1, (1, 3, 1)),
    (3, 2, (1, 1, 1)),
    (4, 1, (1, 1, 3, 3)),
    (4, 4, (1, 3, 5, 13)),
    (5, 2, (1, 1, 5, 5, 17)),
    (5, 4, (1, 1, 5, 5, 5)),
)


def sobol_directions() -> np.ndarray:
    """Direction numbers of the Sobol sequence, bit-reversed.

    Returns
    -------
    ndarray, shape (SOBOL_DIMENSIONS + SOBOL_DRAWS, 32), uint32
        Bit 0 holds the first binary digit, as `owen_scramble` wants it.
    """
    directions = np.zeros((SOBOL_DIMENSIONS + SOBOL_DRAWS, _BITS), np.uint32)
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
def owen_scramble(reversed_digits, seed):
    """Uniform in (0, 1) from a bit-reversed Sobol number, nested-uniform scrambled.

    Each operation lets a bit depend on lower bits only, which after reversal are the leading digits: B. Burley 2020,
    Practical hash-based Owen scrambling, J. Comput. Graph. Tech. 9(4), after Laine and Karras 2011.
    """
    return unit(scrambled_word(reversed_digits, seed))


@kernel
def scrambled_word(reversed_digits, seed):
    """The 32 bits behind `owen_scramble`."""
    x = np.uint32(reversed_digits)
    x = np.uint32(x + seed)
    x ^= np.uint32(x * np.uint32(0x6C50B47C))
    x ^= np.uint32(x * np.uint32(0xB82F1E52))
    x ^= np.uint32(x * np.uint32(0xC7AFE638))
    x ^= np.uint32(x * np.uint32(0x8D22F6E6))
    return reverse_bits(x)


@kernel
def owen_scramble_all(points, keys, u):
    """`owen_scramble` in each dimension."""
    for dimension in range(SOBOL_DIMENSIONS):
        u[dimension] = owen_scramble(points[dimension], keys[dimension])


@kernel
def sobol_start(directions, index, state):
    """Set `state` (5,) to Sobol point `index` in Gray-code order."""
    for dimension in range(state.size):
        state[dimension] = np.uint32(0)
    gray, k = index ^ (index >> 1), 0
    while gray > 0:
        if gray & 1:
            for dimension in range(state.size):
                state[dimension] ^= directions[dimension, k]
        gray >>= 1
        k += 1


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
