"""The water surface and a sheet of glass, meeting by meeting."""

import numpy as np
import pytest
from scipy import stats

from stack import fresnel, stack
from underlit.kernels.draws import RNG_WORDS, rng_start
from underlit.kernels.fresnel import UNPOLARISED
from underlit.kernels.interface import (
    along,
    component,
    cross_surface,
    facet_normal,
    flip,
    refract,
    sheet_walk,
)

pytestmark = pytest.mark.statistical

N, SEED = 40_000, np.uint64(5)


@pytest.fixture
def rng():
    state = np.zeros(RNG_WORDS, np.uint32)
    rng_start(state, 11, 3)
    return state


def slopes(rms, direction, rng):
    n = np.array([facet_normal(rms, *direction, rng, SEED) for _ in range(N)])
    return -n[:, :2] / n[:, 2:]


@pytest.mark.parametrize("down", [-1.0, 1.0])
def test_slopes_met_by_a_vertical_ray(rng, down):
    """Both components normal with variance rms^2 / 2, independent (C. Cox and W. Munk 1954)."""
    s = slopes(0.08, (0.0, 0.0, down), rng)
    for k in range(2):
        assert stats.kstest(s[:, k] / (0.08 / np.sqrt(2.0)), "norm").pvalue > 1e-3
        assert stats.kstest(s[:, k] / (0.084 / np.sqrt(2.0)), "norm").pvalue < 1e-3
    assert abs(np.corrcoef(s.T)[0, 1]) < 0.02


@pytest.mark.parametrize("up", [False, True])
def test_an_inclined_ray_meets_more_of_the_facets_that_face_it(rng, up):
    """Weight 1 + s tan(theta) towards the ray: the mean slope along it is its variance times tan(theta)."""
    theta, rms = np.radians(40.0), 0.06
    direction = (np.sin(theta), 0.0, np.cos(theta) if up else -np.cos(theta))
    s = slopes(rms, direction, rng)
    expected = 0.5 * rms**2 * np.tan(theta) * (-1.0 if up else 1.0)
    assert abs(s[:, 0].mean() - expected) < 4.5 * s[:, 0].std() / np.sqrt(N)
    assert abs(expected) > 6.0 * s[:, 0].std() / np.sqrt(N)
    assert abs(s[:, 1].mean()) < 4.5 * s[:, 1].std() / np.sqrt(N)


@pytest.mark.parametrize("rms", [0.0, 0.05, 0.3])
def test_directions_stay_unit_and_on_their_side(rng, rms):
    generator = np.random.default_rng(1)
    for _ in range(5000):
        d = generator.normal(size=3)
        d /= np.linalg.norm(d)
        crossed, *out = cross_surface(1.333, rms, *d, UNPOLARISED, generator.random(), rng, SEED)
        assert np.linalg.norm(out) == pytest.approx(1.0, abs=1e-9)
        assert (out[2] * d[2] > 0.0) == crossed


def test_flat_surface_is_snell_and_fresnel(rng):
    generator = np.random.default_rng(2)
    for _ in range(2000):
        d = generator.normal(size=3)
        d /= np.linalg.norm(d)
        n1, n2 = (1.0, 1.333) if d[2] < 0 else (1.333, 1.0)
        sin1 = n1 * np.hypot(d[0], d[1])
        u = generator.random()
        crossed, *out = cross_surface(1.333, 0.0, *d, UNPOLARISED, u, rng, SEED)
        assert crossed == (u >= float(fresnel(n1, n2, sin1)))
        if crossed:
            np.testing.assert_allclose(np.array(out[:2]) * n2, d[:2] * n1, atol=1e-12)
        else:
            np.testing.assert_allclose(out, [d[0], d[1], -d[2]], atol=1e-12)


@pytest.mark.parametrize("axis", range(3))
def test_axes(axis):
    d = np.array([0.36, -0.48, 0.8])
    assert component(axis, *d) == d[axis]
    turned = d.copy()
    turned[axis] *= -1
    np.testing.assert_array_equal(flip(axis, *d), turned)
    np.testing.assert_array_equal(along(axis, 2.0), 2.0 * np.eye(3)[axis])
    mu_t = np.sqrt(1.0 - 0.7**2 * (1.0 - d[axis] ** 2))
    out = np.array(refract(axis, 0.7, mu_t, *d))
    assert np.linalg.norm(out) == pytest.approx(1.0)
    others = [k for k in range(3) if k != axis]
    np.testing.assert_allclose(out[others], 0.7 * d[others])
    assert out[axis] * d[axis] > 0


@pytest.mark.parametrize(("s_part", "kind"), [(1.0, "s"), (0.0, "p"), (UNPOLARISED, None)])
@pytest.mark.parametrize("angle_deg", [0.0, 50.0, 75.0])
def test_bounces_inside_a_sheet(rng, angle_deg, s_part, kind):
    """What is let through, and how far it went (with absorption); unpolarised light is s or p by halves."""
    sin1 = np.sin(np.radians(angle_deg))
    walks = [sheet_walk(np.cos(np.radians(angle_deg)), 1.52, s_part, rng, SEED) for _ in range(N)]
    passes, mu_in, became = (np.array(part) for part in zip(*walks, strict=True))
    assert mu_in == pytest.approx(np.sqrt(1.0 - (sin1 / 1.52) ** 2))
    assert abs(became.mean() - s_part) < 4.5 * 0.5 / np.sqrt(N)
    for depth in (0.0, 0.4):
        results = [stack((1.0, 1.52, 1.0), (depth,), sin1, one) for one in (kind or "sp")]
        left = np.exp(-depth * passes / mu_in)
        for odd, expected in enumerate(np.mean(results, axis=0)):
            share = left * (passes % 2 == odd)
            assert abs(share.mean() - expected) < 4.5 * share.std() / np.sqrt(N)
