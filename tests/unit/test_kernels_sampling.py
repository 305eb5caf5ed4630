"""Directions drawn, against their densities."""

import itertools
import math

import numpy as np
import pytest
from scipy import integrate

from underlit.kernels.real import cos_sin
from underlit.kernels.sampling import about, basis, cosine_power, disc, henyey_greenstein, lambertian
from zcheck import same_counts

pytestmark = pytest.mark.statistical

N = 60_000


def uniforms(k, seed=1):
    return np.random.default_rng(seed).random((N, k))


def scatter_density(mu, g):
    return 0.5 * (1.0 - g * g) / (1.0 + g * g - 2.0 * g * mu) ** 1.5


def shares(edges, g):
    return np.array(
        [integrate.quad(scatter_density, *ends, (g,), epsabs=1e-12)[0] for ends in itertools.pairwise(edges)]
    )


@pytest.mark.parametrize("g", [0.0, 0.75, 0.92, -0.4, 0.99])
def test_henyey_greenstein(g):
    mu = np.array([henyey_greenstein(u, g) for u in uniforms(1)[:, 0]])
    edges = np.cos(np.linspace(np.pi, 0.0, 31)) if g < 0.9 else 1.0 - np.geomspace(2.0, 1e-5, 31)
    edges[0], edges[-1] = -1.0, 1.0
    same_counts(np.histogram(mu, edges)[0], N * shares(edges, g))
    with pytest.raises(AssertionError):
        same_counts(np.histogram(mu, edges)[0], N * shares(edges, g - 0.03))


@pytest.mark.parametrize(("g", "backwards"), [(0.75, 0.066667), (0.92, 0.017956), (0.924, 0.016989)])
def test_henyey_greenstein_moments(g, backwards):
    """SC-08: mean cosine g; share scattered backwards, by the midpoint rule over the sampler's own number."""
    u = (np.arange(200_000) + 0.5) / 200_000
    mu = np.array([henyey_greenstein(value, g) for value in u])
    assert mu.mean() == pytest.approx(g, abs=2e-5)
    assert np.mean(mu < 0.0) == pytest.approx(backwards, abs=6e-6)
    assert np.abs(mu).max() <= 1.0


def test_lambertian():
    """Uniform in mu^2 and azimuth, about any normal."""
    rng = np.random.default_rng(2)
    for normal in ([0.0, 0.0, 1.0], [0.0, 0.0, -1.0], [0.6, -0.48, 0.64]):
        d = np.array([lambertian(*normal, *u) for u in rng.random((N, 2))])
        np.testing.assert_allclose(np.linalg.norm(d, axis=1), 1.0, atol=1e-12)
        mu = d @ normal
        assert mu.min() >= 0.0
        ax, ay, az, bx, by, bz = basis(*normal)
        azimuth = np.arctan2(d @ [bx, by, bz], d @ [ax, ay, az])
        table = np.histogram2d(mu**2, azimuth, [np.linspace(0, 1, 11), np.linspace(-np.pi, np.pi, 13)])[0]
        same_counts(table, np.full(table.shape, N / table.size))
        with pytest.raises(AssertionError):
            table = np.histogram2d(mu**1.9, azimuth, [np.linspace(0, 1, 11), np.linspace(-np.pi, np.pi, 13)])[
                0
            ]
            same_counts(table, np.full(table.shape, N / table.size))


@pytest.mark.parametrize("m", [0.0, 1.0, 4.8, 30.0])
def test_cosine_power(m):
    """Light per solid angle goes as cos^m: the share beyond a cosine c is 1 - c^(m+1)."""
    mu = np.array([cosine_power(u, m) for u in uniforms(1, 3)[:, 0]])
    edges = np.linspace(0.0, 1.0, 41)
    same_counts(np.histogram(mu, edges)[0], N * np.diff(edges ** (m + 1.0)))


def test_disc():
    """Even over the disc, and strata of the square stay together: equal areas."""
    x, y = np.array([disc(*u) for u in uniforms(2, 4)]).T
    r2 = x**2 + y**2
    assert r2.max() <= 1.0
    table = np.histogram2d(r2, np.arctan2(y, x), [np.linspace(0, 1, 9), np.linspace(-np.pi, np.pi, 17)])[0]
    same_counts(table, np.full(table.shape, N / table.size))


def test_frames_are_orthonormal():
    rng = np.random.default_rng(5)
    normals = rng.normal(size=(500, 3))
    normals = np.concatenate(
        [normals / np.linalg.norm(normals, axis=1, keepdims=True), np.eye(3), -np.eye(3)]
    )
    for n in normals:
        frame = np.array([*np.reshape(basis(*n), (2, 3)), n])
        np.testing.assert_allclose(frame @ frame.T, np.eye(3), atol=1e-9)
        assert np.linalg.det(frame) == pytest.approx(1.0)
        d = about(*n, 0.3, 1.1)
        assert float(np.dot(d, n)) == pytest.approx(0.3, abs=1e-9)
        assert math.hypot(*d) == pytest.approx(1.0, abs=1e-9)


def test_cosine_and_sine_of_any_azimuth():
    """Against the C library's, over the turns that directions are drawn in and some to either side."""
    phi = np.linspace(-7.0, 13.0, 20_001)
    found = np.array([cos_sin(angle) for angle in phi])
    np.testing.assert_allclose(found, np.stack([np.cos(phi), np.sin(phi)], axis=1), rtol=0.0, atol=1e-11)
