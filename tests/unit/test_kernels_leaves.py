"""Leaf normals against the distributions of de Wit (1965), and what they show to a ray."""

import numpy as np
import pytest
from scipy import integrate, stats

from underlit.kernels.draws import RNG_WORDS, rng_start
from underlit.kernels.leaves import ANGLE_RULES, leaf_normal

pytestmark = pytest.mark.statistical

N = 40_000
DENSITY = {
    "spherical": np.sin,
    "planophile": lambda a: 2.0 / np.pi * (1.0 + np.cos(2.0 * a)),
    "erectophile": lambda a: 2.0 / np.pi * (1.0 - np.cos(2.0 * a)),
    "plagiophile": lambda a: 2.0 / np.pi * (1.0 - np.cos(4.0 * a)),
}


def normals(rule, photon=1):
    rng = np.zeros(RNG_WORDS, np.uint32)
    rng_start(rng, photon, 0)
    return np.array([leaf_normal(ANGLE_RULES.index(rule), rng, np.uint64(1)) for _ in range(N)])


@pytest.mark.parametrize("rule", DENSITY)
def test_inclinations_and_azimuths(rule):
    n = normals(rule)
    np.testing.assert_allclose(np.linalg.norm(n, axis=1), 1.0, atol=1e-12)
    inclination = np.arccos(n[:, 2])
    grid = np.linspace(0.0, 0.5 * np.pi, 4001)
    cdf = integrate.cumulative_trapezoid(DENSITY[rule](grid), grid, initial=0.0)
    assert cdf[-1] == pytest.approx(1.0, abs=1e-6)
    assert stats.kstest(inclination, lambda a: np.interp(a, grid, cdf)).pvalue > 1e-3
    assert stats.kstest(inclination, lambda a: np.interp(1.02 * a, grid, cdf)).pvalue < 1e-3
    azimuth = np.arctan2(n[:, 1], n[:, 0]) / (2.0 * np.pi) + 0.5
    assert stats.kstest(azimuth, "uniform").pvalue > 1e-3
    assert abs(np.corrcoef(inclination, azimuth)[0, 1]) < 0.02


@pytest.mark.parametrize(
    ("rule", "towards_zenith"),
    [("spherical", 0.5), ("planophile", 8 / (3 * np.pi)), ("erectophile", 4 / (3 * np.pi)), ("horizontal", 1.0),
     ("vertical", 0.0)],
)  # fmt: skip
def test_shown_to_the_zenith(rule, towards_zenith):
    """G(0), the mean of cos(inclination): integrals done by hand."""
    shown = normals(rule, 2)[:, 2]
    assert abs(shown.mean() - towards_zenith) < 4.5 * max(shown.std() / np.sqrt(N), 1e-12)


@pytest.mark.parametrize(
    ("rule", "sideways"), [("spherical", 0.5), ("vertical", 2 / np.pi), ("horizontal", 0.0)]
)
def test_shown_sideways(rule, sideways):
    """G(90 degrees)."""
    shown = np.abs(normals(rule, 3)[:, 0])
    assert abs(shown.mean() - sideways) < 4.5 * max(shown.std() / np.sqrt(N), 1e-12)
