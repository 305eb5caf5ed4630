"""A slow, plain ray-tracer of a tank of clear glass, written another way: planes and media, and polarisation if asked.

Space is cut by planes square to the axes. A ray goes from plane to plane; at each it asks what medium lies before and
behind, and where they differ it is reflected or refracted by chance. No faces, no regions, no special cases. With
`polarised=True` each ray carries a Stokes vector, turned into the plane of incidence and changed by the complex
amplitudes of Fresnel at every meeting (M. Born and E. Wolf, Principles of Optics, sections 1.4 and 1.5); otherwise
light is taken as unpolarised at every meeting anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

AIR, WATER, GLASS, SOIL = range(4)
EPS = 1e-10


@dataclass(frozen=True)
class Tank:
    """Inside size, thickness of the glass, water level and flat soil, in metres; indices of refraction."""

    lx: float
    ly: float
    lz: float
    glass: float
    water: float
    soil: float
    n_water: float
    n_glass: float
    a_water: float = 0.0
    a_glass: float = 0.0

    def medium(self, p):
        """What lies at points p (n, 3)."""
        x, y, z = p.T
        t = self.glass
        body = (x > -t) & (x < self.lx + t) & (y > -t) & (y < self.ly + t) & (z > -t) & (z < self.lz)
        inside = (x > 0) & (x < self.lx) & (y > 0) & (y < self.ly) & (z > 0) & (z < self.lz)
        filled = np.where(z < self.soil, SOIL, np.where(z < self.water, WATER, AIR))
        return np.where(inside, filled, np.where(body, GLASS, AIR))

    def planes(self):
        """Coordinates of all planes, per axis."""
        t = self.glass
        return (
            np.array([-t, 0.0, self.lx, self.lx + t]),
            np.array([-t, 0.0, self.ly, self.ly + t]),
            np.array([-t, 0.0, self.soil, self.water, self.lz]),
        )


def lamp(n, centre, size, rng):
    """Starts and directions of a Lambertian rectangle that faces down."""
    p = np.array(centre) + (rng.random((n, 3)) - 0.5) * [*size, 0.0]
    mu, phi = np.sqrt(rng.random(n)), 2.0 * np.pi * rng.random(n)
    s = np.sqrt(1.0 - mu**2)
    return p, np.stack([s * np.cos(phi), s * np.sin(phi), -mu], axis=1)


def next_plane(planes, p, d):
    """Distance to the next plane ahead, and its axis."""
    t = np.full((len(p), 3), np.inf)
    for axis in range(3):
        with np.errstate(divide="ignore", invalid="ignore"):
            ahead = (planes[axis] - p[:, axis : axis + 1]) / d[:, axis : axis + 1]
        ahead[~(ahead > EPS)] = np.inf
        t[:, axis] = ahead.min(axis=1)
    axis = np.argmin(t, axis=1)
    return t[np.arange(len(p)), axis], axis


def amplitudes(n1, n2, cos1):
    """Complex reflection amplitudes for s and p."""
    cos2 = np.sqrt((1.0 - (n1 / n2) ** 2 * (1.0 - cos1**2)).astype(complex))
    r_s = (n1 * cos1 - n2 * cos2) / (n1 * cos1 + n2 * cos2)
    r_p = (n2 * cos1 - n1 * cos2) / (n2 * cos1 + n1 * cos2)
    return r_s, r_p


def turn(stokes, reference, d, s_axis):
    """Stokes vectors (Q, U, V) seen from the s axis instead of the reference axis, both square to d."""
    across = np.cross(d, reference)
    c, s = (s_axis * reference).sum(axis=1), (s_axis * across).sum(axis=1)
    c2, s2 = c * c - s * s, 2.0 * c * s
    q, u, v = stokes.T
    return np.stack([c2 * q + s2 * u, c2 * u - s2 * q, v], axis=1)


def trace(tank: Tank, p, d, rng, polarised=False, cells=(6, 4)):
    """Follow rays until they land on the black soil or are gone.

    Returns
    -------
    soil : ndarray, shape (cells)
        Share of the light on each soil cell.
    out : ndarray, shape (4,)
        Share that leaves through the left, right, front and back pane.
    """
    n_rays = len(p)
    index = np.array([1.0, tank.n_water, tank.n_glass, 1.0])
    absorption = np.array([0.0, tank.a_water, tank.a_glass, 0.0])
    planes = tank.planes()
    soil, out = np.zeros(cells), np.zeros(4)
    weight, stokes = np.ones(n_rays), np.zeros((n_rays, 3))
    reference = np.cross(d, rng.normal(size=(n_rays, 3)))
    reference /= np.linalg.norm(reference, axis=1, keepdims=True)
    while len(p):
        t, axis = next_plane(planes, p, d)
        keep = np.isfinite(t) & (weight > 1e-9)
        p, d, t, axis, weight, stokes, reference = (
            x[keep] for x in (p, d, t, axis, weight, stokes, reference)
        )
        before = tank.medium(p + 0.5 * t[:, None] * d)
        weight = weight * np.exp(-absorption[before] * t)
        p = p + t[:, None] * d
        behind = tank.medium(p + 1e-9 * d)
        landed = behind == SOIL
        from_above = landed & (axis == 2) & (d[:, 2] < 0.0)  # not through the glass
        _land(soil, tank, p[from_above], weight[from_above])
        p, d, axis, weight, stokes, reference, before, behind = (
            x[~landed] for x in (p, d, axis, weight, stokes, reference, before, behind)
        )
        m = np.flatnonzero(index[before] != index[behind])
        back, d[m], stokes[m], reference[m] = _meet(
            index[before][m], index[behind][m], axis[m], d[m], stokes[m], reference[m], rng, polarised
        )
        leaving = m[~back & (before[m] == GLASS) & _outer(tank, axis[m], p[m])]
        face = 2 * axis[leaving] + (d[leaving, axis[leaving]] > 0.0)
        out += np.bincount(face, weight[leaving], 4)
    return soil / n_rays, out / n_rays


def _outer(tank, axis, p):
    """Whether a point lies on the outer face of a side pane."""
    size = np.array([tank.lx, tank.ly, np.inf])
    at = p[np.arange(len(p)), axis]
    return (axis < 2) & ((at < -0.5 * tank.glass) | (at > size[axis] + 0.5 * tank.glass))


def _land(soil, tank, p, weight):
    i = np.clip((p[:, 0] / tank.lx * soil.shape[0]).astype(int), 0, soil.shape[0] - 1)
    j = np.clip((p[:, 1] / tank.ly * soil.shape[1]).astype(int), 0, soil.shape[1] - 1)
    np.add.at(soil, (i, j), weight)


def _meet(n1, n2, axis, d, stokes, reference, rng, polarised):
    """Reflect or refract at a plane; whether reflected, new directions, Stokes vectors and their reference axes."""
    rows = np.arange(len(d))
    normal = np.zeros_like(d)
    normal[rows, axis] = np.sign(d[rows, axis])
    cos1 = np.abs(d[rows, axis])
    r_s, r_p = amplitudes(n1, n2, cos1)
    big_s, big_p = np.abs(r_s) ** 2, np.abs(r_p) ** 2
    s_axis = np.cross(d, normal)
    length = np.linalg.norm(s_axis, axis=1, keepdims=True)
    s_axis = np.where(length > 1e-9, s_axis / np.maximum(length, 1e-300), reference)
    q, u, v = turn(stokes, reference, d, s_axis).T
    if not polarised:
        q, u, v = np.zeros((3, len(d)))
    mean, difference = 0.5 * (big_s + big_p), 0.5 * (big_s - big_p)
    reflectance = mean + difference * q
    back = rng.random(len(d)) < reflectance
    cross = r_s * np.conj(r_p)
    mirrored = (
        np.stack(
            [mean * q + difference, cross.real * u + cross.imag * v, cross.real * v - cross.imag * u], axis=1
        )
        / np.maximum(reflectance, 1e-300)[:, None]
    )
    through = np.sqrt(np.maximum((1.0 - big_s) * (1.0 - big_p), 0.0))
    passed = np.stack([(1.0 - mean) * q - difference, through * u, through * v], axis=1)
    passed = passed / np.maximum(1.0 - reflectance, 1e-300)[:, None]
    flipped = d - 2.0 * cos1[:, None] * normal
    eta = (n1 / n2)[:, None]
    cos2 = np.sqrt(np.maximum(1.0 - (n1 / n2) ** 2 * (1.0 - cos1**2), 0.0))[:, None]
    bent = eta * (d - cos1[:, None] * normal) + cos2 * normal
    chosen = back[:, None]
    return back, np.where(chosen, flipped, bent), np.where(chosen, mirrored, passed), s_axis
