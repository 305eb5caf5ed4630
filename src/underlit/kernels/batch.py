"""The outermost kernel: a stretch of photons of one source, in one replicate."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.kernels.arrays import PAST_TANK, WATER
from underlit.kernels.bands import copy, deposit
from underlit.kernels.bvh import new_stack
from underlit.kernels.draws import RNG_WORDS, rng_start_with
from underlit.kernels.follow import UNKNOWN_M, follow
from underlit.kernels.gather import Routes, new_routes
from underlit.kernels.jit import kernel
from underlit.kernels.launch import (
    AT_ONCE,
    CELL,
    DX,
    DY,
    DZ,
    EVENT,
    FACE,
    FLIGHT_WORDS,
    NEAR,
    PX,
    PY,
    PZ,
    REGION,
    U_FIRST,
    T,
    cross_all,
    draw_all,
    emit_all,
    first_points,
    reach_all,
    under_way,
)
from underlit.kernels.rng import SOBOL_DIMENSIONS, SOBOL_DRAWS, mix32, sobol_start, stream_word
from underlit.kernels.route import DIRECT, FRESH, MIXED
from underlit.kernels.tally import add_to, clear
from underlit.kernels.track import BEEN_IN_WATER, begin

_DIMENSIONS = SOBOL_DIMENSIONS + SOBOL_DRAWS

# Photons whose light is summed in single precision before it goes to the sums for good. Were all to bring the same
# weight to one cell, each of the last half would be rounded alike, by up to 2^-10.
_SUMMED_EVERY = 2**15


class Scratch(NamedTuple):
    """Working memory of one thread."""

    cells: np.ndarray  # (C, B) float32: map of the batch
    sinks: np.ndarray  # (N, B) float64: light budget of the batch
    packet: np.ndarray  # (B,) float32
    white: np.ndarray  # (B,) float32: a packet as it leaves the lamp
    rng: np.ndarray  # (RNG_WORDS,) uint32
    points: np.ndarray  # (SOBOL_DIMENSIONS + SOBOL_DRAWS,) uint32: a Sobol point before scrambling
    scramble: np.ndarray  # (SOBOL_DIMENSIONS + SOBOL_DRAWS,) uint32
    uniform: np.ndarray  # (SOBOL_DIMENSIONS,) float64: a point after it
    first_words: np.ndarray  # uint32, see `launch`
    words: np.ndarray  # uint32, see `launch`
    flight: np.ndarray  # (FLIGHT_WORDS,) float64, see `launch`
    places: np.ndarray  # (AT_ONCE,) int64: photons in the flight
    stack: np.ndarray
    routes: Routes


def new_scratch(n_cells, n_sinks, n_lanes) -> Scratch:
    """Working memory for `trace_batch`."""
    return Scratch(
        np.zeros((n_cells, n_lanes), np.float32),
        np.zeros((n_sinks, n_lanes), np.float64),
        np.zeros(n_lanes, np.float32),
        np.zeros(n_lanes, np.float32),
        np.zeros(RNG_WORDS, np.uint32),
        np.zeros(_DIMENSIONS, np.uint32),
        np.zeros(_DIMENSIONS, np.uint32),
        np.zeros(SOBOL_DIMENSIONS),
        np.zeros(_DIMENSIONS * AT_ONCE, np.uint32),
        np.zeros(SOBOL_DRAWS * AT_ONCE, np.uint32),
        np.zeros(FLIGHT_WORDS),
        np.zeros(AT_ONCE, np.int64),
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
    directions : ndarray, uint32
        From `sobol_directions`.
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
    flight, places, v, rng = scratch.flight, scratch.places, scratch.packet, scratch.rng
    cells, sinks = scratch.cells, scratch.sinks
    clear(cells)
    clear(sinks)
    for b in range(scene.n_bands):
        scratch.white[b] = np.float32(1.0)
    word = stream_word(seed, stream)
    for dimension in range(_DIMENSIONS):
        scratch.scramble[dimension] = mix32(word + np.uint32(dimension) * np.uint32(0x9E3779B9))
    first_points(directions, scratch.points, scratch.first_words)
    fresh, dipped = (FRESH, FRESH + DIRECT) if scene.gathers else (MIXED, MIXED)
    n_under_way = 0
    for start in range(first // AT_ONCE * AT_ONCE, first + count, AT_ONCE):
        sobol_start(directions, start, scratch.points)
        draw_all(scratch.first_words, scratch.points, scratch.scramble, flight, scratch.words)
        emit_all(source, flight)
        cross_all(scene, first - start, first + count - start, flight)
        reach_all(scene, bvh.limits, flight)
        n = under_way(flight, places)
        n_under_way += n
        for i in range(n):
            j = places[i]
            px, py, pz, region = flight[PX + j], flight[PY + j], flight[PZ + j], np.int64(flight[REGION + j])
            dx, dy, dz = flight[DX + j], flight[DY + j], flight[DZ + j]
            t, event, face, near = UNKNOWN_M, 0, 0, True
            entered, route, u_first = BEEN_IN_WATER, dipped, -1.0
            copy(v, scratch.white)
            if region == WATER:
                deposit(v, 1.0, cells, np.int64(flight[CELL + j]))
                if scene.soil.is_plane:
                    t, event, face = flight[T + j], np.int64(flight[EVENT + j]), np.int64(flight[FACE + j])
                    near = flight[NEAR + j] != 0.0
            else:
                px, py, pz, region, entered = begin(scene, px, py, pz, dx, dy, dz)
                route, u_first = fresh, flight[U_FIRST + j]
            rng_start_with(rng, scratch.words, j, AT_ONCE, start + j, stream)
            follow(
                scene, bvh, region, px, py, pz, dx, dy, dz, t, event, face, near, route, entered, u_first, v, cells,
                sinks, rng, seed, scratch.stack,
            )  # fmt: skip
        if (start + AT_ONCE) % _SUMMED_EVERY == 0:
            add_to(cells_sum, cells, scale)
            clear(cells)
    for b in range(scene.n_bands):
        sinks[PAST_TANK, b] += count - n_under_way
    add_to(cells_sum, cells, scale)
    add_to(sinks_sum, sinks, scale)
