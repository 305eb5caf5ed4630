"""Where the random state of a photon stands."""

from __future__ import annotations

from underlit.kernels.jit import kernel


@kernel
def get(rng, k):
    """Word `k`."""
    return rng[k]


@kernel
def put(rng, k, word):
    """Set word `k`."""
    rng[k] = word
