"""The outermost kernel: a stretch of photons of one source, in one replicate."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.kernels.bvh import new_stack
from underlit.kernels.draws import RNG_WORDS, rng_start
from underlit.kernels.emit import emit
from underlit.kernels.follow import follow
from underlit.kernels.gather import Routes, new_routes
from underlit.kernels.jit import kernel
from underlit.kernels.rng import (
    SOBOL_DIMENSIONS,
    mix32,
    owen_scramble_all,
    sobol_next,
    sobol_start,
    stream_word,
)
from underlit.kernels.tally import add_to


class Scratch(NamedTuple):
    """Working memory of one thread."""

    cells: np.ndarray  # (C, B) float32: map of the batch
    sinks: np.ndarray  # (N, B) float64: light budget of the batch
    packet: np.ndarray  # (B,) float32
    rng: np.ndarray  # (RNG_WORDS,) uint32
    points: np.ndarray  # (SOBOL_DIMENSIONS,) uint32: the Sobol point before scrambling
    scramble: np.ndarray  # (SOBOL_DIMENSIONS,) uint32
    uniform: np.ndarray  # (SOBOL_DIMENSIONS,) float64: and after it
    stack: np.ndarray
    routes: Routes


def new_scratch(n_cells, n_sinks, n_lanes) -> Scratch:
    """Working memory for `trace_batch`."""
    return Scratch(
        np.zeros((n_cells, n_lanes), np.float32),
        np.zeros((n_sinks, n_lanes), np.float64),
        np.zeros(n_lanes, np.float32),
        np.zeros(RNG_WORDS, np.uint32),
        np.zeros(SOBOL_DIMENSIONS, np.uint32),
        np.zeros(SOBOL_DIMENSIONS, np.uint32),
        np.zeros(SOBOL_DIMENSIONS),
        new_stack(),
        new_routes(),
    )


@kernel
def trace_batch(
    scene,
    bvh,
    source,
    directions,
    seed,
    stream,
    first,
    count,
    scale,
    scratch,
    cells_sum,
    sinks_sum,
):
    """Trace photons `first` to `first + count` of a stream and add them to its sums.

    Parameters
    ----------
    scene : SceneArrays
    bvh : Bvh
    source : SourceArrays
    directions : ndarray, shape (SOBOL_DIMENSIONS, 32), uint32
    seed : uint64
        Seed of the run.
    stream : int
        Number of the (source, replicate) pair: each has its own scrambling and its own photons.
    first, count : int
    scale : float
        Fixed-point units per unit weight.
    scratch : Scratch
        Overwritten.
    cells_sum : ndarray, shape (C, n_bands), int64
    sinks_sum : ndarray, shape (N, n_bands), int64
        Added to. Integer addition has no order, so the sums do not depend on how work is split among threads.
    """
    v, rng, points, scramble, u = (
        scratch.packet,
        scratch.rng,
        scratch.points,
        scratch.scramble,
        scratch.uniform,
    )
    cells, sinks = scratch.cells, scratch.sinks
    cells[:] = 0.0
    sinks[:] = 0.0
    word = stream_word(seed, stream)
    for dimension in range(SOBOL_DIMENSIONS):
        scramble[dimension] = mix32(word + np.uint32(dimension) * np.uint32(0x9E3779B9))
    sobol_start(directions, first, points)
    for i in range(first, first + count):
        for b in range(scene.n_bands):
            v[b] = np.float32(1.0)
        rng_start(rng, i, stream)
        owen_scramble_all(points, scramble, u)
        px, py, pz, dx, dy, dz = emit(source, u[0], u[1], u[2], u[3])
        follow(scene, bvh, px, py, pz, dx, dy, dz, u[4], v, cells, sinks, rng, seed, scratch.stack)
        sobol_next(directions, i, points)
    add_to(cells_sum, cells, scale)
    add_to(sinks_sum, sinks, scale)
