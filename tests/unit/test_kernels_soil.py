"""Rays against the soil's height field: a brute-force search over all its triangles, and no ray slips through."""

import numpy as np
import pytest

from underlit.kernels.arrays import SoilArrays
from underlit.kernels.soil import BARE_M, soil_height, soil_hit, soil_normal

LX, LY, TOP = 0.3, 0.2, 0.25


def rough(seed, nx=9, ny=7, high=0.12):
    z = np.random.default_rng(seed).uniform(0.01, high, (ny, nx))
    return SoilArrays(z, LX / (nx - 1), LY / (ny - 1), float(z.max()), False, np.zeros(3), np.zeros(3), 0)


def sloped(a, b, c):
    x, y = np.array([0.0, LX]), np.array([0.0, LY])
    z = a + b * x[None, :] + c * y[:, None]
    normal = np.array([-b, -c, 1.0]) / np.sqrt(1.0 + b * b + c * c)
    return SoilArrays(z, LX, LY, float(z.max()), True, np.array([a, b, c]), normal, 0)


def triangles(soil):
    """Corners (n, 3, 3): 00-10-11 and 00-11-01 of every cell."""
    ny, nx = soil.z_m.shape
    x, y = np.meshgrid(np.arange(nx) * soil.dx_m, np.arange(ny) * soil.dy_m)
    p = np.stack([x, y, soil.z_m], axis=-1)
    p00, p10, p01, p11 = p[:-1, :-1], p[:-1, 1:], p[1:, :-1], p[1:, 1:]
    return np.concatenate(
        [np.stack(part, axis=2).reshape(-1, 3, 3) for part in ((p00, p10, p11), (p00, p11, p01))]
    )


def brute_force(soil, origin, direction, t_max):
    """Nearest crossing from above with any triangle, by solving o + t d = a + u e1 + v e2."""
    corners = triangles(soil)
    e1, e2 = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    facing = np.cross(e1, e2) @ direction < -1e-12
    matrix = np.stack([np.broadcast_to(-direction, e1.shape), e1, e2], axis=-1)[facing]
    t, u, v = np.linalg.solve(matrix, (origin - corners[facing, 0])[..., None])[..., 0].T
    hit = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9) & (t > 0)
    return min(t[hit].min(initial=np.inf), t_max)


def rays(n, rng):
    """Origins above the soil inside the tank, directions all round, and the way to the wall."""
    origins = rng.uniform([0, 0, 0.125], [LX, LY, TOP], (n, 3))
    directions = rng.normal(size=(n, 3))
    directions[: n // 2, 2] = -np.abs(directions[: n // 2, 2])
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    with np.errstate(divide="ignore"):
        ahead = np.where(directions > 0, ([LX, LY, TOP] - origins) / directions, -origins / directions)
    return origins, directions, ahead.min(axis=1)


@pytest.mark.parametrize("seed", range(4))
def test_rough_soil_against_brute_force(seed):
    soil, rng = rough(seed), np.random.default_rng(seed + 100)
    met = 0
    for origin, direction, t_max in zip(*rays(600, rng), strict=True):
        expected = brute_force(soil, origin, direction, t_max)
        got = soil_hit(soil, *origin, *direction, t_max)
        assert got == pytest.approx(expected, abs=1e-9)
        met += got < t_max
    assert met > 100


def test_rays_that_start_low_between_the_ridges():
    soil, rng = rough(7), np.random.default_rng(7)
    for _ in range(600):
        x, y = rng.uniform(0, LX), rng.uniform(0, LY)
        origin = np.array([x, y, soil_height(soil, x, y) + 1e-3])
        direction = rng.normal(size=3)
        direction /= np.linalg.norm(direction)
        with np.errstate(divide="ignore"):
            t_max = np.where(direction > 0, ([LX, LY, TOP] - origin) / direction, -origin / direction).min()
        expected = brute_force(soil, origin, direction, t_max)
        assert soil_hit(soil, *origin, *direction, t_max) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("plane", [(0.05, 0.0, 0.0), (0.02, 0.2, 0.1), (0.1, -0.3, 0.05)])
def test_planes_against_their_equation(plane):
    soil, rng = sloped(*plane), np.random.default_rng(1)
    a, b, c = plane
    for o, d, t_max in zip(*rays(500, rng), strict=True):
        with np.errstate(divide="ignore"):
            t = (a + b * o[0] + c * o[1] - o[2]) / (d[2] - b * d[0] - c * d[1])
        above = o[2] > a + b * o[0] + c * o[1]
        if above:
            assert soil_hit(soil, *o, *d, t_max) == pytest.approx(t if 0 < t < t_max else t_max, abs=1e-12)


def test_no_ray_slips_through():
    """Down through corners, along edges and diagonals, and grazing: all that go below the soil have met it."""
    soil, rng = rough(3), np.random.default_rng(3)
    ny, nx = soil.z_m.shape
    missed, below = 0, 0
    for _ in range(4000):
        i, j = rng.integers(0, nx - 1), rng.integers(0, ny - 1)
        s = rng.random()
        on = [(i, j), (i + s, j), (i, j + s), (i + s, j + s)][rng.integers(4)]
        x, y = on[0] * soil.dx_m, on[1] * soil.dy_m
        target = np.array([x, y, soil_height(soil, x, y)])
        origin = np.array([*rng.uniform([0, 0], [LX, LY]), TOP])
        direction = target - origin
        direction /= np.linalg.norm(direction)
        with np.errstate(divide="ignore"):
            t_max = np.where(direction > 0, ([LX, LY, TOP] - origin) / direction, -origin / direction).min()
        end = origin + t_max * direction
        if end[2] < soil_height(soil, *end[:2]) - 1e-9:
            below += 1
            missed += soil_hit(soil, *origin, *direction, t_max) >= t_max
    assert below > 2000
    assert missed == 0


def test_heights_and_normals_are_those_of_the_triangles():
    soil, rng = rough(5), np.random.default_rng(5)
    corners = triangles(soil)
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    for k, weights in enumerate(rng.dirichlet([1, 1, 1], len(corners))):
        x, y, z = weights @ corners[k]
        assert soil_height(soil, x, y) == pytest.approx(z, abs=1e-12)
        np.testing.assert_allclose(soil_normal(soil, x, y), normals[k], atol=1e-12)


def test_bare_bottom_is_no_soil():
    """Where the soil runs out the pane is met instead, whatever the rounding."""
    soil, rng = sloped(0.0, 0.0, 0.0), np.random.default_rng(2)
    for _ in range(2000):
        origin = rng.uniform([0, 0, 0.01], [LX, LY, TOP])
        direction = rng.normal(size=3)
        direction[2] = -abs(direction[2])
        direction /= np.linalg.norm(direction)
        t_max = origin[2] / -direction[2]
        assert soil_hit(soil, *origin, *direction, t_max) == t_max
    assert soil_hit(sloped(10 * BARE_M, 0.0, 0.0), 0.1, 0.1, 0.1, 0.0, 0.0, -1.0, 0.1) < 0.1
