"""Run the tracer: layers of photons on all cores, until the error asked for is met.

A layer is one batch of photons for every source in every replicate. How many photons a layer holds and when to stop
depend on what has been counted alone, never on the clock or the number of threads: the same seed gives the same bits.
"""

from __future__ import annotations

import hashlib
import os
import platform
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from queue import SimpleQueue

import numpy as np

import underlit
from underlit import spectra
from underlit.errors import UnderlitError
from underlit.kernels.batch import new_scratch, trace_batch
from underlit.kernels.rng import sobol_directions
from underlit.results.result import Result
from underlit.scene.hardscape import MeshPiece
from underlit.scene.model import Scene
from underlit.scene.world import World
from underlit.tracer.colours import known_colours
from underlit.tracer.pack import Packed, pack
from underlit.tracer.sources import Lamps, build_lamps

# Weights are summed in 1/SCALE: an error of 2^-31 per entry and batch, so that the light budget closes to 1e-9 in
# batches of a few photons too; the most photons of a stream, 2^32, still fit in 63 bits.
SCALE = float(2**30)

FIRST_BATCH, LARGEST_BATCH = 2**11, 2**15
# First light is then known somewhat better than what the photons carry, on tanks of 900 to 4,000 soil cells.
PHOTONS_PER_POINT = 2**13
_MOST_PHOTONS_PER_STREAM = 2**32  # the period of the quasi-random points


@dataclass(frozen=True)
class Progress:
    """How far a trace has come.

    Parameters
    ----------
    photons : int
        Traced so far.
    seconds : float
    rel_err : float
        Relative standard error of the median soil cell; infinite until there is one.
    target : float or None
        The error asked for, if that is what ends the trace.
    photons_wanted : int or None
        The number asked for, if that is what ends the trace.
    median_ppfd : float
        Median over the soil cells. [umol m-2 s-1]
    """

    photons: int
    seconds: float
    rel_err: float
    target: float | None
    photons_wanted: int | None
    median_ppfd: float

    @property
    def share_done(self) -> float:
        """Share of the work that is done, 0 to 1: the error falls as one over the root of the photons."""
        if self.photons_wanted is not None:
            return min(1.0, self.photons / self.photons_wanted)
        if self.target is None or not np.isfinite(self.rel_err) or self.rel_err <= 0.0:
            return 0.0
        return min(1.0, (self.target / self.rel_err) ** 2)


