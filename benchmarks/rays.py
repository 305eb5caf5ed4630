"""Rays per second of the BVH and of Embree, one ray at a time, one thread.

    python benchmarks/rays.py --triangles 20000 100000 1000000

Four stones stand in a box. Two kinds of incoherent rays: `random` starts anywhere in the box, in any direction;
`bounce` starts on the stones and leaves them diffusely. All contenders trace the same rays in turn, so that what
else the machine does hits all alike; the ratio is the median over the rounds. Time is processor time.

Embree comes with embreex. `embreex` is its `run` on an array of rays, which calls rtcIntersect1 for each ray in a
compiled loop. `embree` is rtcIntersect1 called from a numba loop like the one that calls `closest_hit`: without
the overhead of the binding, so it is what the ratios are taken to.
"""

from __future__ import annotations

import argparse
import ctypes
import time
from pathlib import Path

import embreex
import numba
import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene

from underlit.geometry.stone import stone
from underlit.kernels.bvh import build_bvh, closest_hit, new_stack

BOX_M = (0.6, 0.45, 0.4)
PLACES_M = ((0.15, 0.12, 0.1), (0.42, 0.15, 0.12), (0.2, 0.32, 0.1), (0.45, 0.33, 0.08))


class Embree:
    """A scene of Embree through its C API."""

    FLOAT3, UINT3, INDEX, VERTEX, TRIANGLE = (
        0x9003,
        0x5003,
        0,
        1,
        0,
    )  # RTCFormat, RTCBufferType, RTCGeometryType

    def __init__(self, vertices, faces):
        folder = Path(embreex.__file__).parents[1] / "embreex.libs"
        self.api = ctypes.CDLL(str(next(folder.glob("libembree4*"))))
        device = self._call("rtcNewDevice", b"threads=1")
        self.scene = self._call("rtcNewScene", device)
        geometry = self._call("rtcNewGeometry", device, self.TRIANGLE)
        for kind, form, values in (
            (self.VERTEX, self.FLOAT3, vertices.astype(np.float32)),
            (self.INDEX, self.UINT3, faces.astype(np.uint32)),
        ):
            size = ctypes.c_size_t(12), ctypes.c_size_t(len(values))
            memory = self._call("rtcSetNewGeometryBuffer", geometry, kind, 0, form, *size)
            ctypes.memmove(memory, values.ctypes.data, values.nbytes)
        self._call("rtcCommitGeometry", geometry)
        self._call("rtcAttachGeometry", self.scene, geometry)
        self._call("rtcCommitScene", self.scene)
        self.intersect = self.api["rtcIntersect1"]
        self.intersect.argtypes, self.intersect.restype = [ctypes.c_void_p] * 3, None

    def _call(self, name, *arguments):
        function = self.api[name]
        function.restype = ctypes.c_void_p
        return function(*(ctypes.c_void_p(a) if isinstance(a, int) and a > 2**20 else a for a in arguments))

    def tracer(self):
        """Function of (origins, directions, t, i_face), like `trace`."""
        memory = np.zeros(48, np.float32)
        start = (-memory.ctypes.data % 64) // 4
        ray = memory[start : start + 24]  # RTCRayHit, aligned
        loop = _embree_loop(self.intersect)
        return lambda *rays: loop(self.scene, ray, ray.view(np.int32), *rays)


def _embree_loop(intersect):
    @numba.njit
    def loop(scene, ray, ray_int, origins, directions, t, i_face):
        for i in range(len(origins)):
            for k in range(3):
                ray[k], ray[4 + k] = origins[i, k], directions[i, k]
            ray[3], ray[7], ray[8] = 0.0, 0.0, np.inf  # nearest, time, farthest
            ray_int[9], ray_int[10], ray_int[11] = -1, 0, 0  # mask, id, flags
            ray_int[17], ray_int[18], ray_int[19] = -1, -1, -1  # triangle, geometry, instance
            intersect(scene, ray.ctypes.data, 0)
            t[i], i_face[i] = ray[8], ray_int[17]

    return loop


