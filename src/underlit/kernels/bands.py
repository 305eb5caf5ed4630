"""The spectral packet: the weights of one path in all wavelength bands.

Bands come in blocks of `LANES` single-precision numbers, padded with empty bands. The loops over them are plain: with
an index made of two (block and lane) they compile to scalar instructions, five times as slow.
"""

from __future__ import annotations

import numpy as np

from underlit.kernels.jit import kernel, summing_kernel

LANES = 16


def padded(n_bands: int) -> int:
    """`n_bands` rounded up to whole blocks."""
    return -(-n_bands // LANES) * LANES


@kernel
def exp_neg(x):
    """exp(-x) for x >= 0 in single precision, error below 4e-6 of 1.

    A Taylor polynomial of exp(-x/64), squared six times: no table, no branch, so a loop over bands vectorises.
    """
    y = np.float32(-0.015625) * min(x, np.float32(40.0))
    p = np.float32(1.0 / 120.0) * y + np.float32(1.0 / 24.0)
    p = p * y + np.float32(1.0 / 6.0)
    p = p * y + np.float32(0.5)
    p = p * y + np.float32(1.0)
    p = p * y + np.float32(1.0)
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    return p * p


@kernel
def attenuate(v, absorption_per_m, path_m, sinks, sink):
    """Multiply `v` (B,) by exp(-a path) and book what is lost to row `sink` of `sinks` (N, B)."""
    path = np.float32(path_m)
    for b in range(v.size):
        before = v[b]
        after = before * exp_neg(absorption_per_m[b] * path)
        v[b] = after
        sinks[sink, b] += np.float64(before) - np.float64(after)


@kernel
def multiply(v, table, row, sinks, sink):
    """Multiply `v` by row `row` of `table` (n, B) and book what is lost to `sinks`."""
    for b in range(v.size):
        before = v[b]
        after = before * table[row, b]
        v[b] = after
        sinks[sink, b] += np.float64(before) - np.float64(after)


@kernel
def scale(v, factor, sinks, sink):
    """Multiply `v` by one factor and book what is lost (or, above 1, gained) to `sinks`."""
    f = np.float32(factor)
    for b in range(v.size):
        before = v[b]
        after = before * f
        v[b] = after
        sinks[sink, b] += np.float64(before) - np.float64(after)


@kernel
def book(v, sinks, sink):
    """Book the whole packet to row `sink` of `sinks`: the path ends here."""
    for b in range(v.size):
        sinks[sink, b] += np.float64(v[b])


@kernel
def deposit(v, factor, cells, cell):
    """Add `factor` times the packet to row `cell` of `cells` (C, B)."""
    f = np.float32(factor)
    for b in range(v.size):
        cells[cell, b] += f * v[b]


@kernel
def deposit_along(v, absorption_per_m, path_m, cells, cell):
    """Add to row `cell` of `cells` the packet as it is after `path_m` of a medium."""
    path = np.float32(path_m)
    for b in range(v.size):
        cells[cell, b] += v[b] * exp_neg(absorption_per_m[b] * path)


@kernel
def deposit_through(v, factor, a1_per_m, path1_m, a2_per_m, path2_m, cells, cell):
    """Add to row `cell` of `cells` the packet, times `factor`, as it is after stretches of two media."""
    f, p1, p2 = np.float32(factor), np.float32(path1_m), np.float32(path2_m)
    for b in range(v.size):
        cells[cell, b] += f * v[b] * exp_neg(a1_per_m[b] * p1 + a2_per_m[b] * p2)


@summing_kernel
def mean(v, n_bands):
    """Mean weight over the first `n_bands` bands (the padding is empty)."""
    total = np.float32(0.0)
    for b in range(v.size):
        total += v[b]
    return np.float64(total) / n_bands


@summing_kernel
def table_mean(table, row, n_bands):
    """Mean of a row of a spectral table over its bands."""
    total = np.float32(0.0)
    for b in range(n_bands):
        total += table[row, b]
    return np.float64(total) / n_bands
