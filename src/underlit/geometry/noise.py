"""Seeded noise in space, in octaves: what makes a plain shape look like stone or bark."""

from __future__ import annotations

import numpy as np

from underlit.kernels import noise

LACUNARITY = 2.03  # not 2, so that the lattices of the octaves do not line up


def gradient_noise(points: np.ndarray, seed: int) -> np.ndarray:
    """Smooth noise of points (n, 3) with features about 1 across, mean 0, mostly within ±0.7; shape (n,)."""
    value = np.empty(len(points))
    noise.gradient_noise(np.ascontiguousarray(points, np.float64), seed, value)
    return value


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
