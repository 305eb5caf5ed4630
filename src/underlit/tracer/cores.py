"""The cores of the CPU as the place where photons are traced, first light on the soil gathered along with them."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor, wait
from functools import partial
from queue import SimpleQueue

import numpy as np

from underlit.kernels.batch import new_scratch, trace_batch
from underlit.kernels.rng import sobol_directions
from underlit.tracer.tally import SCALE, Tally

# First light is then known somewhat better than what the photons carry, on tanks of 900 to 4,000 soil cells.
PHOTONS_PER_POINT = 2**13


def points_to_gather(photons: int) -> int:
    """Points gathered in each soil cell along with a batch of photons."""
    return max(1, photons // PHOTONS_PER_POINT)


class Cores:
    """Threads that trace into a tally, layer by layer.

    Parameters
    ----------
    tally : Tally
    threads : int
    """

    first_batch, largest_batch = 2**11, 2**15  # photons of a stream in one layer

    def __init__(self, tally: Tally, threads: int) -> None:
        self.tally, self._pool = tally, ThreadPoolExecutor(threads)
        self._directions = sobol_directions()
        self._gathered = np.zeros(len(tally.done), np.int64)
        self._scratch: SimpleQueue = SimpleQueue()
        n_lanes = tally.packed.arrays.reflectance.shape[1]
        for _ in range(threads):
            self._scratch.put(new_scratch(tally.cells.shape[2], tally.sinks.shape[2], n_lanes))

    def __enter__(self) -> Cores:
        return self

    def __exit__(self, *_) -> None:
        self._pool.shutdown()

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
        jobs = [
            self._pool.submit(partial(self._batch, replicate, source, int(count)))
            for replicate in range(self.tally.replicates)
            for source, count in enumerate(counts)
        ]
        interrupted = False
        try:
            wait(jobs)
        except KeyboardInterrupt:
            interrupted = True
            wait(jobs)
        for job in jobs:
            job.result()
        self.tally.done += counts
        self._gathered += [points_to_gather(int(count)) for count in counts]
        return interrupted

    def _batch(self, replicate: int, source: int, count: int) -> None:
        """Trace one batch into its sums; safe from any thread, as no two batches of a layer share them."""
        tally, packed = self.tally, self.tally.packed
        scratch = self._scratch.get()
        try:
            trace_batch(
                packed.arrays,
                packed.bvh,
                tally.lamps.sources[source],
                self._directions,
                tally.seed,
                replicate * len(tally.lamps.sources) + source,
                int(tally.done[source]),
                count,
                int(self._gathered[source]),
                points_to_gather(count),
                SCALE,
                scratch,
                tally.cells[replicate, source],
                tally.sinks[replicate, source],
            )
        finally:
            self._scratch.put(scratch)
