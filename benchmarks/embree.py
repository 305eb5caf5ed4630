"""Closest-hit rays a second beside Embree, and whole photons a second beside those.

`benchmarks.rays` has the finer comparison of rays alone.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from multiprocessing import get_context

import numpy as np

from benchmarks.contenders.engine import SOIL_ONLY, Tracer
from benchmarks.tank import joined, leaf_strips, prepare, prepare_world, scene_text
from underlit import spectra
from underlit.kernels.bvh import closest_hit, new_stack
from underlit.kernels.jit import kernel
from underlit.scene.loader import from_text
from underlit.scene.world import World, build_world

N_STRIPS = 6_000


@dataclass
class RayRow:
    """Rates on one mesh, one entry a round."""

    title: str
    triangles: int
    embree: list[float] = field(default_factory=list)  # rays per second, one thread
    ours: list[float] = field(default_factory=list)  # rays per second, one thread
    photons: list[float] = field(default_factory=list)  # 16-band photons traced per second, one thread
    embree_all: float = float("nan")  # rays per second of as many processes as threads
    agreement: float = float("nan")  # share of rays with the same triangle, or both none

    def ratio(self, part: str) -> float:
        """Median over rounds of a rate over Embree's of the same round."""
        return float(np.median(np.array(getattr(self, part)) / np.array(self.embree)))


@kernel
def _hit_all(bvh, origin, direction, face, stack):
    for i in range(origin.shape[0]):
        _, face[i] = closest_hit(
            bvh, origin[i, 0], origin[i, 1], origin[i, 2],
            direction[i, 0], direction[i, 1], direction[i, 2], np.inf, -1, stack,
        )  # fmt: skip


def incoherent_rays(n: int, seed: int = 7) -> tuple[np.ndarray, np.ndarray]:
    """Rays from anywhere in the water, in any direction: shape (n, 3) each, numbers that float32 holds."""
    rng = np.random.default_rng(seed)
    origin = rng.uniform((0.0, 0.0, 0.04), (0.6, 0.3, 0.33), (n, 3))
    direction = rng.normal(size=(n, 3))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    return origin.astype(np.float32).astype(np.float64), direction.astype(np.float32).astype(np.float64)


def measure_rays(triangles: list[int], n_rays: int, n_photons: int, rounds: int, threads: int, say=print):
    """Rates on rock of several finenesses and on a tank full of leaves.

    Parameters
    ----------
    triangles : list of int
    n_rays, n_photons : int
        Of one run.
    rounds, threads : int
    say : callable

    Returns
    -------
    list of RayRow

    Raises
    ------
    ImportError
        embreex is missing.
    """
    import benchmarks.rays  # noqa: F401  (fail before anything is built)

    rows = []
    for count in triangles:
        setup = prepare(from_text(scene_text(count, SOIL_ONLY)), spectra.NODES_NM)
        title = f"rock, {setup.packed.arrays.mesh.n_faces:,} triangles"
        rows.append(_measure(title, setup, n_rays, n_photons, rounds, threads))
        say(_line(rows[-1]))
    rows.append(_measure("leaf-like strips", leaf_setup(), n_rays, n_photons, rounds, threads))
    say(_line(rows[-1]))
    return rows


def leaf_setup():
    """The benchmark tank full of leaf-like strips instead of rock."""
    stand_in = scene_text(100, SOIL_ONLY).split("[[hardscape]]")
    scene = from_text(stand_in[0] + "[[hardscape]]" + stand_in[1] + SOIL_ONLY)
    leaves = leaf_strips(N_STRIPS)
    return prepare_world(scene, World(build_world(scene).soil, (leaves,)), spectra.NODES_NM)


def _line(row: RayRow) -> str:
    return (
        f"{row.title}: Embree {np.median(row.embree) / 1e6:.1f} M rays/s, underlit {row.ratio('ours'):.2f} of it, "
        f"16-band photons {row.ratio('photons'):.2f} of it"
    )


def _measure(title: str, setup, n_rays: int, n_photons: int, rounds: int, threads: int) -> RayRow:
    from benchmarks.rays import Embree

    vertices, faces = joined(setup.world.hardscape)
    row = RayRow(title, len(faces))
    origin, direction = incoherent_rays(n_rays)
    embree, tracer = Embree(vertices, faces).tracer(), Tracer(setup, gathers=False)
    bvh, stack = setup.packed.bvh, new_stack()
    theirs, ours, t = np.zeros(n_rays, np.int64), np.zeros(n_rays, np.int64), np.zeros(n_rays)
    _hit_all(bvh, origin[:1], direction[:1], ours, stack)
    embree(origin[:1], direction[:1], t, theirs)
    tracer.cells(16_000, 1, 1)
    for number in range(rounds):
        row.embree.append(n_rays / _seconds(lambda: embree(origin, direction, t, theirs)))
        row.ours.append(n_rays / _seconds(lambda: _hit_all(bvh, origin, direction, ours, stack)))
        row.photons.append(n_photons / _seconds(lambda seed=number: tracer.cells(n_photons, 1, seed, 2)))
    row.agreement = float((theirs == ours).mean())
    row.embree_all = _embree_processes(vertices, faces, n_rays, threads)
    return row


def _seconds(call) -> float:
    """Processor seconds that a call takes, which other programs on the machine do not lengthen."""
    start = time.process_time()
    call()
    return time.process_time() - start


def _embree_processes(vertices, faces, n_rays: int, threads: int) -> float:
    """Rays per second of several processes together, one thread each."""
    context = get_context("spawn")
    barrier, queue = context.Barrier(threads), context.Queue()
    arguments = (vertices.astype(np.float32), faces, n_rays, barrier, queue)
    workers = [context.Process(target=_embree_process, args=arguments) for _ in range(threads)]
    for worker in workers:
        worker.start()
    rate = sum(queue.get() for _ in workers)
    for worker in workers:
        worker.join()
    return rate


def _embree_process(vertices, faces, n_rays: int, barrier, queue) -> None:
    from benchmarks.rays import Embree

    embree = Embree(vertices, faces).tracer()
    origin, direction = incoherent_rays(n_rays)
    face, t = np.zeros(n_rays, np.int64), np.zeros(n_rays)
    embree(origin[:1], direction[:1], t, face)
    barrier.wait()
    start = time.perf_counter()
    embree(origin, direction, t, face)
    queue.put(n_rays / (time.perf_counter() - start))
