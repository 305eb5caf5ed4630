"""What depends on how many digits a number has."""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.jit import kernel


@kernel
def unit(word):
    """Number in (0, 1), ends left out, from 32 random bits: as many of them as leave room below 1."""
    return (np.float32(word >> np.uint32(9)) + 0.5) * 2.0**-23


@kernel
def cos_sin(phi):
    """Cosine and sine of an azimuth."""
    return math.cos(phi), math.sin(phi)
