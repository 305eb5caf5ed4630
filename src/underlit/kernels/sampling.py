"""Directions drawn from the distributions that lamps, surfaces, leaves and water need."""

from __future__ import annotations

import math

from underlit.kernels.jit import kernel
from underlit.kernels.real import cos_sin

TWO_PI = 2.0 * math.pi


@kernel
def basis(nx, ny, nz):
    """Two unit vectors that make a right-handed frame with unit vector n.

    T. Duff et al. 2017, Building an orthonormal basis, revisited, J. Comput. Graph. Tech. 6(1).
    """
    sign = math.copysign(1.0, nz)
    a = -1.0 / (sign + nz)
    b = nx * ny * a
    return 1.0 + sign * nx * nx * a, sign * b, -sign * nx, b, sign + ny * ny * a, -ny


@kernel
def about(nx, ny, nz, mu, phi):
    """Unit vector at polar angle acos(mu) and azimuth phi about unit vector n."""
    ax, ay, az, bx, by, bz = basis(nx, ny, nz)
    s = math.sqrt(max(0.0, 1.0 - mu * mu))
    c, si = cos_sin(phi)
    c1, c2 = s * c, s * si
    return c1 * ax + c2 * bx + mu * nx, c1 * ay + c2 * by + mu * ny, c1 * az + c2 * bz + mu * nz


@kernel
def lambertian(nx, ny, nz, u1, u2):
    """Direction leaving a diffuse surface with normal n: density cos/pi."""
    return about(nx, ny, nz, math.sqrt(1.0 - u1), TWO_PI * u2)


@kernel
def cosine_power(u, m):
    """Polar cosine of a beam of intensity I0 cos^m: density (m+1)/(2 pi) cos^m."""
    if m == 1.0:
        return math.sqrt(1.0 - u)
    return (1.0 - u) ** (1.0 / (m + 1.0))


@kernel
def henyey_greenstein(u, g):
    """Cosine of the scattering angle (L. G. Henyey and J. L. Greenstein 1941, Astrophys. J. 93:70)."""
    if abs(g) < 1e-4:
        return 1.0 - 2.0 * u
    s = (1.0 - g * g) / (1.0 - g + 2.0 * g * u)
    return max(-1.0, min(1.0, (1.0 + g * g - s * s) / (2.0 * g)))


@kernel
def disc(u1, u2):
    """Point of the unit disc, area preserving (P. Shirley and K. Chiu 1997, J. Graphics Tools 2(3):45)."""
    a, b = 2.0 * u1 - 1.0, 2.0 * u2 - 1.0
    if a == 0.0 and b == 0.0:
        return 0.0, 0.0
    if abs(a) > abs(b):
        return a * math.cos(0.25 * math.pi * (b / a)), a * math.sin(0.25 * math.pi * (b / a))
    return b * math.sin(0.25 * math.pi * (a / b)), b * math.cos(0.25 * math.pi * (a / b))
