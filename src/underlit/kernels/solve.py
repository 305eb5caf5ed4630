"""Paths from a lamp point to a point under water, solved instead of hoped for.

With q the horizontal part of the unit direction in air (refraction at the level surface keeps it, times the index),
a path through air of height h, water of depth d, and `i`, `j` trips through the thickness t of panes square to x and
y comes down at

    F_x = q_x (h / c_a + d / (n c_w) - S_x),   c_a^2 = 1 - q^2,  c_w^2 = 1 - q^2 / n^2,
    F_y = q_y (h / c_a + d / (n c_w) - S_y),   S_x = 2 t i / sqrt(n_g^2 - n^2 + q_x^2),

counted from the lamp point, with the tank unfolded at the inner faces of the panes. A flux of intensity I lands there
with irradiance I T / (c_a |det dF/dq|), T being what all faces let through or return.
"""

from __future__ import annotations

import math

from underlit.kernels.fresnel import fresnel
from underlit.kernels.jit import kernel

_STEPS, _FEW_STEPS = 30, 4
_CLOSE_M = 1e-9  # how near to its target a path by `slope_in_air` comes down
_ONE_STEP_M = 1e-6  # so near, one more step of Newton's leads to rounding
_NO_LENGTH_M = 1e-30
LANES = 8


@kernel
def steeper(h, d, n2, rho, tau):
    """What to add to the tangent `tau` of the angle in air for a ray to come down `rho` aside, and how far it misses.

    One step of Newton's; `n2` is the square of the index of water.
    """
    secant2 = 1.0 + tau * tau
    secant = math.sqrt(secant2)
    sine = tau / secant
    over_root = 1.0 / math.sqrt(n2 - sine * sine)
    error = rho - h * tau - d * sine * over_root
    secant3 = secant2 * secant
    return error * secant3 / (h * secant3 + d * n2 * over_root * over_root * over_root), error


@kernel
def slope_in_air(h, d, n, rho):
    """Tangent of the angle in air at which a ray refracts to a point `rho` aside. Newton from below, monotone.

    Parameters
    ----------
    h, d : float
        Height of the lamp point above the water, depth of the target below it. [m]
    n : float
        Index of water.
    rho : float
        Horizontal distance. [m]
    """
    tau = rho / (h + d / n)
    for _ in range(_STEPS):
        step, error = steeper(h, d, n * n, rho, tau)
        if error < _CLOSE_M:
            break
        tau += step
    return tau


@kernel
def straight(h, d, n, fx, fy):
    """Horizontal part of the direction in air towards (fx, fy), with no glass on the way."""
    rho = math.sqrt(fx * fx + fy * fy)
    if rho == 0.0:
        return 0.0, 0.0
    tau = slope_in_air(h, d, n, rho)
    q = tau / math.sqrt(1.0 + tau * tau)
    return q * fx / rho, q * fy / rho


@kernel
def newton(h, d, n2, k2, glass_x, glass_y, fx, fy, qx, qy):
    """One step towards the root, without a branch.

    Parameters
    ----------
    h, d, glass_x, glass_y, fx, fy : float
        As for `solve`.
    n2, k2 : float
        n^2 and n_glass^2 - n^2.
    qx, qy : float
        Where it starts.

    Returns
    -------
    stepx, stepy : float
    miss : float
        How far from its target the path of (qx, qy) comes down. [m]
    determinant : float
        There. [m2]
    spare : float
        Depth that is left for water after the glass has had its own; the root is elsewhere if not positive. [m]
    """
    q2 = qx * qx + qy * qy
    over_ca, over_cw = 1.0 / math.sqrt(1.0 - q2), 1.0 / math.sqrt(n2 - q2)
    over_x, over_y = 1.0 / math.sqrt(k2 + qx * qx), 1.0 / math.sqrt(k2 + qy * qy)
    sx, sy = glass_x * over_x, glass_y * over_y
    a, w = h * over_ca, d * over_cw
    bx, by = a + w - sx, a + w - sy
    beta = a * over_ca * over_ca + w * over_cw * over_cw
    jxx = bx + qx * qx * (beta + sx * over_x * over_x)
    jyy = by + qy * qy * (beta + sy * over_y * over_y)
    jxy = qx * qy * beta
    determinant = jxx * jyy - jxy * jxy
    over = 1.0 / determinant
    ex, ey = fx - qx * bx, fy - qy * by
    stepx, stepy = (jyy * ex - jxy * ey) * over, (jxx * ey - jxy * ex) * over
    return stepx, stepy, abs(ex) + abs(ey), determinant, min(bx, by)


