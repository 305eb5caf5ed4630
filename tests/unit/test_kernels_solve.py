"""Paths solved one by one and many at a time, against Snell's law walked forwards and SciPy's root finder."""

import numpy as np
import pytest
from scipy.optimize import root

from underlit.kernels.solve import irradiance, solve, solve_all, straight, whole_lanes

N, N_GLASS = 1.333, 1.52
COUNT = 400


def landing(q, h, d, glass):
    """Where a path of horizontal direction `q` (2,) comes down, by angles: air, water, then glass instead of water."""
    sin_air = np.hypot(*q)
    sin_water = sin_air / N
    aside = h * np.tan(np.arcsin(sin_air)) + d * np.tan(np.arcsin(sin_water))
    place = aside * np.asarray(q) / sin_air
    for axis in range(2):
        # On its way through the glass it sinks, and has as much less way to go in water.
        cos_in_glass = np.sqrt(1.0 - (N**2 - q[axis] ** 2) / N_GLASS**2)
        sink = glass[axis] / cos_in_glass * np.sqrt(N**2 - sin_air**2) / N_GLASS
        place = place - sink * np.asarray(q) / np.sqrt(N**2 - sin_air**2) * (np.arange(2) == axis)
    return place


@pytest.fixture(scope="module")
def paths():
    """Random pairs of points as a tank has them, some with glass on the way, and what `solve_all` makes of them."""
    rng = np.random.default_rng(4)
    h, d = 0.15, 0.3
    fx, fy = rng.uniform(-0.6, 0.6, COUNT), rng.uniform(-0.4, 0.4, COUNT)
    glass = rng.choice([0.0, 0.012, 0.024], (2, COUNT))
    qx, qy, spread = (np.zeros(COUNT) for _ in range(3))
    solve_all(h, d, N, N_GLASS, *glass, fx, fy, qx, qy, spread, COUNT)
    return h, d, fx, fy, glass.T, qx, qy, spread


def test_many_at_a_time_come_down_where_they_should(paths):
    h, d, fx, fy, glass, qx, qy, spread = paths
    found = spread > 0.0
    assert found.mean() > 0.95
    for i in np.flatnonzero(found):
        np.testing.assert_allclose(landing((qx[i], qy[i]), h, d, glass[i]), (fx[i], fy[i]), atol=1e-9)


def test_one_by_one_finds_those_that_many_at_a_time_do_not(paths):
    h, d, fx, fy, glass, qx, qy, spread = paths
    for i in range(COUNT):
        found, x, y, determinant = solve(
            h, d, N, N_GLASS, *glass[i], fx[i], fy[i], *straight(h, d, N, fx[i], fy[i])
        )
        assert found
        np.testing.assert_allclose(landing((x, y), h, d, glass[i]), (fx[i], fy[i]), atol=1e-9)
        if spread[i] > 0.0:
            assert (qx[i], qy[i]) == pytest.approx((x, y), abs=1e-9)
            assert spread[i] == pytest.approx(irradiance(N, x, y, determinant), rel=1e-5)


def test_against_scipy(paths):
    h, d, fx, fy, glass, qx, qy, spread = paths
    for i in np.flatnonzero(spread > 0.0)[:40]:
        start = np.array([fx[i], fy[i]]) / np.linalg.norm([fx[i], fy[i], h + d / N])
        found = root(lambda q, i=i: landing(q, h, d, glass[i]) - (fx[i], fy[i]), start, tol=1e-13)
        assert np.abs(found.fun).max() < 1e-13  # `success` may be withheld for the last bit
        assert (qx[i], qy[i]) == pytest.approx(found.x, abs=1e-9)


def test_determinant_is_the_area_that_a_small_cone_lights(paths):
    h, d, _, _, glass, qx, qy, spread = paths
    eps = 1e-6

    def shift(q, axis):
        step = eps * np.eye(2)[axis]
        return (landing(q + step, h, d, glass[i]) - landing(q - step, h, d, glass[i])) / (2 * eps)

    for i in np.flatnonzero(spread > 0.0)[:40]:
        q = np.array([qx[i], qy[i]])
        by_x, by_y = shift(q, 0), shift(q, 1)
        area = abs(by_x[0] * by_y[1] - by_x[1] * by_y[0])
        assert spread[i] == pytest.approx(irradiance(N, *q, area), rel=1e-5)


def test_no_path_through_more_glass_than_there_is_room_for():
    """Straight down beside a pane, each trip through it would take the light deeper than the soil lies."""
    fx = np.full(whole_lanes(1), 1e-4)
    qx, qy, spread = (np.zeros_like(fx) for _ in range(3))
    solve_all(0.1, 0.01, N, N_GLASS, fx * 0 + 0.4, fx * 0, fx, fx * 0, qx, qy, spread, fx.size)
    assert np.all(spread == 0.0)


def test_nearly_along_the_surface():
    for aside in (5.0, 80.0):
        q = straight(0.1, 0.3, N, aside, 0.0)
        assert landing((q[0], 1e-12), 0.1, 0.3, (0.0, 0.0))[0] == pytest.approx(aside, rel=1e-6)
