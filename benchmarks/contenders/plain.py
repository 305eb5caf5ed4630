"""The baseline: plain photons, as a first ray tracer of one's own would have them.

Pseudo-random numbers throughout; every photon has one wavelength, drawn evenly from the bands, and is absorbed or not
by chance. Same physics and same geometry kernels as the engine, no packets, no weights, no quasi-random points.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from benchmarks.contenders.engine import Tallied
from underlit.kernels.arrays import BOTTOM, CLEAN, SOIL_GRID, TOP
from underlit.kernels.box import entry_face, exit_face, on_face
from underlit.kernels.bvh import closest_hit, new_stack
from underlit.kernels.draws import RNG_WORDS, rng_start, uniform
from underlit.kernels.emit import emit
from underlit.kernels.fresnel import fresnel
from underlit.kernels.interface import along, component, flip, refract
from underlit.kernels.jit import inlined_kernel, kernel
from underlit.kernels.sampling import lambertian
from underlit.kernels.soil import soil_hit
from underlit.kernels.tally import grid_cell

_OUTSIDE, _AIR, _WATER, _GLASS, _ENDED = range(5)
_HAIR_M = 2e-6


@inlined_kernel
def _cross(axis, eta, dx, dy, dz, rng, seed):
    """Reflect or refract at a plane square to an axis; whether it went through."""
    reflectance, mu_t = fresnel(abs(component(axis, dx, dy, dz)), eta)
    if uniform(rng, seed) < reflectance:
        dx, dy, dz = flip(axis, dx, dy, dz)
        return False, dx, dy, dz
    dx, dy, dz = refract(axis, eta, mu_t, dx, dy, dz)
    return True, dx, dy, dz


@inlined_kernel
def _absorbed(absorption_per_m, path_m, rng, seed):
    """Whether a photon is absorbed on its way."""
    return absorption_per_m > 0.0 and uniform(rng, seed) >= math.exp(-absorption_per_m * path_m)


@inlined_kernel
def _bounce(nx, ny, nz, px, py, pz, rng, seed):
    """Leave an opaque surface."""
    dx, dy, dz = lambertian(nx, ny, nz, uniform(rng, seed), uniform(rng, seed))
    return px + _HAIR_M * nx, py + _HAIR_M * ny, pz + _HAIR_M * nz, dx, dy, dz


@inlined_kernel
def _inside(scene, bvh, band, region, px, py, pz, dx, dy, dz, skip, counts, rng, seed, stack):
    """In the water or the air of the tank, to the next event."""
    tank, wet = scene.tank, region == _WATER
    z0, z1 = (0.0, tank.water_m) if wet else (tank.water_m, tank.lz_m)
    t, face = exit_face(px, py, pz, dx, dy, dz, 0.0, tank.lx_m, 0.0, tank.ly_m, z0, z1)
    t_soil = soil_hit(scene.soil, px, py, pz, dx, dy, dz, t)
    on_soil = t_soil < t
    t = min(t, t_soil)
    i_face = np.int64(-1)
    if scene.mesh.n_faces > 0:
        t, i_face = closest_hit(bvh, px, py, pz, dx, dy, dz, t, skip, stack)
    if wet and _absorbed(tank.a_water_per_m[band], t, rng, seed):
        return _ENDED, px, py, pz, dx, dy, dz, i_face
    px, py, pz = px + t * dx, py + t * dy, pz + t * dz
    if i_face >= 0:
        n, row = scene.mesh.normal[i_face], scene.mesh.surface[i_face]
        if uniform(rng, seed) >= scene.reflectance[row, band]:
            return _ENDED, px, py, pz, dx, dy, dz, i_face
        side = -1.0 if dx * n[0] + dy * n[1] + dz * n[2] > 0.0 else 1.0
        px, py, pz, dx, dy, dz = _bounce(side * n[0], side * n[1], side * n[2], px, py, pz, rng, seed)
        return region, px, py, pz, dx, dy, dz, i_face
    if on_soil:
        counts[grid_cell(scene.grid, SOIL_GRID, px, py), band] += 1
        if uniform(rng, seed) >= scene.reflectance[scene.soil.surface, band]:
            return _ENDED, px, py, pz, dx, dy, dz, i_face
        px, py, pz, dx, dy, dz = _bounce(0.0, 0.0, 1.0, px, py, pz, rng, seed)
        return region, px, py, pz, dx, dy, dz, i_face
    px, py, pz = on_face(face, px, py, pz, 0.0, tank.lx_m, 0.0, tank.ly_m, z0, z1)
    if face == TOP and not wet:
        return _OUTSIDE, px, py, pz, dx, dy, dz, i_face
    if face == TOP or (face == BOTTOM and not wet):
        crossed, dx, dy, dz = _cross(2, tank.n_water if wet else 1.0 / tank.n_water, dx, dy, dz, rng, seed)
        if crossed:
            region = _AIR if wet else _WATER
        return region, px, py, pz, dx, dy, dz, i_face
    eta = (tank.n_water if wet else 1.0) / tank.n_glass
    crossed, dx, dy, dz = _cross(face >> 1, eta, dx, dy, dz, rng, seed)
    return _GLASS if crossed else region, px, py, pz, dx, dy, dz, i_face


@inlined_kernel
def _in_glass(scene, band, px, py, pz, dx, dy, dz, rng, seed):
    """In the glass, to one of its faces."""
    tank, s, b = scene.tank, scene.tank.side_m, scene.tank.bottom_m
    lx, ly, lz = tank.lx_m, tank.ly_m, tank.lz_m
    t, face = exit_face(px, py, pz, dx, dy, dz, -s, lx + s, -s, ly + s, -b, lz)
    t_in, inner = entry_face(px, py, pz, dx, dy, dz, 0.0, lx, 0.0, ly, 0.0, lz)
    inwards = t_in < t
    t = min(t, t_in)
    if _absorbed(tank.a_glass_per_m[band], t, rng, seed):
        return _ENDED, px, py, pz, dx, dy, dz
    px, py, pz = px + t * dx, py + t * dy, pz + t * dz
    if not inwards:
        px, py, pz = on_face(face, px, py, pz, -s, lx + s, -s, ly + s, -b, lz)
        crossed, dx, dy, dz = _cross(face >> 1, tank.n_glass, dx, dy, dz, rng, seed)
        return _ENDED if crossed else _GLASS, px, py, pz, dx, dy, dz
    px, py, pz = on_face(inner, px, py, pz, 0.0, lx, 0.0, ly, 0.0, lz)
    if pz < scene.soil.plane[0]:
        if uniform(rng, seed) >= scene.reflectance[scene.soil.surface, band]:
            return _ENDED, px, py, pz, dx, dy, dz
        nx, ny, nz = along(inner >> 1, 1.0 if inner & 1 else -1.0)
        dx, dy, dz = lambertian(nx, ny, nz, uniform(rng, seed), uniform(rng, seed))
        return _GLASS, px, py, pz, dx, dy, dz
    beyond = _WATER if pz < tank.water_m else _AIR
    eta = tank.n_glass / (tank.n_water if beyond == _WATER else 1.0)
    crossed, dx, dy, dz = _cross(inner >> 1, eta, dx, dy, dz, rng, seed)
    return beyond if crossed else _GLASS, px, py, pz, dx, dy, dz


@inlined_kernel
def _outside(scene, px, py, pz, dx, dy, dz, rng, seed):
    """In the room: past the tank, into its opening or onto its glass."""
    tank, s, b = scene.tank, scene.tank.side_m, scene.tank.bottom_m
    lx, ly, lz = tank.lx_m, tank.ly_m, tank.lz_m
    t, face = entry_face(px, py, pz, dx, dy, dz, -s, lx + s, -s, ly + s, -b, lz)
    if face < 0:
        return _ENDED, px, py, pz, dx, dy, dz
    px, py, pz = px + t * dx, py + t * dy, pz + t * dz
    px, py, pz = on_face(face, px, py, pz, -s, lx + s, -s, ly + s, -b, lz)
    if face == TOP and 0.0 <= px <= lx and 0.0 <= py <= ly:
        return _AIR, px, py, pz, dx, dy, dz
    crossed, dx, dy, dz = _cross(face >> 1, 1.0 / tank.n_glass, dx, dy, dz, rng, seed)
    return _GLASS if crossed else _OUTSIDE, px, py, pz, dx, dy, dz


@kernel
def trace_plain(scene, bvh, source, seed, stream, count, counts, rng, stack):
    """Trace `count` photons of a stream; those that land on the soil are added to `counts` (cells, bands)."""
    for i in range(count):
        rng_start(rng, i, stream)
        band = min(int(uniform(rng, seed) * scene.n_bands), scene.n_bands - 1)
        px, py, pz, dx, dy, dz = emit(
            source, uniform(rng, seed), uniform(rng, seed), uniform(rng, seed), uniform(rng, seed)
        )
        region, skip = _OUTSIDE, np.int64(-1)
        while region != _ENDED:
            if region == _GLASS:
                region, px, py, pz, dx, dy, dz = _in_glass(scene, band, px, py, pz, dx, dy, dz, rng, seed)
            elif region == _OUTSIDE:
                region, px, py, pz, dx, dy, dz = _outside(scene, px, py, pz, dx, dy, dz, rng, seed)
            else:
                region, px, py, pz, dx, dy, dz, skip = _inside(
                    scene, bvh, band, region, px, py, pz, dx, dy, dz, skip, counts, rng, seed, stack
                )


class Plain(Tallied):
    """Plain analog photons, one wavelength each."""

    def __init__(self, bands: int) -> None:
        super().__init__(bands)
        arrays = self.setup.packed.arrays
        if (arrays.tank.backing != CLEAN).any() or arrays.cover.strips_clear.size or not arrays.soil.is_plane:
            raise ValueError("plain photons know clean panes, an open top and a flat soil only.")

    def run(self, n: int, threads: int, seed: int) -> np.ndarray:
        with ThreadPoolExecutor(threads) as pool:
            counts = list(pool.map(lambda k: self._stream(n // self.streams, seed, k), range(self.streams)))
        share = np.stack(counts).reshape(self.streams, *self.shape, -1) / (n // self.streams)
        return np.moveaxis(share * self.setup.packed.arrays.n_bands, -1, 1)

    def _stream(self, count: int, seed: int, stream: int) -> np.ndarray:
        packed, lamp = self.setup.packed, self.setup.lamps.sources[0]
        counts = np.zeros((self.shape[0] * self.shape[1], packed.arrays.n_bands), np.int64)
        # With room on both sides: a cache line that two threads write to slows both.
        rng, stack = np.zeros(RNG_WORDS + 64, np.uint32)[32:-32], new_stack()
        trace_plain(packed.arrays, packed.bvh, lamp, np.uint64(seed), stream, count, counts, rng, stack)
        return counts
