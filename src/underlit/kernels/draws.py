"""Random numbers of a photon, each a pure function of seed, photon number and draw.

No state is shared between photons, so results do not depend on the number of threads.
"""

from __future__ import annotations

import numpy as np

from underlit.kernels.jit import kernel
from underlit.kernels.philox import philox
from underlit.kernels.real import unit

# Layout of a photon's random state, uint32 (8,): four buffered words, how many are used, block, photon low, stream.
_USED, _BLOCK, _PHOTON, _STREAM = 4, 5, 6, 7
RNG_WORDS = 8


@kernel
def rng_start(rng, photon, stream):
    """Give `rng` (RNG_WORDS,) to photon number `photon` of `stream`."""
    rng[_USED] = 4
    rng[_BLOCK] = 0
    rng[_PHOTON] = np.uint32(photon)
    rng[_STREAM] = np.uint32(stream)


@kernel
def rng_start_with(rng, words, first, step, photon, stream):
    """`rng_start`, the first four words being those of `words` at `first` and every `step` on."""
    rng_start(rng, photon, stream)
    rng[_USED] = 0
    rng[0], rng[1], rng[2], rng[3] = (
        words[first],
        words[first + step],
        words[first + 2 * step],
        words[first + 3 * step],
    )


@kernel
def draw_block(rng, seed):
    """Fill the buffer with the next four words."""
    block = rng[_BLOCK]
    rng[0], rng[1], rng[2], rng[3] = philox(
        rng[_PHOTON], rng[_STREAM], block, np.uint32(0), np.uint32(seed), np.uint32(seed >> 32)
    )
    rng[_BLOCK] = np.uint32(block + np.uint32(1))


@kernel
def uniform(rng, seed):
    """Next uniform number in (0, 1) of this photon."""
    used = rng[_USED]
    if used == np.uint32(4):
        draw_block(rng, seed)
        used = np.uint32(0)
    rng[_USED] = np.uint32(used + np.uint32(1))
    return unit(rng[np.intp(used)])
