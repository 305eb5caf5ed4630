"""The outermost kernel: a stretch of photons of one source, in one replicate."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.kernels.bvh import new_stack
from underlit.kernels.emit import emit
from underlit.kernels.gather import gather_soil
from underlit.kernels.jit import kernel
from underlit.kernels.rng import (
    RNG_WORDS,
    SOBOL_DIMENSIONS,
    mix32,
    owen_scramble,
    rng_start,
    sobol_next,
    sobol_start,
)
from underlit.kernels.track import follow


class Scratch(NamedTuple):
    """Working memory of one thread."""

    cells: np.ndarray  # (C, B) float32: map of the batch
    sinks: np.ndarray  # (N, B) float64: light budget of the batch
    packet: np.ndarray  # (B,) float32
    rng: np.ndarray  # (RNG_WORDS,) uint32
    points: np.ndarray  # (SOBOL_DIMENSIONS,) uint32: the Sobol point before scrambling
    scramble: np.ndarray  # (SOBOL_DIMENSIONS,) uint32
    stack: np.ndarray


def new_scratch(n_cells, n_sinks, n_lanes) -> Scratch:
    """Working memory for `trace_batch`."""
    return Scratch(
        np.zeros((n_cells, n_lanes), np.float32),
        np.zeros((n_sinks, n_lanes), np.float64),
        np.zeros(n_lanes, np.float32),
        np.zeros(RNG_WORDS, np.uint32),
        np.zeros(SOBOL_DIMENSIONS, np.uint32),
        np.zeros(SOBOL_DIMENSIONS, np.uint32),
        new_stack(),
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
    first_point,
    n_points,
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
    first_point, n_points : int
        Stretch of points to gather in each soil cell, where the scene gathers.
    scale : float
        Fixed-point units per unit weight.
    scratch : Scratch
        Overwritten.
    cells_sum : ndarray, shape (C, n_bands), int64
    sinks_sum : ndarray, shape (N, n_bands), int64
        Added to. Integer addition has no order, so the sums do not depend on how work is split among threads.
    """
    v, rng, points, scramble = scratch.packet, scratch.rng, scratch.points, scratch.scramble
    cells, sinks = scratch.cells, scratch.sinks
    cells[:] = 0.0
    sinks[:] = 0.0
    word = mix32(np.uint32(seed) ^ mix32(np.uint32(seed >> 32) ^ np.uint32(stream)))
    if scene.gathers and n_points > 0:
        gather_soil(scene, bvh, source, directions, seed, stream, word, first_point, n_points, count, scratch)
    for dimension in range(SOBOL_DIMENSIONS):
        scramble[dimension] = mix32(word + np.uint32(dimension) * np.uint32(0x9E3779B9))
    sobol_start(directions, first, points)
    for i in range(first, first + count):
        for b in range(scene.n_bands):
            v[b] = np.float32(1.0)
        rng_start(rng, i, stream)
        px, py, pz, dx, dy, dz = emit(
            source,
            owen_scramble(points[0], scramble[0]),
            owen_scramble(points[1], scramble[1]),
            owen_scramble(points[2], scramble[2]),
            owen_scramble(points[3], scramble[3]),
        )
        u_first = owen_scramble(points[4], scramble[4])
        follow(scene, bvh, px, py, pz, dx, dy, dz, u_first, v, cells, sinks, rng, seed, scratch.stack)
        sobol_next(directions, i, points)
    _add(cells, scale, cells_sum)
    _add(sinks, scale, sinks_sum)


@kernel
def _add(part, scale, total):
    """Add a float tally to a fixed-point one."""
    for i in range(total.shape[0]):
        for b in range(total.shape[1]):
            total[i, b] += np.int64(np.rint(part[i, b] * scale))
