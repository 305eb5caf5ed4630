"""Plane sheets one behind the other, each face and each path counted: the adding method, incoherent."""

from __future__ import annotations

import numpy as np


def fresnel(n1, n2, sin1, polarisation=None):
    """Reflectance from n1 to n2 for n1 sin(angle) as given, in amplitudes; the mean of s and p by default."""
    c1, c2 = (np.sqrt(np.asarray(1.0 - (sin1 / n) ** 2, complex)) for n in (n1, n2))
    s = np.abs((n1 * c1 - n2 * c2) / (n1 * c1 + n2 * c2)) ** 2
    p = np.abs((n2 * c1 - n1 * c2) / (n2 * c1 + n1 * c2)) ** 2
    return {"s": s, "p": p, None: 0.5 * (s + p)}[polarisation]


def stack(indices, path_depths, sin1, polarisation=None):
    """Reflectance and transmittance of layers.

    Parameters
    ----------
    indices : sequence of float
        From the side of incidence to the far side.
    path_depths : sequence of float or ndarray
        Optical depth of each inner layer along its normal, absorption times thickness.
    sin1 : float
        n sin(angle), the same in all layers.
    polarisation : {"s", "p", None}
        None: unpolarised light at every face anew, as the engine has it.
    """
    r_front, r_back, t = 0.0, 0.0, 1.0
    for i in range(len(indices) - 1):
        r = fresnel(indices[i], indices[i + 1], sin1, polarisation)
        front, back, through = r, r, 1.0 - r
        if i < len(path_depths):
            cosine = np.sqrt(1.0 - (sin1 / indices[i + 1]) ** 2)
            pass_once = np.exp(-np.asarray(path_depths[i]) / cosine)
            through, back = through * pass_once, back * pass_once**2
        again = 1.0 / (1.0 - r_back * front)
        r_front, r_back, t = (
            r_front + t**2 * front * again,
            back + through**2 * r_back * again,
            t * through * again,
        )
    return r_front, t
