"""Reflection and refraction at a smooth interface, unpolarised light."""

from __future__ import annotations

import math

from underlit.kernels.jit import kernel


@kernel
def fresnel(mu, eta):
    """Reflectance of unpolarised light, and the cosine beyond the interface.

    Parameters
    ----------
    mu : float
        Cosine of the angle of incidence, 0 to 1.
    eta : float
        Index on the side of incidence over index on the far side.

    Returns
    -------
    reflectance, mu_t : float
        Mean of the s and p reflectances (Born and Wolf, Principles of Optics, section 1.5); cosine of the refracted
        ray, 0 on total reflection.
    """
    sin2_t = eta * eta * (1.0 - mu * mu)
    if sin2_t >= 1.0:
        return 1.0, 0.0
    mu_t = math.sqrt(1.0 - sin2_t)
    r_s = (eta * mu - mu_t) / (eta * mu + mu_t)
    r_p = (mu - eta * mu_t) / (mu + eta * mu_t)
    return 0.5 * (r_s * r_s + r_p * r_p), mu_t
