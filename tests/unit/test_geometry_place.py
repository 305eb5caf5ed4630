"""Placing: rotations against scipy's, resting against the soil's own triangles."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from underlit.geometry import ellipsoid, place, profile_soil, slab, sloped_soil, stone


@pytest.fixture
def rock():
    return stone((0.14, 0.10, 0.18), triangles=5000, seed=7)


def test_turn_then_lean_like_scipy(rock):
    placed = place(rock, (0.2, 0.1, 0.05), turn=0.7, lean=0.3, lean_to=math.pi / 2)
    # towards the back is about -x
    rotation = Rotation.from_euler("x", -0.3) * Rotation.from_euler("z", 0.7)
    expected = rotation.apply(rock.vertices_m)
    expected += (0.2, 0.1, 0.05 - expected[:, 2].min())
    np.testing.assert_allclose(placed.vertices_m, expected, atol=1e-12)


@pytest.mark.parametrize(
    ("word", "axis", "sign"), [("right", 0, 1), ("left", 0, -1), ("back", 1, 1), ("front", 1, -1)]
)
def test_top_goes_where_it_leans(word, axis, sign):
    post = slab((0.01, 0.01, 1.0))
    placed = place(post, (0.0, 0.0), turn=1.0, lean=math.radians(15), lean_to=word)
    top = placed.vertices_m[post.vertices_m[:, 2] > 0.5].mean(axis=0)
    assert top[axis] == pytest.approx(sign * math.sin(math.radians(15)), abs=1e-9)
    assert top[1 - axis] == pytest.approx(0.0, abs=1e-9)


def test_scale_and_height(rock):
    assert place(rock, (0, 0), scale=2.0).volume_m3 == pytest.approx(8.0 * rock.volume_m3)
    tall = place(rock, (0, 0), height=0.13, lean=0.4, turn=2.0)
    assert np.ptp(tall.vertices_m[:, 2]) == pytest.approx(0.13)
    assert tall.report.size[2] == pytest.approx(0.13)


def test_stands_on_the_bottom_without_soil(rock):
    assert place(rock, (0.1, 0.2)).bounds_m[0, 2] == pytest.approx(0.0, abs=1e-12)
    assert place(rock, (0.1, 0.2, 0.3), sink=0.01).bounds_m[0, 2] == pytest.approx(0.29)


def test_ball_on_a_slope_touches_where_geometry_says():
    """Tangent plane: the centre of a ball on a slope lies r / cos(slope) above the soil beneath it."""
    soil = sloped_soil(0.6, 0.3, front=0.02, back=0.17)
    ball = ellipsoid((0.1, 0.1, 0.1), triangles=200_000)
    placed = place(ball, (0.3, 0.15), soil=soil)
    above = placed.bounds_m.mean(axis=0)[2] - soil.height(0.3, 0.15)
    assert above == pytest.approx(0.05 / math.cos(math.atan(0.5)), rel=1e-4)


@pytest.mark.parametrize("sink", [0.0, 0.012])
def test_rests_on_curved_soil(rock, sink):
    soil = profile_soil(0.6, 0.3, [(0.0, 0.04), (0.15, 0.06), (0.3, 0.12)])
    v = place(rock, (0.24, 0.18), lean=0.26, lean_to="left", soil=soil, sink=sink).vertices_m
    assert (v[:, 2] - soil.height(v[:, 0], v[:, 1])).min() == pytest.approx(-sink, abs=1e-12)


def test_original_is_untouched(rock):
    before = rock.vertices_m.copy()
    place(rock, (0.2, 0.1), turn=1.0, scale=3.0)
    np.testing.assert_array_equal(rock.vertices_m, before)