@numba.njit
def trace(bvh, stack, origins, directions, t, i_face):
    for i in range(len(origins)):
        o, d = origins[i], directions[i]
        t[i], i_face[i] = closest_hit(bvh, o[0], o[1], o[2], d[0], d[1], d[2], np.inf, -1, stack)


def stones(n_triangles):
    vertices, faces, n = [], [], 0
    for i, place in enumerate(PLACES_M):
        mesh = stone(size=(0.2, 0.15, 0.18), seed=i, triangles=n_triangles // len(PLACES_M))
        vertices.append(mesh.vertices_m - mesh.vertices_m.mean(0) + place)
        faces.append(mesh.faces + n)
        n += len(mesh.vertices_m)
    return np.concatenate(vertices), np.concatenate(faces)


def directions_of(rng, n):
    d = rng.normal(size=(n, 3))
    return d / np.linalg.norm(d, axis=1)[:, None]


def random_rays(rng, n):
    return rng.random((n, 3)) * BOX_M, directions_of(rng, n)


def bounced_rays(rng, vertices, faces, n):
    a, b, c = np.moveaxis(vertices[faces[rng.integers(len(faces), size=n)]], 1, 0)
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    d = normal + directions_of(rng, n)
    return (a + b + c) / 3 + 2e-6 * normal, d / np.linalg.norm(d, axis=1)[:, None]


def contenders(vertices, faces):
    scene = EmbreeScene()
    TriangleMesh(scene, vertices.astype(np.float32), faces.astype(np.int32))

    def run_embreex(origins, directions, t, i_face):
        i_face[:] = scene.run(origins, directions)

    tracers = {"embree": Embree(vertices, faces).tracer(), "embreex": run_embreex}
    for layout in ("wide", "scalar"):
        bvh, stack = build_bvh(vertices, faces, layout), new_stack()
        tracers[layout] = lambda *rays, bvh=bvh, stack=stack: trace(bvh, stack, *rays)
    return tracers


def race(tracers, origins, directions, rounds):
    """Seconds (n_tracer, rounds); refuses tracers that do not agree."""
    seconds, faces_hit = np.zeros((len(tracers), rounds)), []
    for k in range(-1, rounds):  # the first round warms up
        for j, (name, run) in enumerate(tracers.items()):
            t, i_face = np.empty(len(origins)), np.empty(len(origins), np.int64)
            rays = (a.astype(np.float32) if name == "embreex" else a for a in (origins, directions))
            rays = tuple(rays)
            start = time.thread_time()
            run(*rays, t, i_face)
            seconds[j, k] = time.thread_time() - start
            faces_hit.append(i_face)
    differ = max(np.mean(i_face != faces_hit[0]) for i_face in faces_hit)
    if differ > 1e-3:
        raise SystemExit(f"the tracers disagree on {differ:.2%} of the rays")
    return seconds


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--triangles", type=int, nargs="+", default=[20_000, 100_000, 1_000_000])
    parser.add_argument("--rays", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=21)
    options = parser.parse_args()
    print(f"{'triangles':>9}  {'rays':<6}  {'tracer':<7}  {'M rays/s':>8}  {'to embree':>9}")
    for n_triangles in options.triangles:
        rng = np.random.default_rng(1)
        vertices, faces = stones(n_triangles)
        tracers = contenders(vertices, faces)
        for kind, rays in (
            ("random", random_rays(rng, options.rays)),
            ("bounce", bounced_rays(rng, vertices, faces, options.rays)),
        ):
            seconds = race(tracers, *(a.astype(np.float32).astype(float) for a in rays), options.rounds)
            for name, times in zip(tracers, seconds, strict=True):
                rate, ratio = options.rays / times.min() / 1e6, np.median(seconds[0] / times)
                print(f"{len(faces):>9}  {kind:<6}  {name:<7}  {rate:8.2f}  {ratio:9.2f}", flush=True)


if __name__ == "__main__":
    main()
