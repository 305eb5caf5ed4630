"""Run the tracer: layers of photons on all cores, until the error asked for is met.

A layer is one batch of photons for every source in every replicate. How many photons a layer holds and when to stop
depend on what has been counted alone, never on the clock or the number of threads: the same seed gives the same bits.
"""

from __future__ import annotations

import math
import os
import platform
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

import underlit
from underlit.errors import UnderlitError
from underlit.results.result import Result
from underlit.scene.files import file_digests
from underlit.scene.model import Scene
from underlit.scene.world import World
from underlit.tracer.card import Card, NoCardError, photons_that_pay, wants_card
from underlit.tracer.colours import known_colours
from underlit.tracer.cores import PHOTONS_PER_POINT, Cores
from underlit.tracer.pack import Packed, pack
from underlit.tracer.sources import Lamps, build_lamps
from underlit.tracer.tally import SCALE, Tally
from underlit.tracer.warm import PhotonLoop, no_collection

# Points that a soil cell needs at least for good, and the share of a lamp's photons that land on the soil; both rough.
_FEW_POINTS, _SHARE_ON_SOIL = 4, 0.4
PLANTED_WEIGHT = (
    3.0  # how much smaller than the error of a soil cell that of the light on planted hardscape must be
)
_SLACK = 1.1  # photons traced over those that seem needed, as an error is not known well
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
        Relative standard error of the median soil cell, infinite until there is one; or what plants on hardscape leave
        to do, if that is more (see `trace`).
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
    device: str = "cpu",
    notice: Callable[[str], None] = warnings.warn,
) -> Result:
    """Trace a scene.

    Parameters
    ----------
    scene : Scene
        From `underlit.load_scene`.
    precision : float, optional
        Stop once the median soil cell has this relative standard error, and the light on each piece of hardscape with
        plants on it a third of that; default `run.precision`.
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
    device : {"cpu", "gpu", "auto"}
        Where to trace. "auto" takes a CUDA card where a number of photons is asked for that it traces sooner. Without
        a card that can be used the CPU traces. Both agree within their errors, not to the last bit.
    notice : callable, optional
        Called with a sentence on which device was taken, where that is not plain from `device`.

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
    seed = scene.run.seed if seed is None else seed
    threads = threads or os.cpu_count() or 1
    card = _card(scene, world, lamps, seed, device, photons, threads, notice)
    if card is not None:
        start = time.perf_counter()
        with card:
            stop_reason = run_layers(card.tally, card, precision, photons, progress, start)
        return _result(scene, lamps, card.tally, seed, precision, stop_reason, time.perf_counter() - start)
    with PhotonLoop() as photon_loop:
        with no_collection():
            packed = pack(scene, world)
        n_streams = scene.run.replicates * len(lamps.sources)
        if precision is not None and not _worth_gathering(packed, n_streams, precision):
            packed = replace(packed, arrays=packed.arrays._replace(gathers=False))
        tally = Tally(packed, lamps, scene.run.replicates, seed, _planted(scene))
        with Cores(tally, threads) as cores:
            if photon_loop.is_first:
                with no_collection():
                    cores.compile_gathering()
                    photon_loop.join()
                    cores.compile_tracing()
            start = time.perf_counter()
            stop_reason = run_layers(tally, cores, precision, photons, progress, start)
    return _result(scene, lamps, tally, seed, precision, stop_reason, time.perf_counter() - start)


def _planted(scene: Scene) -> set[str]:
    """Names of the hardscape that plants grow on."""
    return {plant.on for plant in scene.plant if plant.on is not None}


def _card(
    scene: Scene, world, lamps: Lamps, seed: int, device: str, photons, threads: int, notice
) -> Card | None:
    """The card that is to trace, if one is; `notice` is told what traces where that is not plain from `device`."""
    if not wants_card(device, photons, threads):
        if device == "auto":
            notice(f"Tracing on the CPU: a card pays from {photons_that_pay(threads):.0e} photons on.")
        return None
    packed = pack(scene, world, bvh_layout="fine")
    packed = replace(packed, arrays=packed.arrays._replace(gathers=False))
    try:
        card = Card(Tally(packed, lamps, scene.run.replicates, seed, _planted(scene)))
    except NoCardError as error:
        notice(f"Tracing on the CPU: {error}.")
        return None
    if device == "auto":
        notice(f"Tracing on the {card.name}.")
    return card


def _worth_gathering(packed: Packed, n_streams: int, precision: float) -> bool:
    """Whether a few points in each cell cost less than what photons alone would need; not so for many lamps."""
    n_cells = packed.layout.surfaces["soil"].n_cells
    needed = n_cells / (_SHARE_ON_SOIL * precision**2)
    return packed.arrays.gathers and needed > PHOTONS_PER_POINT * _FEW_POINTS * n_cells * n_streams


def run_layers(tally: Tally, engine: Cores | Card, precision, photons, progress, start: float) -> str:
    """Trace layer upon layer; why it ended."""
    layer, missing, rel_err, median = 0, math.inf, math.inf, 0.0
    errors_matter = precision is not None or progress is not None or tally.first_light.size > 0
    while True:
        counts = _layer_counts(tally, engine, layer, photons, missing)
        interrupted = engine.layer(counts)
        layer += 1
        try:
            if errors_matter:
                rel_err, median = tally.rel_err(engine.each)
                tally.soil_known = precision is not None and rel_err <= precision
                rel_err = max(rel_err, PLANTED_WEIGHT * tally.planted_err())
            if precision is not None:
                missing = (_SLACK * (rel_err / precision) ** 2 - 1.0) * float(tally.done.max())
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
        if tally.done.max() > _MOST_PHOTONS_PER_STREAM - engine.largest_batch:
            return "no more photons"


def _layer_counts(
    tally: Tally, engine: Cores | Card, layer: int, photons: int | None, missing: float
) -> np.ndarray:
    """Photons of each source per replicate in the next layer: doubling at first, then even.

    No more than seem to be missing, for the source that has most.
    """
    size = min(engine.first_batch << max(layer - 1, 0), engine.largest_batch)
    size = int(min(size, max(missing, engine.first_batch)))
    counts = np.ceil(size * tally.share).astype(np.int64)
    if photons is not None:
        left = max(photons - tally.photons, 1)
        whole = int(tally.replicates * counts.sum())
        if left < whole:
            counts = np.maximum(np.ceil(counts * (left / whole)).astype(np.int64), 1)
    return counts


def _result(
    scene: Scene, lamps: Lamps, tally: Tally, seed: int, precision, stop_reason: str, wall_s: float
) -> Result:
    packed, layout = tally.packed, tally.packed.layout
    rel_err = tally.rel_err()[0]
    tally.settle()
    sums = {name: tally.landed(name) for name in layout.surfaces}
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
        file_digests=file_digests(scene),
        versions=_versions(),
        created=datetime.now(UTC).isoformat(timespec="seconds"),
        wall_s=wall_s,
        stop_reason=stop_reason,
        rel_err_asked=float("nan") if precision is None else precision,
        rel_err=rel_err,
    )


def _versions() -> dict[str, str]:
    """Versions of what the numbers rest on."""
    import numba

    return {
        "underlit": underlit.__version__,
        "python": platform.python_version(),
        "numpy": np.__version__,
        "numba": numba.__version__,
    }
