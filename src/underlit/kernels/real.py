"""What depends on how many digits a number has."""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.jit import kernel

_S3, _S5, _S7, _S9, _S11 = ((-1.0) ** k / math.factorial(2 * k + 1) for k in range(1, 6))
_C2, _C4, _C6, _C8, _C10, _C12 = ((-1.0) ** k / math.factorial(2 * k) for k in range(1, 7))


@kernel
def unit(word):
    """Number in (0, 1), ends left out, from 32 random bits."""
    return (np.float64(word) + 0.5) * 2.0**-32


@kernel
def cos_sin(phi):
    """Cosine and sine of an azimuth of a few turns at most, error below 1e-11; half the cost of the two calls.

    Taylor series of a quarter turn about its middle, and the symmetries of the circle.
    """
    quarter = math.floor(phi * (2.0 / math.pi) + 0.5)
    x = phi - quarter * (0.5 * math.pi)
    q = x * x
    s = x * (1.0 + q * (_S3 + q * (_S5 + q * (_S7 + q * (_S9 + q * _S11)))))
    c = 1.0 + q * (_C2 + q * (_C4 + q * (_C6 + q * (_C8 + q * (_C10 + q * _C12)))))
    k = int(quarter)
    if k & 1:
        c, s = -s, c
    return (-c, -s) if k & 2 else (c, s)
