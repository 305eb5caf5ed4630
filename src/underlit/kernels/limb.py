"""Limbs of wood: how far samples on a grid are from them, and which point of an axis is nearest."""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.jit import exact_kernel, inlined_exact_kernel

RUN = 16  # points of an axis that are looked at together
_FAR, _TINY, _LESS = np.float32([np.inf, 1e-6, 0.6])
_ZERO, _ONE, _TWO, _THREE, _FOUR, _SIX = np.float32([0, 1, 2, 3, 4, 6])


@exact_kernel
def lower_to_limb(points, radii, u, lobes, block, origin, step, margin):
    """Lower samples to their distance from a limb, as far as `margin` outside it.

    The distance is that to cones with round ends whose section has three lobes; exact at the surface of a round limb,
    and smooth enough elsewhere to blend by.

    Parameters
    ----------
    points : ndarray, shape (n, 3), float64
        Axis of the limb. [m]
    radii : ndarray, shape (n,), float64
        [m]
    u : ndarray, shape (n, 3), float64
        Direction of a lobe at each point.
    lobes : float32
        How far the section departs from a circle, as a share of its radius.
    block : ndarray, shape (nx, ny, nz), float32
        Samples. [m]
    origin : ndarray, shape (3,), float64
        Place of the first one. [m]
    step : float
        Between neighbours. [m]
    margin : float32
        [m]
    """
    for i in range(len(points) - 1):
        _lower_to_segment(points, radii, u, lobes, i, block, origin, step, margin)


@exact_kernel
def _lower_to_segment(points, radii, u, lobes, i, block, origin, step, margin):
    x_origin, y_origin, z_origin = origin[0], origin[1], origin[2]
    reach = 1.2 * max(radii[i], radii[i + 1]) + margin
    x_first, x_end = _samples(points, i, 0, reach, origin, step, block.shape[0])
    y_first, y_end = _samples(points, i, 1, reach, origin, step, block.shape[1])
    z_first, z_end = _samples(points, i, 2, reach, origin, step, block.shape[2])
    ax, ay, az = points[i, 0], points[i, 1], points[i, 2]
    dx = np.float32(points[i + 1, 0] - ax)
    dy = np.float32(points[i + 1, 1] - ay)
    dz = np.float32(points[i + 1, 2] - az)
    squared = dx * dx + dy * dy + dz * dz
    ux, uy, uz = np.float32(u[i, 0]), np.float32(u[i, 1]), np.float32(u[i, 2])
    turn_x = np.float32(u[i + 1, 0]) - ux
    turn_y = np.float32(u[i + 1, 1]) - uy
    turn_z = np.float32(u[i + 1, 2]) - uz
    wide, widens = np.float32(radii[i]), np.float32(radii[i + 1] - radii[i])
    for i_x in range(x_first, x_end):
        x = np.float32(x_origin - ax + step * i_x)
        for i_y in range(y_first, y_end):
            y = np.float32(y_origin - ay + step * i_y)
            row = block[i_x, i_y]
            for i_z in range(z_first, z_end):
                z = np.float32(z_origin - az + step * i_z)
                t = min(max((x * dx + y * dy + z * dz) / squared, _ZERO), _ONE)
                qx, qy, qz = x - t * dx, y - t * dy, z - t * dz
                away = np.sqrt(qx * qx + qy * qy + qz * qz)
                along = qx * (ux + t * turn_x) + qy * (uy + t * turn_y) + qz * (uz + t * turn_z)
                c = along / max(away, _TINY)
                # cos 3 a and, less strongly, cos 2 a of the angle from u
                lobed = (_FOUR * c * c - _THREE) * c + _LESS * (_TWO * c * c - _ONE)
                distance = away - (wide + t * widens) * (_ONE + lobes * lobed)
                row[i_z] = min(row[i_z], distance if distance < margin else _FAR)


@inlined_exact_kernel
def _samples(points, i, axis, reach, origin, step, n):
    """First sample along an axis within reach of a segment, and the one after the last."""
    low = min(points[i, axis], points[i + 1, axis]) - reach - origin[axis]
    high = max(points[i, axis], points[i + 1, axis]) + reach - origin[axis]
    return max(math.floor(low / step), 0), min(math.ceil(high / step) + 1, n)


