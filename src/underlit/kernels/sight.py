"""From a spot up to the lamp: how much straight light each lamp point would send there, and what stands in its way."""

from __future__ import annotations

import math

from underlit.kernels.bvh import closest_hit
from underlit.kernels.emit import intensity, source_point
from underlit.kernels.fresnel import fresnel
from underlit.kernels.jit import kernel
from underlit.kernels.solve import slope_in_air

_CLOSE_M = 2e-5  # of sight lines at either end, so that a spot is not hidden by the ground that it lies on


@kernel
def refracted(h, d, n, rho):
    """The path from a lamp point through a level water surface to a point below it.

    Parameters
    ----------
    h, d : float
        Height of the lamp point above the water, depth of the spot below it. [m]
    n : float
        Index of water.
    rho : float
        Horizontal distance. [m]

    Returns
    -------
    sin_air : float
        Sine of its angle from the vertical in air.
    irradiance : float
        On a level plane at the spot, per intensity in that direction, reflection taken off. [m-2]
    """
    tau = slope_in_air(h, d, n, rho)
    cos_air = 1.0 / math.sqrt(1.0 + tau * tau)
    sin_air = tau * cos_air
    cos_water = math.sqrt(1.0 - sin_air * sin_air / (n * n))
    # Sideways and lengthwise spread of a narrow cone: r / sin and d r / d sin.
    sideways = h / cos_air + d / (n * cos_water)
    lengthwise = h / (cos_air * cos_air * cos_air) + d / (n * (cos_water * cos_water * cos_water))
    lost, _ = fresnel(cos_air, 1.0 / n)
    return sin_air, (1.0 - lost) / (cos_air * sideways * lengthwise)


@kernel
def look(bvh, ox, oy, oz, dx, dy, dz, length, stack):
    """Face that stands between a point and the one `length` further on, or -1."""
    if length <= 2.0 * _CLOSE_M:
        return -1
    x, y, z = ox + _CLOSE_M * dx, oy + _CLOSE_M * dy, oz + _CLOSE_M * dz
    _, face = closest_hit(bvh, x, y, z, dx, dy, dz, length - 2.0 * _CLOSE_M, -1, stack)
    return face


@kernel
def look_up(bvh, source, tank, spot, normal, u, light, face, stack):
    """For each lamp point: the light it would send straight to a spot, and the first face in its way.

    Parameters
    ----------
    bvh : Bvh
    source : SourceArrays
    tank : ndarray, shape (5,)
        Length, width, rim height and water level [m], index of water.
    spot, normal : ndarray, shape (3,)
        [m] and unit normal of what is lit there.
    u : ndarray, shape (n, 2)
        Which points of the lamp, each coordinate 0-1.
    light : ndarray, shape (n,)
        Filled: irradiance on the surface, per photon emitted; 0 from points whose straight light misses the opening
        or comes from behind the surface. [m-2]
    face : ndarray of int64, shape (n,)
        Filled: index of the face, -1 where nothing stands there.
    stack : ndarray
    """
    lx, ly, rim, level, n = tank[0], tank[1], tank[2], tank[3], tank[4]
    axes, c = source.axes, source.centre_m
    for k in range(u.shape[0]):
        light[k], face[k] = 0.0, -1
        u1, u2 = u[k, 0], u[k, 1]
        px, py, pz = source_point(source, u1, u2)
        sx = c[0] + px * axes[0, 0] + py * axes[1, 0] + pz * axes[2, 0]
        sy = c[1] + px * axes[0, 1] + py * axes[1, 1] + pz * axes[2, 1]
        sz = c[2] + px * axes[0, 2] + py * axes[1, 2] + pz * axes[2, 2]
        fx, fy = sx - spot[0], sy - spot[1]
        rho = math.sqrt(fx * fx + fy * fy)
        ex, ey = (fx / rho, fy / rho) if rho > 0.0 else (0.0, 0.0)
        d = max(level - spot[2], 0.0)
        h = sz - max(level, spot[2])
        if h <= 0.0:
            continue
        sin_air, level_irradiance = refracted(h, d, n, rho)
        cos_air = math.sqrt(1.0 - sin_air * sin_air)
        ux, uy, uz = sin_air * ex, sin_air * ey, cos_air
        wx, wy = ux / n, uy / n
        wz = math.sqrt(1.0 - wx * wx - wy * wy)
        if d <= 0.0:
            wx, wy, wz = ux, uy, uz
        facing = wx * normal[0] + wy * normal[1] + wz * normal[2]
        bright = intensity(source, u1, u2, -ux, -uy, -uz)
        x, y = spot[0] + d * wx / wz, spot[1] + d * wy / wz
        up = max(rim - max(level, spot[2]), 0.0) / uz
        if not (facing > 0.0 and bright > 0.0 and inside(x, y, lx, ly)):
            continue
        if sz > rim and not inside(x + up * ux, y + up * uy, lx, ly):
            continue
        light[k] = bright * level_irradiance * facing / wz
        face[k] = look(bvh, spot[0], spot[1], spot[2], wx, wy, wz, d / wz, stack)
        if face[k] < 0:
            face[k] = look(bvh, x, y, max(level, spot[2]), ux, uy, uz, h / uz, stack)


@kernel
def inside(x, y, lx, ly):
    """Whether a point lies over the ground of the tank."""
    return 0.0 <= x <= lx and 0.0 <= y <= ly
