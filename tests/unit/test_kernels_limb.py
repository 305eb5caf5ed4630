"""Limbs of wood: distances to a round limb in closed form, and nearest points against scipy's tree."""

import numpy as np
import pytest
from scipy.spatial import cKDTree

from underlit.kernels.limb import RUN, carry_along, grow_together, lower_to_limb, nearest_points

STEP, ORIGIN = 0.01, np.array([-0.2, -0.25, -0.3])


def lowered(points, radii, margin, lobes=0.0):
    block = np.full((40, 50, 60), np.inf, np.float32)
    u = np.tile([1.0, 0.0, 0.0], (len(points), 1))
    lower_to_limb(points, radii, u, np.float32(lobes), block, ORIGIN, STEP, np.float32(margin))
    return block


def samples():
    index = np.stack(np.meshgrid(*(np.arange(n) for n in (40, 50, 60)), indexing="ij"), axis=-1)
    return ORIGIN + STEP * index


def to_segment(a, b):
    """Distance of every sample to a segment, and how far along it the nearest point lies."""
    t = np.clip((samples() - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
    return np.linalg.norm(samples() - a - t[..., None] * (b - a), axis=-1), t


def test_distance_to_a_round_limb_is_that_to_its_axis_less_its_radius():
    points = np.array([[-0.05, 0.0, -0.1], [0.05, 0.04, 0.0], [0.0, 0.0, 0.15]])
    radii, margin = np.array([0.04, 0.03, 0.01]), 0.03
    expected = np.full((40, 50, 60), margin)
    for k in range(2):
        away, t = to_segment(points[k], points[k + 1])
        expected = np.minimum(expected, away - radii[k] - t * (radii[k + 1] - radii[k]))
    found = lowered(points, radii, margin)
    np.testing.assert_allclose(np.minimum(found, margin), expected, atol=2e-7)
    assert np.isfinite(found).any() and (found < 0.0).any()


def test_lobes_swell_the_limb_where_they_point_and_nowhere_by_more():
    points, radii = np.array([[0.0, 0.0, -0.2], [0.0, 0.0, 0.2]]), np.full(2, 0.06)
    round_, lobed = lowered(points, radii, 0.05), lowered(points, radii, 0.05, lobes=0.1)
    both = np.isfinite(round_) & np.isfinite(lobed)
    swollen = (round_[both] - lobed[both]) / 0.06
    assert swollen.max() == pytest.approx(0.1 * 1.6, rel=1e-4)  # cos 3 a + 0.6 cos 2 a at a = 0
    assert swollen.min() > -0.1 * 1.6
    assert abs(swollen.mean()) < 0.01


def test_fields_grow_together_with_a_fillet():
    own = np.array([[[0.0, 0.01, 0.5, np.inf]]], np.float32)
    field = np.full((2, 3, 6), 0.01, np.float32)
    before = field.copy()
    grow_together(field, (1, 2, 1), own, np.float32(0.1))
    # smooth minimum: least of the two, less k h^3 / 6 with h = 1 - |a - b| / k; k / 6 where they are equal
    expected = [0.0 - 0.1 * 0.9**3 / 6.0, 0.01 - 0.1 / 6.0, 0.01, 0.01]
    np.testing.assert_allclose(field[1, 2, 1:5], expected, atol=1e-8)
    before[1, 2, 1:5] = field[1, 2, 1:5]
    np.testing.assert_array_equal(field, before)


@pytest.mark.parametrize("n", [1, RUN, RUN + 1, 500])
def test_the_nearest_point_is_that_of_a_tree(n):
    rng = np.random.default_rng(5)
    axis, points = np.cumsum(rng.normal(size=(n, 3)), axis=0), rng.normal(0.0, 10.0, (400, 3))
    nearest, runs = np.empty(len(points), np.int64), -(-n // RUN)
    nearest_points(points, axis, np.empty((runs, 3)), np.empty(runs), nearest)
    np.testing.assert_array_equal(nearest, cKDTree(axis).query(points)[1])


def test_a_direction_is_carried_along_a_line_without_twist():
    angle = np.linspace(0.0, 1.5, 200)
    tangent = np.stack([np.cos(angle), np.sin(angle), 0.0 * angle], axis=1)
    for start, expected in (
        ([0.0, 0.0, 1.0], np.tile([0.0, 0.0, 1.0], (200, 1))),
        ([1.0, 1.0, 0.0], np.stack([-np.sin(angle), np.cos(angle), 0.0 * angle], axis=1)),
    ):
        u = np.zeros((200, 3))
        u[0] = np.array(start) / np.linalg.norm(start)
        carry_along(tangent, u)
        np.testing.assert_allclose(u, expected, atol=1e-12)
