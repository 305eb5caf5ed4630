"""Beams as the kernels take them: a power of the cosine, or a table of directions."""

from __future__ import annotations

import math

import numpy as np

N_QUANTILES = 4097


def cosine_exponent(fwhm_rad: float) -> float:
    """Exponent m of an intensity I0 cos^m whose full width at half maximum is given.

    Parameters
    ----------
    fwhm_rad : float
        Full width, between 0 and pi. [rad]
    """
    return math.log(0.5) / math.log(math.cos(0.5 * fwhm_rad))


def gaussian_intensity(fwhm_rad: float, theta_rad: np.ndarray) -> np.ndarray:
    """Relative intensity of a bell-shaped beam, 1 on the axis; nothing behind the lamp."""
    return np.where(theta_rad < 0.5 * np.pi, np.exp(-4.0 * math.log(2.0) * (theta_rad / fwhm_rad) ** 2), 0.0)


def beam_table(theta_rad: np.ndarray, intensity: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Sampling table of a beam given by its intensities.

    Parameters
    ----------
    theta_rad : ndarray, shape (n_theta,)
        Angles from the beam's axis, rising from 0; intensity is linear between them. [rad]
    intensity : ndarray, shape (n_phi, n_theta)
        Relative intensity in the middle of each of `n_phi` equal azimuth sectors.

    Returns
    -------
    azimuth_edges : ndarray, shape (n_phi + 1,)
        Share of the light in all sectors before each edge.
    cosine : ndarray, shape (n_phi, N_QUANTILES)
        Polar cosine below which lies each even share of a sector's light.
    """
    fine = np.linspace(theta_rad[0], theta_rad[-1], 16 * N_QUANTILES)
    mu = np.cos(fine)
    shares, cosine = [], []
    for row in np.atleast_2d(intensity):
        value = np.interp(fine, theta_rad, row)
        # Light between two angles: the mean intensity times the solid angle, the step of the cosine.
        light = np.concatenate([[0.0], np.cumsum(0.5 * (value[1:] + value[:-1]) * -np.diff(mu))])
        shares.append(light[-1])
        quantiles = np.linspace(0.0, light[-1], N_QUANTILES)
        rising = np.concatenate([[True], np.diff(light) > 0.0])
        cosine.append(
            np.interp(quantiles, light[rising], mu[rising]) if light[-1] > 0.0 else np.ones(N_QUANTILES)
        )
    edges = np.concatenate([[0.0], np.cumsum(shares)])
    return edges / edges[-1], np.array(cosine)