def trace(
    scene: Scene,
    *,
    precision: float | None = None,
    photons: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    world: World | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Result:
    """Trace a scene.

    Parameters
    ----------
    scene : Scene
        From `underlit.load_scene`.
    precision : float, optional
        Stop once the median soil cell has this relative standard error; default `run.precision`.
    photons : int, optional
        Trace this many photons instead; default `run.photons`.
    seed : int, optional
        Default `run.seed`.
    threads : int, optional
        Default all cores. Any number gives the same bits.
    world : World, optional
        The scene's shapes, where they have been built already.
    progress : callable, optional
        Called with a `Progress` after each layer. Ctrl-C ends the trace after the layer under way, with what is
        there; a second Ctrl-C ends it at once, with nothing.

    Returns
    -------
    Result

    Raises
    ------
    UnderlitError
        A file or value of the scene that cannot be used, or a scene without lamps.

    Examples
    --------
    >>> res = underlit.trace(underlit.load_scene("tank.toml"), precision=0.03)  # doctest: +SKIP
    """
    if precision is None and photons is None:
        precision, photons = scene.run.precision, scene.run.photons
    if photons is not None:
        precision = None
    lamps = build_lamps(scene)
    if not lamps.sources:
        raise UnderlitError(
            "the scene has no lamp.", where="fixture", hint="Add a [[fixture]] with a [[fixture.channel]]."
        )
    packed = pack(scene, world)
    seed = scene.run.seed if seed is None else seed
    tally = _Tally(packed, lamps, scene.run.replicates, seed)
    start = time.perf_counter()
    stop_reason = _run_layers(tally, precision, photons, threads or os.cpu_count() or 1, progress, start)
    return _result(scene, packed, lamps, tally, seed, precision, stop_reason, time.perf_counter() - start)


def points_to_gather(photons: int) -> int:
    """Points gathered in each soil cell along with a batch of photons."""
    return max(1, photons // PHOTONS_PER_POINT)


class _Tally:
    """Sums of a trace under way: one row of sums for each source in each replicate."""

    def __init__(self, packed: Packed, lamps: Lamps, replicates: int, seed: int) -> None:
        self.packed, self.lamps, self.seed = packed, lamps, np.uint64(seed)
        n_sources, n_bands = len(lamps.sources), packed.arrays.n_bands
        self.cells = np.zeros((replicates, n_sources, packed.layout.n_cells, n_bands), np.int64)
        self.sinks = np.zeros((replicates, n_sources, len(packed.sinks), n_bands), np.int64)
        self.done = np.zeros(n_sources, np.int64)
        self.gathered = np.zeros(n_sources, np.int64)
        self.directions = sobol_directions()
        flux = np.sqrt(lamps.flux_umol_s())
        # Sources share the photons by the root of their light: best for the sum, and still fair to each alone.
        self.share = np.maximum(flux / max(flux.sum(), 1e-300), 0.02)
        self.share /= self.share.max()
        self._scratch: SimpleQueue = SimpleQueue()

    @property
    def replicates(self) -> int:
        return self.cells.shape[0]

    @property
    def photons(self) -> int:
        """Traced so far, all sources and replicates."""
        return int(self.replicates * self.done.sum())

    def new_scratch(self) -> None:
        """Provide working memory for one more thread."""
        arrays = self.packed.arrays
        n_lanes = arrays.reflectance.shape[1]
        self._scratch.put(new_scratch(self.cells.shape[2], self.sinks.shape[2], n_lanes))

    def batch(self, replicate: int, source: int, count: int) -> None:
        """Trace one batch into its sums; safe from any thread, as no two batches of a layer share them."""
        scratch = self._scratch.get()
        try:
            trace_batch(
                self.packed.arrays,
                self.packed.bvh,
                self.lamps.sources[source],
                self.directions,
                self.seed,
                replicate * len(self.lamps.sources) + source,
                int(self.done[source]),
                count,
                int(self.gathered[source]),
                points_to_gather(count),
                SCALE,
                scratch,
                self.cells[replicate, source],
                self.sinks[replicate, source],
            )
        finally:
            self._scratch.put(scratch)

    def soil_ppfd(self) -> np.ndarray:
        """PPFD of the soil cells with all channels at their usual setting, shape (K, C). [umol m-2 s-1]"""
        layout, soil = self.packed.layout, self.packed.layout.surfaces["soil"]
        first = layout.first["soil"]
        landed = self.cells[:, :, first : first + soil.n_cells]
        weight = np.zeros(landed.shape[1:2] + landed.shape[3:])
        par = spectra.weighting("PAR")
        for channel in self.lamps.channels:
            weight[channel.source] += channel.dim * spectra.hat_weights(
                self.packed.wavelength_nm, channel.spectrum * par
            )
        weight /= SCALE * self.done[:, None]
        return np.einsum("kscb,sb->kc", landed, weight, optimize=True) / soil.cell_area_m2

    def rel_err(self) -> tuple[float, float]:
        """Relative standard error of the median soil cell, and the median PPFD. [-, umol m-2 s-1]"""
        ppfd = self.soil_ppfd()
        mean = ppfd.mean(axis=0)
        lit = mean > 0.0
        if not lit.any():
            return np.inf, 0.0
        std_err = ppfd.std(axis=0, ddof=1)[lit] / np.sqrt(self.replicates)
        return float(np.median(std_err / mean[lit])), float(np.median(mean))


def _run_layers(tally: _Tally, precision, photons, threads: int, progress, start: float) -> str:
    """Trace layer upon layer; why it ended."""
    for _ in range(threads):
        tally.new_scratch()
    layer = 0
    with ThreadPoolExecutor(threads) as pool:
        while True:
            counts = _layer_counts(tally, layer, photons)
            interrupted = _run_layer(tally, counts, pool)
            layer += 1
            try:
                rel_err, median = tally.rel_err()
                if progress is not None:
                    seconds = time.perf_counter() - start
                    progress(Progress(tally.photons, seconds, rel_err, precision, photons, median))
            except KeyboardInterrupt:
                interrupted = True
            if interrupted:
                return "interrupted"
            if photons is not None and tally.photons >= photons:
                return "photons"
            if photons is None and rel_err <= precision:
                return "precision"
            if tally.done.max() > _MOST_PHOTONS_PER_STREAM - LARGEST_BATCH:
                return "no more photons"


def _layer_counts(tally: _Tally, layer: int, photons: int | None) -> np.ndarray:
    """Photons of each source per replicate in the next layer: doubling at first, then even."""
    size = min(FIRST_BATCH << max(layer - 1, 0), LARGEST_BATCH)
    counts = np.ceil(size * tally.share).astype(np.int64)
    if photons is not None:
        left = max(photons - tally.photons, 1)
        whole = int(tally.replicates * counts.sum())
        if left < whole:
            counts = np.maximum(np.ceil(counts * (left / whole)).astype(np.int64), 1)
    return counts


def _run_layer(tally: _Tally, counts: np.ndarray, pool: ThreadPoolExecutor) -> bool:
    """Trace one layer; whether Ctrl-C came meanwhile. A second Ctrl-C is passed on."""
    jobs = [
        pool.submit(partial(tally.batch, replicate, source, int(count)))
        for replicate in range(tally.replicates)
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
    tally.done += counts
    tally.gathered += [points_to_gather(int(count)) for count in counts]
    return interrupted


def _result(
    scene: Scene,
    packed: Packed,
    lamps: Lamps,
    tally: _Tally,
    seed: int,
    precision,
    stop_reason: str,
    wall_s: float,
) -> Result:
    layout = packed.layout
    sums = {
        name: tally.cells[:, :, layout.first[name] : layout.first[name] + surface.n_cells]
        for name, surface in layout.surfaces.items()
    }
    return Result(
        scene_text=scene.text,
        scene_file=scene.path.name if scene.path else "",
        seed=seed,
        wavelength_nm=np.asarray(packed.wavelength_nm, float),
        source_names=list(lamps.names),
        photons=tally.done.copy(),
        channels=list(lamps.channels),
        surfaces=dict(layout.surfaces),
        sums=sums,
        budget_names=list(packed.sinks),
        budget_sums=tally.sinks,
        scale=SCALE,
        optics=known_colours(scene),
        mesh_digests=_mesh_digests(scene),
        versions=_versions(),
        created=datetime.now(UTC).isoformat(timespec="seconds"),
        wall_s=wall_s,
        stop_reason=stop_reason,
        rel_err_asked=float("nan") if precision is None else precision,
        rel_err=tally.rel_err()[0],
    )


def _mesh_digests(scene: Scene) -> dict[str, str]:
    """SHA-256 of each mesh file."""
    names = {piece.mesh for piece in scene.hardscape if isinstance(piece, MeshPiece)}
    return {name: hashlib.sha256(scene.file(name).read_bytes()).hexdigest() for name in sorted(names)}


def _versions() -> dict[str, str]:
    """Versions of what the numbers rest on."""
    import numba

    return {
        "underlit": underlit.__version__,
        "python": platform.python_version(),
        "numpy": np.__version__,
        "numba": numba.__version__,
    }
