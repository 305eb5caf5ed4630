"""Random numbers of a photon, in registers: four drawn by all threads at once for each event, more where it asks."""

from __future__ import annotations

import numpy as np

from underlit.kernels.features import CANOPIES, FILMS, FLOATERS, LID, RIPPLE, SCATTERING
from underlit.kernels.jit import kernel, outlined_kernel
from underlit.kernels.philox import philox
from underlit.kernels.real import unit

# Layout, uint32 (9,): four words, how many are left; photon, stream, event, and the next turn of drawing for it.
_LEFT, _PHOTON, _STREAM, _EVENT, _TURN = 4, 5, 6, 7, 8
RNG_WORDS = 9


# Events that may ask for more numbers than are drawn for each at once.
MORE_THAN_FOUR = SCATTERING or CANOPIES or RIPPLE or LID or FLOATERS or FILMS


def _words(photon, stream, event, turn, seed):
    """Four random words."""
    return philox(photon, stream, event, turn, np.uint32(seed), np.uint32(seed >> np.uint64(32)))


_words_at_once, _more_words = kernel(_words), outlined_kernel(_words)


@kernel
def rng_start(rng, photon, stream):
    """Give `rng` (RNG_WORDS,) to photon number `photon` of `stream`."""
    rng[_PHOTON] = np.uint32(photon)
    rng[_STREAM] = np.uint32(stream)


@kernel
def draw_for(rng, event, turn, seed):
    """Draw four numbers for an event; `turn` keeps apart what is drawn at different times of it."""
    rng[_EVENT], rng[_TURN], rng[_LEFT] = np.uint32(event), np.uint32(turn + 1), np.uint32(4)
    rng[0], rng[1], rng[2], rng[3] = _words_at_once(
        rng[_PHOTON], rng[_STREAM], np.uint32(event), np.uint32(turn), seed
    )


@kernel
def draw_rarely(rng, event, turn, seed):
    """The same, for what hardly any path comes to."""
    rng[_EVENT], rng[_TURN], rng[_LEFT] = np.uint32(event), np.uint32(turn + 1), np.uint32(4)
    rng[0], rng[1], rng[2], rng[3] = _more_words(
        rng[_PHOTON], rng[_STREAM], np.uint32(event), np.uint32(turn), seed
    )


@kernel
def uniform(rng, seed):
    """Next uniform number in (0, 1) of this photon."""
    if MORE_THAN_FOUR and rng[_LEFT] == np.uint32(0):
        rng[0], rng[1], rng[2], rng[3] = _more_words(
            rng[_PHOTON], rng[_STREAM], rng[_EVENT], rng[_TURN], seed
        )
        rng[_TURN] = np.uint32(rng[_TURN] + np.uint32(1))
        rng[_LEFT] = np.uint32(4)
    word = rng[0]
    rng[0], rng[1], rng[2] = rng[1], rng[2], rng[3]
    rng[_LEFT] = np.uint32(rng[_LEFT] - np.uint32(1))
    return unit(word)
