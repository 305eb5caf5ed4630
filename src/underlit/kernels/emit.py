"""Where a photon starts and which way it goes."""

from __future__ import annotations

import math

import numpy as np

from underlit.kernels.arrays import COSINE_POWER, EVEN_DISC, LED_LIST, TUBE
from underlit.kernels.jit import kernel
from underlit.kernels.sampling import TWO_PI, about, cosine_power, disc


@kernel
def face_point(source, u1, u2):
    """Local (x, y) of the start on the source's face. [m]"""
    sx, sy = source.size_m[0], source.size_m[1]
    if source.layout == EVEN_DISC:
        a, b = disc(u1, u2)
        return 0.5 * sx * a, 0.5 * sy * b
    if source.layout == LED_LIST:
        n = source.leds_m.shape[0]
        k = min(int(u1 * n), n - 1)
        return (
            source.leds_m[k, 0] + sx * (u1 * n - k - 0.5),
            source.leds_m[k, 1] + sy * (u2 - 0.5),
        )
    return sx * (u1 - 0.5), sy * (u2 - 0.5)


@kernel
def beam_direction(source, u3, u4):
    """Polar cosine and azimuth in the beam's own frame."""
    if source.beam == COSINE_POWER:
        return cosine_power(u3, source.power_m), TWO_PI * u4
    edges = source.azimuth_edges
    n_phi = source.cosine.shape[0]
    sector = min(max(np.searchsorted(edges, u4, "right") - 1, 0), n_phi - 1)
    width = edges[sector + 1] - edges[sector]
    within = (u4 - edges[sector]) / width if width > 0.0 else 0.5
    n_u = source.cosine.shape[1]
    x = u3 * (n_u - 1)
    k = min(int(x), n_u - 2)
    mu = source.cosine[sector, k] + (x - k) * (source.cosine[sector, k + 1] - source.cosine[sector, k])
    return mu, TWO_PI * (sector + within) / n_phi


@kernel
def emit(source, u1, u2, u3, u4):
    """Start and unit direction of a photon from four uniform numbers."""
    axes = source.axes
    if source.layout == TUBE:
        lx = source.size_m[0] * (u1 - 0.5)
        radius, turn = 0.5 * source.size_m[1], TWO_PI * u2
        ny, nz = math.sin(turn), math.cos(turn)
        ly, lz = radius * ny, radius * nz
        mu, phi = cosine_power(u3, 1.0), TWO_PI * u4
        ex, ey, ez = about(0.0, ny, nz, mu, phi)
    else:
        lx, ly = face_point(source, u1, u2)
        lz = 0.0
        mu, phi = beam_direction(source, u3, u4)
        s = math.sqrt(max(0.0, 1.0 - mu * mu))
        ex, ey, ez = s * math.cos(phi), s * math.sin(phi), mu
    c = source.centre_m
    return (
        c[0] + lx * axes[0, 0] + ly * axes[1, 0] + lz * axes[2, 0],
        c[1] + lx * axes[0, 1] + ly * axes[1, 1] + lz * axes[2, 1],
        c[2] + lx * axes[0, 2] + ly * axes[1, 2] + lz * axes[2, 2],
        ex * axes[0, 0] + ey * axes[1, 0] + ez * axes[2, 0],
        ex * axes[0, 1] + ey * axes[1, 1] + ez * axes[2, 1],
        ex * axes[0, 2] + ey * axes[1, 2] + ez * axes[2, 2],
    )
