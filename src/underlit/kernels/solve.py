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

from underlit.kernels.jit import kernel

_STEPS = 30
_CLOSE_M = 1e-9  # how near to its target a path by `slope_in_air` comes down
_ONE_STEP_M = 1e-6  # so near, one more step of Newton's leads to rounding


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
        secant2 = 1.0 + tau * tau
        secant3 = secant2 * math.sqrt(secant2)
        sin2 = tau * tau / secant2
        root = math.sqrt(n * n - sin2)
        error = rho - h * tau - d * math.sqrt(sin2) / root
        if error < _CLOSE_M:
            break
        tau += error * secant3 / (h * secant3 + d * n * n / (root * root * root))
    return tau


@kernel
def straight(h, d, n, fx, fy):
    """Horizontal part of the direction in air towards (fx, fy), with no glass on the way."""
    rho = math.hypot(fx, fy)
    if rho == 0.0:
        return 0.0, 0.0
    tau = slope_in_air(h, d, n, rho)
    q = tau / math.sqrt(1.0 + tau * tau)
    return q * fx / rho, q * fy / rho


@kernel
def glass_term(i, t, k2, q):
    """S of the module's equations and its derivative: what `i` trips through panes of thickness `t` take off."""
    if i == 0:
        return 0.0, 0.0
    over = 1.0 / math.sqrt(k2 + q * q)
    s = 2.0 * t * i * over
    return s, -s * q * over * over


@kernel
def solve(h, d, n, n_glass, t, i, j, fx, fy, qx, qy):
    """Direction in air of the path that comes down at (fx, fy) from the lamp point.

    Parameters
    ----------
    h, d : float
        Height above and depth below the water surface. [m]
    n, n_glass : float
        Indices.
    t : float
        Thickness of the panes. [m]
    i, j : int
        Trips through panes square to x and to y.
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
    k2 = n_glass * n_glass - n * n
    rho = math.hypot(fx, fy)
    for _ in range(_STEPS):
        q2 = qx * qx + qy * qy
        ca2, cw2 = 1.0 - q2, 1.0 - q2 / (n * n)
        if ca2 <= 1e-12:
            return False, qx, qy, 1.0
        over_ca, over_cw = 1.0 / math.sqrt(ca2), 1.0 / (n * math.sqrt(cw2))
        sx, dsx = glass_term(i, t, k2, qx)
        sy, dsy = glass_term(j, t, k2, qy)
        b = h * over_ca + d * over_cw
        beta = h * over_ca * over_ca * over_ca + d * over_cw * over_cw * over_cw
        jxx = b + qx * qx * beta - sx - qx * dsx
        jyy = b + qy * qy * beta - sy - qy * dsy
        jxy = qx * qy * beta
        determinant = jxx * jyy - jxy * jxy
        if (b <= sx or b <= sy) and rho > 0.0:
            # So steep that the glass alone would take more depth than there is: the path sought is flatter.
            q = 0.5 * (1.0 + math.sqrt(q2))
            qx, qy = q * fx / rho, q * fy / rho
            continue
        ex, ey = fx - qx * (b - sx), fy - qy * (b - sy)
        over = 1.0 / determinant
        stepx, stepy = (jyy * ex - jxy * ey) * over, (jxx * ey - jxy * ex) * over
        if abs(ex) + abs(ey) < _ONE_STEP_M:
            return determinant > 0.0, qx + stepx, qy + stepy, determinant
        # Never past the horizon: half way to it at most.
        shorten = 1.0
        while (qx + shorten * stepx) ** 2 + (qy + shorten * stepy) ** 2 >= 1.0 - 0.5 * ca2:
            shorten *= 0.5
            if shorten < 1e-9:
                return False, qx, qy, 1.0
        qx, qy = qx + shorten * stepx, qy + shorten * stepy
    return False, qx, qy, 1.0


@kernel
def unfolded(x, length, i):
    """Coordinate of the image of `x` after `i` returns, the first one at the far wall if i > 0."""
    return (i + 1) * length - x if i & 1 else i * length + x
