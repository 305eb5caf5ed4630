"""Reflection and refraction at a smooth interface."""

from __future__ import annotations

import math

from underlit.kernels.jit import kernel

UNPOLARISED = 0.5  # half of the light swings across the plane of incidence


@kernel
def fresnel(mu, eta):
    """Reflectance of unpolarised light, and the cosine beyond the interface; see `fresnel_of`."""
    return fresnel_of(mu, eta, UNPOLARISED)


@kernel
def fresnel_of(mu, eta, s_part):
    """Reflectance of light that swings partly across the plane of incidence, and the cosine beyond the interface.

    Parameters
    ----------
    mu : float
        Cosine of the angle of incidence, 0 to 1.
    eta : float
        Index on the side of incidence over index on the far side.
    s_part : float
        Part of the light that is polarised across the plane of incidence (s); the rest lies in it (p).

    Returns
    -------
    reflectance, mu_t : float
        By M. Born and E. Wolf, Principles of Optics, section 1.5; cosine of the refracted ray, 0 on total reflection.
    """
    sin2_t = eta * eta * (1.0 - mu * mu)
    if sin2_t >= 1.0:
        return 1.0, 0.0
    mu_t = math.sqrt(1.0 - sin2_t)
    return reflectance(mu, mu_t, eta, s_part), mu_t


@kernel
def reflectance(mu, mu_t, eta, s_part):
    """Reflectance where both cosines are known; see `fresnel_of`."""
    r_s = (eta * mu - mu_t) / (eta * mu + mu_t)
    r_p = (mu - eta * mu_t) / (mu + eta * mu_t)
    return s_part * r_s * r_s + (1.0 - s_part) * r_p * r_p
