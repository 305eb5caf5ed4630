"""Seeded noise in space: what makes a plain shape look like stone or bark.

Gradient noise after Perlin [1]_ with his later interpolant [2]_, on a lattice whose gradients come from an
integer hash, so that one seed gives the same shape on every machine.

References
----------
.. [1] K. Perlin, "An image synthesizer", SIGGRAPH 1985.
.. [2] K. Perlin, "Improving noise", SIGGRAPH 2002.
"""

from __future__ import annotations

import numpy as np

LACUNARITY = 2.03  # not 2, so that the lattices of the octaves do not line up

# Odd 32-bit multipliers without structure; any such would do.
_MIX = (np.uint32(0x8DA6B343), np.uint32(0xD8163841), np.uint32(0xCB1AB31F), np.uint32(0x9E3779B1))


def gradient_noise(points: np.ndarray, seed: int) -> np.ndarray:
    """Smooth noise of points (n, 3) with features about 1 across, mean 0, mostly within ±0.7; shape (n,)."""
    base = np.floor(points)
    offset = points - base
    cell = base.astype(np.int64).astype(np.uint32)
    fade = offset**3 * (offset * (offset * 6.0 - 15.0) + 10.0)
    total = np.zeros(len(points))
    for corner in range(8):
        bit = np.array([corner & 1, corner >> 1 & 1, corner >> 2])
        weight = np.prod(np.where(bit, fade, 1.0 - fade), axis=1)
        total += weight * _slope(cell + bit.astype(np.uint32), offset - bit, seed)
    return total


def fractal_noise(
    points: np.ndarray, seed: int, *, octaves: int = 5, gain: float = 0.5, cell=0.0
) -> np.ndarray:
    """Sum of noise at doubling fineness, each octave `gain` times as strong as the last; shape (n,).

    `cell`, a number or (n,), is the distance between the samples: octaves too fine for it fade out, so that
    a coarse mesh gets a plainer surface and not a torn one.
    """
    return sum(
        _octave(k, gain, cell) * gradient_noise(points * (LACUNARITY**k) + 17.17 * k, seed + 101 * k)
        for k in range(octaves)
    )


def ridged_noise(
    points: np.ndarray, seed: int, *, octaves: int = 4, gain: float = 0.5, cell=0.0
) -> np.ndarray:
    """Noise with sharp crests, between 0 and about 2: crests are where plain noise passes through zero."""
    return sum(
        _octave(k, gain, cell)
        * (1.0 - np.abs(2.0 * gradient_noise(points * (LACUNARITY**k) + 31.7 * k, seed + 211 * k))) ** 2
        for k in range(octaves)
    )


def _octave(k: int, gain: float, cell):
    """Weight of octave k: none where its features are as narrow as a cell, full from three cells on."""
    width = LACUNARITY**-k
    return gain**k * np.clip(0.5 * (width / np.maximum(cell, 1e-9) - 1.0), 0.0, 1.0)


def _slope(cell: np.ndarray, offset: np.ndarray, seed: int) -> np.ndarray:
    """Offset along the gradient of each lattice point: one of twelve, picked by a hash of its place."""
    word = cell[:, 0] * _MIX[0] ^ cell[:, 1] * _MIX[1] ^ cell[:, 2] * _MIX[2]
    word ^= np.uint32((seed * int(_MIX[3])) & 0xFFFFFFFF)
    word = (word ^ (word >> np.uint32(15))) * _MIX[0]
    word = (word ^ (word >> np.uint32(13))) * _MIX[1]
    word ^= word >> np.uint32(16)
    kind = word % np.uint32(12)
    first, second = np.array([0, 0, 1])[kind // 4], np.array([1, 2, 2])[kind // 4]
    row = np.arange(len(cell))
    a = np.where(kind & 1, -offset[row, first], offset[row, first])
    b = np.where(kind & 2, -offset[row, second], offset[row, second])
    return a + b
