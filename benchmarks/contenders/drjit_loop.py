"""A photon loop written by hand on Dr.Jit and Mitsuba's ray intersection: the strongest that we could make of them.

Photons start at points of a Kronecker sequence in position and direction, each stream shifted at random (R. Cranley
and T. N. L. Patterson 1976, SIAM J. Numer. Anal. 13:904); absorption at soil and rock is by chance. All interfaces
are looked up by shape, not called through the renderer's plugins.
"""

from __future__ import annotations

import drjit as dr
import numpy as np

from benchmarks import mitsuba_tank
from benchmarks.tank import prepare, scene_text
from underlit.scene.loader import from_text

mi = mitsuba_tank.variant("llvm_ad_mono")

_INTERFACE, _SOIL, _ROCK, _BURIED = range(4)
_KINDS = {"soil": _SOIL, "rock": _ROCK, "buried": _BURIED}
_HAIR = 2e-6 / mitsuba_tank.UNIT_M


def kronecker_steps() -> list[int]:
    """Steps of a four-dimensional Kronecker sequence, in units of 2**-32.

    Powers of the root of x**5 = x + 1 (M. Roberts 2018, The unreasonable effectiveness of quasirandom sequences).
    """
    root = 1.0
    for _ in range(64):
        root = (1.0 + root) ** 0.2
    return [int(root**-k % 1.0 * 2**32) for k in range(1, 5)]


def _fresnel(cosine, eta):
    """Reflectance, cosine beyond the interface (of opposite sign), and ratio of indices."""
    reflectance, cos_t, _, eta_ti = mi.fresnel(cosine, eta)
    return reflectance, cos_t, eta_ti


class PhotonLoop:
    """The tank, and the loop over it."""

    unit = "photons"
    bands = 1
    streams = 16

    def __init__(self) -> None:
        self.setup = prepare(from_text(scene_text()), np.array([550.0]), clear=True)
        self.tank = self.setup.numbers(mitsuba_tank.UNIT_M)
        objects = mitsuba_tank.tank_objects(mi, self.tank)
        del objects["lamp"]
        self.scene = mi.load_dict(objects)
        self._look_up_tables()

    def _look_up_tables(self) -> None:
        """What each shape is, by its number in Dr.Jit's registry."""
        number = np.array(dr.reinterpret_array(mi.UInt32, self.scene.shapes_dr()))
        kind = np.full(number.max() + 1, _INTERFACE, np.uint32)
        eta, rho = np.ones(kind.size), np.zeros(kind.size)
        for slot, shape in zip(number, self.scene.shapes(), strict=True):
            name = shape.id()
            if name in _KINDS:
                kind[slot] = _KINDS[name]
            else:
                front, back = name.split("_")
                eta[slot] = self.tank.index(back) / self.tank.index(front)
        rho[(kind == _SOIL) | (kind == _BURIED)] = self.tank.soil_reflectance
        rho[kind == _ROCK] = self.tank.rock_reflectance
        self.kind, self.eta, self.rho = mi.UInt32(kind), mi.Float(eta), mi.Float(rho)

    def run(self, n: int, threads: int, seed: int) -> np.ndarray:
        dr.set_thread_count(threads)
        per_stream = n // self.streams
        shift = np.random.default_rng(seed).integers(0, 2**32, 4 * self.streams, dtype=np.uint32)
        ny, nx = self.tank.cells
        tally = dr.zeros(mi.Float, self.streams * ny * nx)
        # Opaque numbers are arguments of the compiled loop; plain ones would have it compiled anew for each value.
        self._trace(
            per_stream * self.streams, dr.opaque(mi.UInt32, per_stream), mi.UInt32(shift),
            dr.opaque(mi.UInt64, seed), tally,
        )  # fmt: skip
        return np.array(tally).reshape(self.streams, 1, ny, nx) / per_stream

    def _start(self, n: int, per_stream, shift):
        """First rays, and the number of each one's stream."""
        number = dr.arange(mi.UInt32, n)
        stream = number // per_stream
        step = number - stream * per_stream
        u = []
        for k, alpha in enumerate(kronecker_steps()):
            word = step * mi.UInt32(alpha) + dr.gather(mi.UInt32, shift, stream * 4 + k)
            u.append(mi.Float(word >> 8) * 2**-24)
        centre, size = self.tank.lamp_centre.tolist(), self.tank.lamp_size.tolist()
        start = mi.Point3f(centre[0] + (u[0] - 0.5) * size[0], centre[1] + (u[1] - 0.5) * size[1], centre[2])
        d = mi.warp.square_to_cosine_hemisphere(mi.Point2f(u[2], u[3]))
        return mi.Ray3f(start, mi.Vector3f(d.x, d.y, -d.z)), stream, number

    @dr.syntax
    def _trace(self, n, per_stream, shift, seed, tally):
        """Follow all photons to their ends; `tally` counts those that land on the soil."""
        (lx, ly, _), (ny, nx) = self.tank.size, self.tank.cells
        ray, stream, number = self._start(n, per_stream, shift)
        rng = mi.PCG32(size=n, initstate=seed, initseq=number)
        active = mi.Bool(True)
        while active:
            si = self.scene.ray_intersect(ray, ray_flags=mi.RayFlags.Minimal, coherent=False, active=active)
            active &= si.is_valid()
            shape = dr.reinterpret_array(mi.UInt32, si.shape)
            kind = dr.gather(mi.UInt32, self.kind, shape, active)
            i = dr.minimum(mi.UInt32(si.p.x * (nx / lx)), nx - 1)
            j = dr.minimum(mi.UInt32(si.p.y * (ny / ly)), ny - 1)
            landed = active & (kind == _SOIL) & (ray.d.z < 0.0)
            dr.scatter_add(tally, mi.Float(1.0), (stream * ny + j) * nx + i, landed)
            normal, out = mi.Vector3f(si.n), mi.Vector3f(ray.d)
            cosine, u = -dr.dot(ray.d, normal), rng.next_float32(active)
            if kind == _INTERFACE:
                eta = dr.gather(mi.Float, self.eta, shape, active)
                reflectance, cos_t, eta_ti = _fresnel(cosine, eta)
                reflected = ray.d + 2.0 * cosine * normal
                refracted = eta_ti * ray.d + (eta_ti * cosine + cos_t) * normal
                out = dr.select(u < reflectance, reflected, refracted)
            else:
                active &= u < dr.gather(mi.Float, self.rho, shape, active)
                up = dr.select(cosine < 0.0, -normal, normal)
                sample = mi.Point2f(rng.next_float32(active), rng.next_float32(active))
                out = mi.Frame3f(up).to_world(mi.warp.square_to_cosine_hemisphere(sample))
            side = dr.select(dr.dot(out, normal) > 0.0, _HAIR, -_HAIR)
            ray = mi.Ray3f(si.p + side * normal, out)
