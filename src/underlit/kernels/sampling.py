"""Directions drawn from the distributions that lamps, surfaces, leaves and water need."""

from __future__ import annotations

import math

from underlit.kernels.jit import kernel

TWO_PI = 2.0 * math.pi

_S3, _S5, _S7, _S9, _S11 = ((-1.0) ** k / math.factorial(2 * k + 1) for k in range(1, 6))
_C2, _C4, _C6, _C8, _C10, _C12 = ((-1.0) ** k / math.factorial(2 * k) for k in range(1, 7))


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
def cos_sin(phi):
    """Cosine and sine of an azimuth of a few turns at most, error below 1e-11; half the cost of the two calls.

    Taylor series of a quarter turn about its middle, and the symmetries of the circle.
    """
    quarter = math.floor(phi * (2.0 / math.pi) + 0.5)
    x = phi - quarter * (0.5 * math.pi)
    q = x * x
    s = x * (1.0 + q * (_S3 + q * (_S5 + q * (_S7 + q * (_S9 + q * _S11)))))
    c = 1.0 + q * (_C2 + q * (_C4 + q * (_C6 + q * (_C8 + q * (_C10 + q * _C12)))))
    k = int(quarter)
    if k & 1:
        c, s = -s, c
    return (-c, -s) if k & 2 else (c, s)


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
        return a * math.cos(math.pi / 4 * (b / a)), a * math.sin(math.pi / 4 * (b / a))
    return b * math.sin(math.pi / 4 * (a / b)), b * math.cos(math.pi / 4 * (a / b))