@kernel
def solve(h, d, n, n_glass, glass_x, glass_y, fx, fy, qx, qy):
    """Direction in air of the path that comes down at (fx, fy) from the lamp point.

    Parameters
    ----------
    h, d : float
        Height above and depth below the water surface. [m]
    n, n_glass : float
        Indices.
    glass_x, glass_y : float
        Thickness of all panes square to x, and to y, that it passes: 2 t i and 2 t j. [m]
    fx, fy : float
        Target from the lamp point, in the unfolded tank. [m]
    qx, qy : float
        First guess.

    Returns
    -------
    found : bool
    qx, qy : float
        Horizontal part of the unit direction in air.
    determinant : float
        Of dF/dq. [m2]
    """
    n2 = n * n
    k2 = n_glass * n_glass - n2
    rho = math.sqrt(fx * fx + fy * fy)
    for _ in range(_STEPS):
        q2 = qx * qx + qy * qy
        ca2 = 1.0 - q2
        if ca2 <= 1e-12:
            return False, qx, qy, 1.0
        stepx, stepy, miss, determinant, spare = newton(h, d, n2, k2, glass_x, glass_y, fx, fy, qx, qy)
        if spare <= 0.0 and rho > 0.0:
            # So steep that the glass alone would take more depth than there is: the path sought is flatter.
            q = 0.5 * (1.0 + math.sqrt(q2))
            qx, qy = q * fx / rho, q * fy / rho
            continue
        if miss < _ONE_STEP_M:
            return determinant > 0.0, qx + stepx, qy + stepy, determinant
        # Never past the horizon: half way to it at most.
        shorten = 1.0
        to_x, to_y = qx + stepx, qy + stepy
        while to_x * to_x + to_y * to_y >= 1.0 - 0.5 * ca2:
            shorten *= 0.5
            if shorten < 1e-9:
                return False, qx, qy, 1.0
            to_x, to_y = qx + shorten * stepx, qy + shorten * stepy
        qx, qy = to_x, to_y
    return False, qx, qy, 1.0


@kernel
def whole_lanes(count):
    """`count` rounded up so that vector instructions leave no rest, which would take longer than all else."""
    return (count + LANES - 1) // LANES * LANES


@kernel
def irradiance(n, qx, qy, determinant):
    """What a unit of intensity brings by a solved path: through the surface, spread over the soil. [m-2]"""
    ca = math.sqrt(1.0 - qx * qx - qy * qy)
    reflectance, _ = fresnel(ca, 1.0 / n)
    return (1.0 - reflectance) / (ca * determinant)


@kernel
def solve_all(h, d, n, n_glass, glass_x, glass_y, fx, fy, qx, qy, spread, count):
    """`solve` for many targets at once, in a loop that vector instructions run.

    Parameters
    ----------
    h, d, n, n_glass : float
        As for `solve`.
    glass_x, glass_y, fx, fy : ndarray
    qx, qy, spread : ndarray
        Set; `spread` to the `irradiance` at the end of the path, 0 where a few steps do not reach it: `solve` may.
    count : int
        How many targets there are; best `whole_lanes`.
    """
    n2 = n * n
    k2 = n_glass * n_glass - n2
    for r in range(count):
        rho = math.sqrt(fx[r] * fx[r] + fy[r] * fy[r])
        tau = rho / (h + d / n)
        step, _ = steeper(h, d, n2, rho, tau)
        tau += step
        over = tau / (math.sqrt(1.0 + tau * tau) * max(rho, _NO_LENGTH_M))
        x, y = fx[r] * over, fy[r] * over
        miss, determinant, spare = 0.0, 1.0, 1.0
        for _ in range(_FEW_STEPS):
            stepx, stepy, miss, determinant, room = newton(
                h, d, n2, k2, glass_x[r], glass_y[r], fx[r], fy[r], x, y
            )
            spare = min(spare, room)
            x, y = x + stepx, y + stepy
        good = miss < _ONE_STEP_M and spare > 0.0 and determinant > 0.0
        qx[r], qy[r] = x, y
        spread[r] = irradiance(n, x, y, determinant) if good else 0.0


@kernel
def unfolded(x, length, i):
    """Coordinate of the image of `x` after `i` returns, the first one at the far wall if i > 0."""
    return (i + 1) * length - x if i & 1 else i * length + x
