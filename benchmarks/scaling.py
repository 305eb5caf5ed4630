"""How the engine's speed, memory and error grow with the scene and the photons."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass, field
from multiprocessing import get_context

import numpy as np

from benchmarks.contenders.engine import ONE_NM, SOIL_ONLY, Tallied, Tracer
from benchmarks.merit import AREAS_CM, by_area, open_cells
from benchmarks.tank import SCENE, prepare, scene_text
from benchmarks.worker import peak_mb
from underlit import spectra
from underlit.scene.loader import from_text

STREAMS = Tallied.streams
FEW = 2  # streams for rates: the first, small batches of each stream cost more


@dataclass
class Series:
    """Rates along one axis; one row of `rates` per value, one entry per round. [photons/s]"""

    axis: str
    values: list
    rates: list[list[float]] = field(default_factory=list)

    def median(self) -> np.ndarray:
        return np.array([np.median(rates) for rates in self.rates])

    def relative(self) -> np.ndarray:
        """Median over rounds of the rate over that of the first value in the same round."""
        rates = np.array(self.rates)
        return np.median(rates / rates[0], axis=1)


def _run_options(**options) -> str:
    return "[run]\nplanes = []\n" + "".join(f'{key} = "{value}"\n' for key, value in options.items())


def _with_leds(count: int) -> str:
    """The tank with the lamp made of LEDs."""
    return scene_text(extra=SOIL_ONLY).replace('beam = "120 deg"', f'beam = "120 deg"\nleds = {count}')


def triangles(most: int) -> tuple[str, list, list]:
    """Rock from a thousand triangles up."""
    wanted = [n for n in (1_000, 10_000, 100_000, 1_000_000) if n <= most]
    setups = [prepare(from_text(scene_text(n, SOIL_ONLY))) for n in wanted]
    return "triangles", [setup.packed.arrays.mesh.n_faces for setup in setups], setups


def emitters() -> tuple[str, list, list]:
    """LEDs in the lamp."""
    counts = [1, 10, 100, 2_000]
    return "emitters", counts, [prepare(from_text(_with_leds(n))) for n in counts]


def cells() -> tuple[str, list, list]:
    """Cells on the soil, from 5 cm to 2 mm across."""
    sizes = ["5 cm", "2 cm", "1 cm", "5 mm", "2 mm"]
    setups = [prepare(from_text(scene_text(extra=_run_options(cell=size)))) for size in sizes]
    return "soil cells", [int(np.prod(s.packed.layout.surfaces["soil"].shape)) for s in setups], setups


def cells_gathered() -> tuple[str, list, list]:
    """The same, to be measured with light gathered in each of them."""
    axis, *rest = cells()
    return f"{axis}, with gathering", *rest


def bands() -> tuple[str, list, list]:
    """Wavelength bands carried by each photon."""
    nodes = [ONE_NM, spectra.NODES_NM, np.linspace(380.0, 780.0, 31)]
    scene = from_text(scene_text(extra=SOIL_ONLY))
    return "bands", [len(n) for n in nodes], [prepare(scene, n) for n in nodes]


def planes() -> tuple[str, list, list]:
    """Horizontal planes on which light is counted too: none, or as many as a scene has by itself."""
    setups = [prepare(from_text(scene_text(extra=extra))) for extra in (SOIL_ONLY, "")]
    return "horizontal planes", [len(s.packed.arrays.grid.plane_z_m) for s in setups], setups


def measure(axis: str, values: list, setups: list, n_photons: int, rounds: int, gathers=False) -> Series:
    """Photons per second of one thread for each setup, in turns; by default of tracing alone."""
    tracers = [Tracer(setup, gathers) for setup in setups]
    series = Series(axis, values, [[] for _ in values])
    for tracer in tracers:
        tracer.cells(32_000, 1, 1)
    for number in range(rounds):
        for tracer, rates in zip(tracers, series.rates, strict=True):
            start = time.process_time()
            tracer.cells(n_photons, 1, number, FEW)
            rates.append(n_photons / (time.process_time() - start))
    return series


def threads(most: int, n_photons: int, rounds: int) -> Series:
    """Photons per second by number of threads; the one axis measured by the wall clock."""
    counts = [n for n in (1, 2, 4, 8, 16, 32, 64) if n <= most]
    tracer = Tracer(prepare(from_text(scene_text(extra=SOIL_ONLY))), gathers=False)
    series = Series("threads", counts, [[] for _ in counts])
    for count in counts:
        tracer.cells(32_000, count, 1)
    for number in range(rounds):
        for count, rates in zip(counts, series.rates, strict=True):
            n = n_photons * count
            start = time.perf_counter()
            tracer.cells(n, count, number)
            rates.append(n / (time.perf_counter() - start))
    return series


def error_by_photons(most: int, n_threads: int) -> tuple[np.ndarray, dict[int, np.ndarray]]:
    """Root mean square relative standard error by area, as runs of more and more photons state it.

    Returns
    -------
    photons : ndarray, shape (n,)
    errors : dict of area [cm] to ndarray, shape (n,)
    """
    setup = prepare(from_text(scene_text(extra=SOIL_ONLY)))
    mask, tracer = open_cells(setup.numbers()), Tracer(setup)
    photons = 2 ** np.arange(16, int(np.log2(most)) + 1)
    errors = {side: [] for side in AREAS_CM}
    for n in photons.tolist():
        maps = tracer.cells(n, n_threads, 1)[:, : mask.size].sum(axis=-1).reshape(STREAMS, *mask.shape)
        for side in AREAS_CM:
            area = by_area(maps, mask, side)
            variance = area.var(axis=0, ddof=1) / STREAMS / area.mean(axis=0) ** 2
            errors[side].append(float(np.sqrt(variance.mean())))
    return photons, {side: np.array(values) for side, values in errors.items()}


def big_scene_text(n_triangles: int, groups: int) -> str:
    """The tank with much rock and several lamps, each of which is mapped on its own."""
    lamp = SCENE[SCENE.index("[[fixture]]") :]
    extra = ""
    for k in range(1, groups):
        moved = lamp.replace('name = "bar"', f'name = "bar {k}"', 1)
        extra += moved.replace('"15 cm"]', f'"{15 - k} cm"]', 1)
    return scene_text(n_triangles, extra)


def memory_mb(n_triangles: int, groups: int, photons: int) -> tuple[float, float]:
    """Peak memory of `underlit.trace` on a big scene, and seconds that it took, in a process of its own. [MB, s]"""
    context = get_context("spawn")
    queue = context.Queue()
    process = context.Process(target=_trace_big, args=(n_triangles, groups, photons, queue))
    start = time.perf_counter()
    process.start()
    process.join()
    if process.exitcode != 0:
        raise RuntimeError(f"the trace of the big scene ended with code {process.exitcode}.")
    return queue.get(), time.perf_counter() - start


def _trace_big(n_triangles: int, groups: int, photons: int, queue) -> None:
    from underlit.tracer.run import trace

    scene = from_text(big_scene_text(n_triangles, groups))
    result = trace(scene, photons=photons, threads=os.cpu_count())
    if len(result.photons) != groups:
        raise AssertionError(f"{len(result.photons)} groups, {groups} wanted")
    queue.put(peak_mb())
