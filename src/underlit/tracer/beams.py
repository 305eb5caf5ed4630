"""Beams as the kernels take them: a power of the cosine, or a table of directions."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from underlit.kernels.arrays import BeamTable
from underlit.photometry import Distribution

# Intensities are given linear in the polar angle, the table is linear in its versine: within steps this fine the two
# are the same but for some 1e-5 of the light.
_STEP_RAD = math.radians(0.25)


def cosine_exponent(fwhm_rad: float) -> float:
    """Exponent m of an intensity I0 cos^m whose full width at half maximum is given.

    Parameters
    ----------
    fwhm_rad : float
        Full width, between 0 and pi. [rad]
    """
    exponent = math.log(0.5) / math.log(math.cos(0.5 * fwhm_rad))
    # Kernels take a root for the exponent 1 of a Lambertian lamp, a power for all others.
    return 1.0 if abs(exponent - 1.0) < 1e-9 else exponent


def gaussian_intensity(fwhm_rad: float, theta_rad: np.ndarray) -> np.ndarray:
    """Relative intensity of a bell-shaped beam, 1 on the axis."""
    return np.exp(-4.0 * math.log(2.0) * (theta_rad / fwhm_rad) ** 2)


def beam_table(
    theta_rad: np.ndarray, intensity: np.ndarray, azimuth_rad: np.ndarray | None = None
) -> BeamTable:
    """Table of a beam given by its intensities.

    Parameters
    ----------
    theta_rad : ndarray, shape (n_theta,)
        Angles from the beam's axis, rising within 0 to pi; intensity is linear between them, and none is sent out
        beyond. [rad]
    intensity : ndarray, shape (n_phi, n_theta) or (n_theta,)
        Relative intensity in each of `n_phi` planes, linear in azimuth between them.
    azimuth_rad : ndarray, shape (n_phi,), optional
        Of the planes, rising within a full turn; default evenly spaced from 0. [rad]

    Returns
    -------
    BeamTable
    """
    planes = np.atleast_2d(np.asarray(intensity, float))
    if azimuth_rad is None:
        azimuth_rad = np.arange(len(planes)) * (2.0 * np.pi / len(planes))
    distinct, row = np.unique(planes, axis=0, return_inverse=True)
    theta = _fine(theta_rad)
    value = np.array([np.interp(theta, theta_rad, one) for one in distinct / planes.max()])
    versine = 2.0 * np.sin(0.5 * theta) ** 2
    within = _summed(value, versine)
    closed = np.append(azimuth_rad, azimuth_rad[0] + 2.0 * np.pi)
    row = np.append(row.ravel(), row.ravel()[0])
    light = within[row, -1]
    before = _summed(light[None, :], closed)[0]
    total = before[-1]
    before /= total
    shares = within / np.maximum(within[:, -1:], 1e-300)
    return BeamTable(
        azimuth_rad=closed,
        row=row.astype(np.int64),
        light=light / total,
        before=before,
        versine=versine,
        intensity=value / total,
        within=shares,
        azimuth_guide=_guide((closed - closed[0]) / (2.0 * np.pi)),
        before_guide=_guide(before),
        versine_guide=_guide(np.sin(0.5 * theta)),
        within_guide=np.array([_guide(one) for one in shares]),
    )


def distribution_table(distribution: Distribution) -> BeamTable:
    """Table of a measured beam: azimuth 0 along the fixture's x, 90 along its y.

    Parameters
    ----------
    distribution : Distribution
    """
    return beam_table(
        np.radians(distribution.vertical_deg), distribution.intensity, np.radians(distribution.azimuth_deg)
    )


def gaussian_table(fwhm_rad: float) -> BeamTable:
    """Table of a bell-shaped beam; nothing behind the lamp.

    Parameters
    ----------
    fwhm_rad : float
        [rad]
    """
    theta = np.linspace(0.0, 0.5 * np.pi, 2001)
    return beam_table(theta, gaussian_intensity(fwhm_rad, theta))


def _fine(theta_rad: np.ndarray) -> np.ndarray:
    """Angles with the given ones among them, no further apart than the table's step."""
    parts = [
        np.linspace(a, b, math.ceil((b - a) / _STEP_RAD), endpoint=False) for a, b in pairwise(theta_rad)
    ]
    return np.append(np.concatenate(parts), theta_rad[-1])


def _summed(value: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Integral of straight lines between values from the first place up to each, shape as `value`."""
    steps = 0.5 * (value[:, 1:] + value[:, :-1]) * np.diff(place)
    return np.concatenate([np.zeros((len(value), 1)), np.cumsum(steps, axis=1)], axis=1)


def _guide(arguments: np.ndarray) -> np.ndarray:
    """For even steps from 0 to 1, the step of rising arguments that each begins in."""
    begin = np.arange(2 * len(arguments)) / (2 * len(arguments))
    step = np.searchsorted(arguments, begin, "right") - 1
    return np.clip(step, 0, len(arguments) - 2).astype(np.int32)
