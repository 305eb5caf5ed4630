"""Directions at the water surface, at panes and in a lid."""

from __future__ import annotations

import math

from underlit.kernels.draws import uniform
from underlit.kernels.fresnel import fresnel_of
from underlit.kernels.jit import kernel
from underlit.kernels.sampling import TWO_PI


@kernel
def flip(axis, dx, dy, dz):
    """Mirror a direction at a plane square to an axis (0 x, 1 y, 2 z)."""
    if axis == 0:
        return -dx, dy, dz
    if axis == 1:
        return dx, -dy, dz
    return dx, dy, -dz


@kernel
def refract(axis, eta, mu_t, dx, dy, dz):
    """Refract a direction at a plane square to an axis; `eta` is index before over index behind."""
    if axis == 0:
        return math.copysign(mu_t, dx), eta * dy, eta * dz
    if axis == 1:
        return eta * dx, math.copysign(mu_t, dy), eta * dz
    return eta * dx, eta * dy, math.copysign(mu_t, dz)


@kernel
def along(axis, length):
    """The vector of a length along an axis."""
    if axis == 0:
        return length, 0.0, 0.0
    if axis == 1:
        return 0.0, length, 0.0
    return 0.0, 0.0, length


@kernel
def component(axis, dx, dy, dz):
    """The component of a direction along an axis."""
    if axis == 0:
        return dx
    if axis == 1:
        return dy
    return dz


@kernel
def facet_normal(slope_rms, dx, dy, dz, rng, seed):
    """Upward unit normal of the water facet that a ray meets, for Gaussian slopes.

    Slopes are isotropic with the given rms total slope (the form of C. Cox and W. Munk 1954, J. Opt. Soc. Am. 44:838).
    A ray meets a facet in proportion to the facet's area as the ray sees it, 1 - (dx sx + dy sy) / dz: of a facet and
    its opposite, which are equally frequent, one is taken by that proportion.
    """
    radius = slope_rms * math.sqrt(-math.log(uniform(rng, seed)))
    phi = TWO_PI * uniform(rng, seed)
    sx, sy = radius * math.cos(phi), radius * math.sin(phi)
    lean = -(dx * sx + dy * sy) / dz
    if 2.0 * uniform(rng, seed) > 1.0 + lean:
        sx, sy = -sx, -sy
    s = 1.0 / math.sqrt(1.0 + sx * sx + sy * sy)
    return -sx * s, -sy * s, s


@kernel
def cross_surface(n_water, slope_rms, dx, dy, dz, s_part, u, rng, seed):
    """Send a ray through or back from the water surface; `s_part` of it swings across its vertical plane.

    Returns
    -------
    crossed : bool
    dx, dy, dz : float
        A second meeting with the same wave is not followed: a direction that would need one is mirrored to the side
        it belongs to.
    """
    if slope_rms > 0.0:
        nx, ny, nz = facet_normal(slope_rms, dx, dy, dz, rng, seed)
    else:
        nx, ny, nz = 0.0, 0.0, 1.0
    along = dx * nx + dy * ny + dz * nz
    if along > 0.0:
        nx, ny, nz = -nx, -ny, -nz
    mu = min(abs(along), 1.0)
    eta = 1.0 / n_water if dz < 0.0 else n_water
    reflectance, mu_t = fresnel_of(mu, eta, s_part)
    if u < reflectance:
        rx, ry, rz = dx + 2.0 * mu * nx, dy + 2.0 * mu * ny, dz + 2.0 * mu * nz
        return False, rx, ry, -math.copysign(rz, dz)
    k = eta * mu - mu_t
    tx, ty, tz = eta * dx + k * nx, eta * dy + k * ny, eta * dz + k * nz
    return True, tx, ty, math.copysign(tz, dz)


@kernel
def sheet_walk(mu, n_sheet, s_part, rng, seed):
    """Bounces of a ray inside a sheet in air.

    At parallel faces s light stays s, and p light p: a ray that is both is one of them from here on.

    Returns
    -------
    passes : int
        How often the ray goes from face to face: 0 reflected at once, odd let through, even sent back.
    mu_in : float
        Cosine of the ray inside.
    s_part : float
        1 or 0.
    """
    s_part = 1.0 if uniform(rng, seed) < s_part else 0.0
    reflectance, mu_in = fresnel_of(mu, 1.0 / n_sheet, s_part)
    passes = 0
    if uniform(rng, seed) < reflectance:
        return passes, mu_in, s_part
    passes = 1
    while uniform(rng, seed) < reflectance:
        passes += 1
    return passes, mu_in, s_part
