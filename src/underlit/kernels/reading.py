"""What a meter reads in air on the axis of a lamp: straight from it, and by its housing."""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.bvh import any_hit, closest_hit
from underlit.kernels.draws import rng_start, uniform
from underlit.kernels.emit import emit, local_intensity, source_point
from underlit.kernels.jit import kernel
from underlit.kernels.rng import mix32, owen_scramble, sobol_next, sobol_start
from underlit.kernels.sampling import lambertian

_FAR_M = 1e3


@kernel
def straight_irradiance(source, distance, directions, n, point):
    """Irradiance on the axis of a source, square to it, per photon sent out: the mean of I cos / r^2. [m-2]

    Parameters
    ----------
    source : SourceArrays
    distance : float
        From the middle of the source. [m]
    directions : ndarray, shape (SOBOL_DIMENSIONS, 32), uint32
    n : int
        Points of the source.
    point : ndarray, shape (SOBOL_DIMENSIONS,), uint32
        Scratch.
    """
    total = 0.0
    sobol_start(directions, 0, point)
    for i in range(n):
        u1, u2 = owen_scramble(point[0], mix32(np.uint32(1))), owen_scramble(point[1], mix32(np.uint32(2)))
        lx, ly, lz = source_point(source, u1, u2)
        h = distance - lz
        r2 = lx * lx + ly * ly + h * h
        r = math.sqrt(r2)
        total += local_intensity(source, u1, u2, -lx / r, -ly / r, h / r) * h / (r * r2)
        sobol_next(directions, i, point)
    return total / n


@kernel
def housing_irradiance(source, distance, bvh, normal, reflectance, directions, n, point, rng, seed, stack):
    """The same by way of the lamp's housing: at each place where light meets it, what it sends on to the meter. [m-2]

    Parameters
    ----------
    source, distance, directions, n, point : as for `straight_irradiance`
    bvh : Bvh
        Of the housing.
    normal : ndarray, shape (F, 3)
        Of its faces.
    reflectance : float
    rng : ndarray, shape (RNG_WORDS,), uint32
        Scratch.
    seed : uint64
    stack : ndarray
        Scratch of the BVH.
    """
    c, axes = source.centre_m, source.axes
    fx, fy, fz = axes[2, 0], axes[2, 1], axes[2, 2]
    sx, sy, sz = c[0] + distance * fx, c[1] + distance * fy, c[2] + distance * fz
    total = 0.0
    sobol_start(directions, 0, point)
    for i in range(n):
        u1, u2 = owen_scramble(point[0], mix32(np.uint32(1))), owen_scramble(point[1], mix32(np.uint32(2)))
        u3, u4 = owen_scramble(point[2], mix32(np.uint32(3))), owen_scramble(point[3], mix32(np.uint32(4)))
        px, py, pz, dx, dy, dz = emit(source, u1, u2, u3, u4)
        rng_start(rng, i, 0)
        face = np.int64(-1)
        while True:
            t, face = closest_hit(bvh, px, py, pz, dx, dy, dz, _FAR_M, face, stack)
            if face < 0 or uniform(rng, seed) >= reflectance:
                break
            px, py, pz = px + t * dx, py + t * dy, pz + t * dz
            nx, ny, nz = normal[face, 0], normal[face, 1], normal[face, 2]
            if dx * nx + dy * ny + dz * nz > 0.0:
                nx, ny, nz = -nx, -ny, -nz
            vx, vy, vz = sx - px, sy - py, sz - pz
            r2 = vx * vx + vy * vy + vz * vz
            out, meets = nx * vx + ny * vy + nz * vz, fx * vx + fy * vy + fz * vz
            if out > 0.0 and meets > 0.0 and not any_hit(bvh, px, py, pz, vx, vy, vz, 1.0, face, stack):
                total += out * meets / (math.pi * r2 * r2)
            dx, dy, dz = lambertian(nx, ny, nz, uniform(rng, seed), uniform(rng, seed))
        sobol_next(directions, i, point)
    return total / n
