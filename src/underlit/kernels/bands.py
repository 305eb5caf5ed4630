"""The spectral packet: the weights of one path in all wavelength bands.

Bands come in blocks of `LANES` single-precision numbers, padded with empty bands. Most packets are one block: loops ask
for another only after the first, and say that there seldom is one, or else what counts blocks would cost as much again.
"""

from __future__ import annotations

import numpy as np

from underlit.kernels.jit import kernel, summing_kernel
from underlit.kernels.likely import rarely
from underlit.kernels.simd import (
    add_difference,
    fma,
    lane_min,
    lane_sum,
    load_float32x16,
    splat_float32x16,
    store_float32x16,
    times_power_of_two,
)

LANES = 16

_ZERO, _ONE = np.float32(0.0), np.float32(1.0)
_FAR, _TURN, _ROUND = np.float32(80.0), np.float32(-1.0 / np.log(2.0)), np.float32(1.5 * 2.0**23)
_P1, _P2, _P3, _P4, _P5 = np.float32([0.69314698, 0.24022242, 0.05550734, 0.00967151, 0.00132647])


def padded(n_bands: int) -> int:
    """`n_bands` rounded up to whole blocks."""
    return -(-n_bands // LANES) * LANES


@kernel
def exp_neg(x):
    """exp(-x) of lanes x >= 0 in single precision, error below 1e-6 of 1.

    2^k 2^f with a whole k and f from -1/2 to 1/2, where 2^f is a polynomial whose largest error is least. Adding
    1.5 2^23 to a number leaves it rounded, in the lowest bits. Few steps wait for one another: what becomes of a path
    waits for all of them.
    """
    x = lane_min(splat_float32x16(_FAR), x)
    rounded = fma(x, splat_float32x16(_TURN), splat_float32x16(_ROUND))
    f = fma(x, splat_float32x16(_TURN), splat_float32x16(_ROUND) - rounded)
    f2 = f * f
    low = fma(f, splat_float32x16(_P2), splat_float32x16(_P1))
    high = fma(f2, splat_float32x16(_P5), fma(f, splat_float32x16(_P4), splat_float32x16(_P3)))
    return times_power_of_two(fma(fma(f2, high, low), f, splat_float32x16(_ONE)), rounded)


@kernel
def copy(v, other):
    """Set packet `v` to another."""
    b, goes_on = 0, True
    while goes_on:
        store_float32x16(v, b, load_float32x16(other, b))
        b += LANES
        goes_on = rarely(b < v.size)


@kernel
def attenuate(v, absorption_per_m, path_m, sinks, sink):
    """Multiply `v` (B,) by exp(-a path) and book what is lost to row `sink` of `sinks` (N, B)."""
    path, row = splat_float32x16(np.float32(path_m)), sink * v.size
    b, goes_on = 0, True
    while goes_on:
        before = load_float32x16(v, b)
        after = before * exp_neg(load_float32x16(absorption_per_m, b) * path)
        store_float32x16(v, b, after)
        add_difference(sinks, row + b, before, after)
        b += LANES
        goes_on = rarely(b < v.size)


@kernel
def multiply(v, table, row, sinks, sink):
    """Multiply `v` by row `row` of `table` (n, B) and book what is lost to `sinks`."""
    first, place = row * v.size, sink * v.size
    b, goes_on = 0, True
    while goes_on:
        before = load_float32x16(v, b)
        after = before * load_float32x16(table, first + b)
        store_float32x16(v, b, after)
        add_difference(sinks, place + b, before, after)
        b += LANES
        goes_on = rarely(b < v.size)


@kernel
def scale(v, factor, sinks, sink):
    """Multiply `v` by one factor and book what is lost (or, above 1, gained) to `sinks`."""
    f, place = splat_float32x16(np.float32(factor)), sink * v.size
    b, goes_on = 0, True
    while goes_on:
        before = load_float32x16(v, b)
        after = before * f
        store_float32x16(v, b, after)
        add_difference(sinks, place + b, before, after)
        b += LANES
        goes_on = rarely(b < v.size)


@kernel
def book(v, sinks, sink):
    """Book the whole packet to row `sink` of `sinks`: the path ends here."""
    place = sink * v.size
    b, goes_on = 0, True
    while goes_on:
        add_difference(sinks, place + b, load_float32x16(v, b), splat_float32x16(_ZERO))
        b += LANES
        goes_on = rarely(b < v.size)


@kernel
def deposit(v, factor, cells, cell):
    """Add `factor` times the packet to row `cell` of `cells` (C, B)."""
    f, place = splat_float32x16(np.float32(factor)), cell * v.size
    b, goes_on = 0, True
    while goes_on:
        store_float32x16(cells, place + b, fma(f, load_float32x16(v, b), load_float32x16(cells, place + b)))
        b += LANES
        goes_on = rarely(b < v.size)


@kernel
def deposit_along(v, absorption_per_m, path_m, cells, cell):
    """Add to row `cell` of `cells` the packet as it is after `path_m` of a medium."""
    path, place = splat_float32x16(np.float32(path_m)), cell * v.size
    b, goes_on = 0, True
    while goes_on:
        left = exp_neg(load_float32x16(absorption_per_m, b) * path)
        store_float32x16(
            cells, place + b, fma(left, load_float32x16(v, b), load_float32x16(cells, place + b))
        )
        b += LANES
        goes_on = rarely(b < v.size)


@kernel
def deposit_through(v, factor, a1_per_m, path1_m, a2_per_m, path2_m, cells, cell):
    """Add to row `cell` of `cells` the packet, times `factor`, as it is after stretches of two media."""
    f, place = splat_float32x16(np.float32(factor)), cell * v.size
    path1, path2 = splat_float32x16(np.float32(path1_m)), splat_float32x16(np.float32(path2_m))
    b, goes_on = 0, True
    while goes_on:
        left = exp_neg(fma(load_float32x16(a1_per_m, b), path1, load_float32x16(a2_per_m, b) * path2))
        light = f * load_float32x16(v, b)
        store_float32x16(cells, place + b, fma(left, light, load_float32x16(cells, place + b)))
        b += LANES
        goes_on = rarely(b < v.size)


@kernel
def mean(v, n_bands):
    """Mean weight over the first `n_bands` bands (the padding is empty)."""
    total, b, goes_on = _ZERO, 0, True
    while goes_on:
        total += lane_sum(load_float32x16(v, b))
        b += LANES
        goes_on = rarely(b < v.size)
    return np.float64(total) / n_bands


@summing_kernel
def table_mean(table, row, n_bands):
    """Mean of a row of a spectral table over its bands."""
    total = np.float32(0.0)
    for b in range(n_bands):
        total += table[row, b]
    return np.float64(total) / n_bands
