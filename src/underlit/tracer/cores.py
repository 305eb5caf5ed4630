"""The cores of the CPU as the place where photons are traced, first light on the soil gathered along with them."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import contextmanager
from queue import SimpleQueue

import numpy as np

from underlit.kernels.batch import new_scratch, trace_batch
from underlit.kernels.gather import gather_batch
from underlit.kernels.held import Held
from underlit.kernels.rng import sobol_directions
from underlit.tracer.tally import SCALE, Tally

# Time to gather from one point to one cell, in photons traced. Rough: it steers the work, and does not enter results.
PHOTONS_PER_POINT = 4
# Points are quasi-random: what they leave of variance falls faster than by one over their number.
_GATHERING_GAINS = 1.5


class Cores:
    """Threads that trace into a tally, layer by layer.

    Parameters
    ----------
    tally : Tally
    threads : int

    Attributes
    ----------
    each : callable
        `map`, on the threads.
    """

    first_batch, largest_batch = 2**11, 2**17  # photons of a stream in one layer

    def __init__(self, tally: Tally, threads: int) -> None:
        self.tally, self._pool = tally, ThreadPoolExecutor(threads)
        self.each = self._pool.map
        self._directions = sobol_directions()
        self._scene, self._bvh = Held(tally.packed.arrays), Held(tally.packed.bvh)
        self._sources = [Held(source) for source in tally.lamps.sources]
        self._scratch: SimpleQueue = SimpleQueue()
        n_lanes = tally.packed.arrays.reflectance.shape[1]
        for _ in range(threads):
            self._scratch.put(Held(new_scratch(tally.cells.shape[2], tally.sinks.shape[2], n_lanes)))

    def __enter__(self) -> Cores:
        return self

    def __exit__(self, *_) -> None:
        self._pool.shutdown()

    def compile_tracing(self) -> None:
        """Have the kernel of `_trace` compiled."""
        self._trace(0, 0, 0)

    def compile_gathering(self) -> None:
        """Have the kernel of `_gather` compiled, if it is needed."""
        if self.tally.first_light.size:
            self._gather(0, 0, 0)

    def layer(self, counts: np.ndarray) -> bool:
        """Trace so many photons of each source in every replicate.

        Parameters
        ----------
        counts : ndarray of int, shape (n_sources,)

        Returns
        -------
        bool
            Whether Ctrl-C came meanwhile; a second Ctrl-C is passed on.
        """
        tally, points = self.tally, self._points_due()
        streams = [(k, source) for k in range(tally.replicates) for source in range(len(counts))]
        # What takes longest comes first, so that no thread is left alone with it.
        jobs = [
            self._pool.submit(self._gather, *stream, int(points[stream[1]]))
            for stream in streams
            if points[stream[1]]
        ]
        jobs += [self._pool.submit(self._trace, *stream, int(counts[stream[1]])) for stream in streams]
        interrupted = False
        try:
            wait(jobs)
        except KeyboardInterrupt:
            interrupted = True
            wait(jobs)
        for job in jobs:
            job.result()
        tally.done += counts
        tally.gathered += points
        return interrupted

    def _points_due(self) -> np.ndarray:
        """Points to gather in each soil cell in the next layer, for each source.

        As many as there are already, wherever that lowers the variance more for its time than photons do.
        """
        tally = self.tally
        n_soil = tally.first_light.shape[2]
        if n_soil == 0 or tally.soil_known:
            return np.zeros_like(tally.gathered)
        by_photons, by_points = tally.variance
        gain_of_points = (
            _GATHERING_GAINS * by_points / (PHOTONS_PER_POINT * n_soil * np.maximum(tally.gathered, 1))
        )
        due = gain_of_points > by_photons / np.maximum(tally.done, 1)
        return np.where(tally.gathered == 0, 1, np.where(due, tally.gathered, 0))

    def _trace(self, replicate: int, source: int, count: int) -> None:
        """Trace one batch of photons into its sums; safe from any thread, as no two batches of a layer share them."""
        tally = self.tally
        with self._scratch_of_thread() as scratch:
            trace_batch(
                *self._stream(replicate, source), int(tally.done[source]), count, SCALE, scratch,
                tally.cells[replicate, source], tally.sinks[replicate, source],
            )  # fmt: skip

    def _gather(self, replicate: int, source: int, count: int) -> None:
        """Gather so many points in each soil cell; as safe as `_trace`."""
        tally = self.tally
        with self._scratch_of_thread() as scratch:
            gather_batch(
                *self._stream(replicate, source), int(tally.gathered[source]), count, SCALE, scratch,
                tally.first_light[replicate, source],
            )  # fmt: skip

    def _stream(self, replicate: int, source: int) -> tuple:
        """What makes a stream of photons or points."""
        number = replicate * len(self._sources) + source
        return self._scene, self._bvh, self._sources[source], self._directions, self.tally.seed, number

    @contextmanager
    def _scratch_of_thread(self):
        scratch = self._scratch.get()
        try:
            yield scratch
        finally:
            self._scratch.put(scratch)
