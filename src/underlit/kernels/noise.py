"""Seeded noise in space.

Gradient noise after Perlin [1]_ with his later interpolant [2]_, on a lattice whose gradients come from an integer
hash, so that one seed gives the same shape on every machine.

References
----------
.. [1] K. Perlin, "An image synthesizer", SIGGRAPH 1985.
.. [2] K. Perlin, "Improving noise", SIGGRAPH 2002.
"""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.jit import exact_kernel, inlined_exact_kernel

# Odd 32-bit multipliers without structure; any such would do.
_ALONG_X, _ALONG_Y, _ALONG_Z = np.uint32(0x8DA6B343), np.uint32(0xD8163841), np.uint32(0xCB1AB31F)
_OF_SEED = np.uint32(0x9E3779B1)


@exact_kernel
def gradient_noise(points, seed, noise):
    """Smooth noise with features about 1 across, mean 0, mostly within ±0.7.

    Parameters
    ----------
    points : ndarray, shape (n, 3), float64
    seed : int
    noise : ndarray, shape (n,), float64
        Filled.
    """
    word = np.uint32(np.uint32(seed) * _OF_SEED)
    for i in range(len(noise)):
        i_x, x, fade_x = _cell(points[i, 0])
        i_y, y, fade_y = _cell(points[i, 1])
        i_z, z, fade_z = _cell(points[i, 2])
        total = 0.0
        for corner in range(8):
            a, b, c = corner & 1, corner >> 1 & 1, corner >> 2
            weight = (
                (fade_x if a else 1.0 - fade_x)
                * (fade_y if b else 1.0 - fade_y)
                * (fade_z if c else 1.0 - fade_z)
            )
            kind = _gradient(i_x + a, i_y + b, i_z + c, word)
            total += weight * _along(kind, x - float(a), y - float(b), z - float(c))
        noise[i] = total


@inlined_exact_kernel
def _cell(x):
    """Lattice point below, the rest, and how far it has faded over to the next."""
    below = math.floor(x)
    rest = x - below
    return int(below), rest, rest * rest * rest * (rest * (rest * 6.0 - 15.0) + 10.0)


@inlined_exact_kernel
def _gradient(i, j, k, seed_word):
    """Which of twelve gradients a lattice point has: by a hash of its place."""
    word = np.uint32(np.uint32(i) * _ALONG_X) ^ np.uint32(np.uint32(j) * _ALONG_Y)
    word = np.uint32(word ^ np.uint32(np.uint32(k) * _ALONG_Z) ^ seed_word)
    word = np.uint32((word ^ (word >> np.uint32(15))) * _ALONG_X)
    word = np.uint32((word ^ (word >> np.uint32(13))) * _ALONG_Y)
    return (word ^ (word >> np.uint32(16))) % np.uint32(12)


@inlined_exact_kernel
def _along(kind, x, y, z):
    """The way along one of the gradients: to the middles of a cube's edges."""
    a = y if kind >= 8 else x
    b = y if kind < 4 else z
    return (-a if kind & 1 else a) + (-b if kind & 2 else b)