@exact_kernel
def grow_together(field, first, own, fillet):
    """Take the smooth minimum of a field and the distance to one limb.

    Polynomial smooth minimum: a fillet of about its width at every fork, nothing elsewhere.

    Parameters
    ----------
    field : ndarray, shape (nx, ny, nz), float32
        Lowered. [m]
    first : tuple of 3 ints
        Sample of the field at which `own` starts.
    own : ndarray, float32
        Distance to the limb, infinite far from it. [m]
    fillet : float32
        Its width. [m]
    """
    nx, ny, nz = own.shape
    for i in range(nx):
        for j in range(ny):
            row = field[first[0] + i, first[1] + j]
            for k in range(nz):
                b = own[i, j, k]
                if b < _FAR:
                    a = row[first[2] + k]
                    overlap = max(fillet - abs(a - b), _ZERO) / fillet
                    row[first[2] + k] = min(a, b) - overlap * overlap * overlap * (fillet / _SIX)


@exact_kernel
def nearest_points(points, axis, middle, radius, nearest):
    """Find the point of an axis that is nearest to each of some points.

    Points of an axis follow one another, so that whole runs of `RUN` of them are too far away to be looked at.

    Parameters
    ----------
    points, axis : ndarray, shapes (n, 3) and (m, 3), float64
    middle, radius : ndarray, shapes (ceil(m / RUN), 3) and (ceil(m / RUN),), float64
        Scratch: spheres round the runs.
    nearest : ndarray, shape (n,), int64
        Filled.
    """
    for run in range(len(radius)):
        first, end = RUN * run, min(RUN * (run + 1), len(axis))
        for x in range(3):
            middle[run, x] = axis[(first + end) // 2, x]
        radius[run] = 0.0
        for j in range(first, end):
            radius[run] = max(radius[run], _squared(axis, j, middle, run))
        radius[run] = math.sqrt(radius[run])
    best_run = 0  # neighbours on a mesh are near the same run
    for i in range(len(points)):
        best, nearest[i] = _look(points, i, axis, best_run, np.inf, -1)
        away = math.sqrt(best)
        for run in range(len(radius)):
            reach = away + radius[run]
            if _squared(points, i, middle, run) < reach * reach:
                closer, j = _look(points, i, axis, run, best, nearest[i])
                if closer < best:
                    best, nearest[i], best_run, away = closer, j, run, math.sqrt(closer)


@inlined_exact_kernel
def _look(points, i, axis, run, best, nearest):
    """The nearest of a run, if it is nearer than that so far."""
    for j in range(RUN * run, min(RUN * (run + 1), len(axis))):
        squared = _squared(points, i, axis, j)
        if squared < best:
            best, nearest = squared, j
    return best, nearest


@inlined_exact_kernel
def _squared(a, i, b, j):
    """Squared distance of two points."""
    x, y, z = a[i, 0] - b[j, 0], a[i, 1] - b[j, 1], a[i, 2] - b[j, 2]
    return x * x + y * y + z * z


@exact_kernel
def carry_along(tangent, u):
    """Turn a direction with a line, without twist.

    Parameters
    ----------
    tangent : ndarray, shape (n, 3), float64
        Unit vectors along the line.
    u : ndarray, shape (n, 3), float64
        The first is given, and not along the line; the others, and its own part across the line, are filled. Unit
        vectors.
    """
    for i in range(len(u)):
        _carry(u[max(i - 1, 0)], tangent[i], u[i])


@inlined_exact_kernel
def _carry(last, tangent, u):
    """The part of a direction that is across a line."""
    along = last[0] * tangent[0] + last[1] * tangent[1] + last[2] * tangent[2]
    x, y, z = last[0] - along * tangent[0], last[1] - along * tangent[1], last[2] - along * tangent[2]
    length = math.sqrt(x * x + y * y + z * z)
    u[0], u[1], u[2] = x / length, y / length, z / length
