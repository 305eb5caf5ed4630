"""Areas on the lattice against areas known in closed form."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import synthetic
from underlit.metrics.footprint import Lattice


@pytest.fixture(scope="module")
def res():
    return synthetic.result(photons=100, replicates=2)


def box(name, low, high):
    """A closed box as a mesh surface; only its geometry is used."""
    corner = np.array([[i & 1, i >> 1 & 1, i >> 2] for i in range(8)])
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    faces = np.array([[q[0], q[i], q[i + 1]] for q in quads for i in (1, 2)])
    vertices = np.array(low) + corner * (np.array(high) - np.array(low))
    ball = synthetic.result(photons=1, replicates=1, cell_m=0.1).surfaces["hardscape ball"]
    return dataclasses.replace(ball, name=name, vertices_m=vertices, faces=faces)


def with_pieces(res, *pieces):
    return dataclasses.replace(
        res, surfaces={"soil": res.surfaces["soil"]} | {piece.name: piece for piece in pieces}
    )


def area_m2(res, inside):
    lattice = Lattice.over(res.surfaces["soil"])
    return float(lattice.shares(inside) @ res.surfaces["soil"].cell_area_m2)


def test_points_lie_on_the_soil(res):
    lattice = Lattice.over(res.surfaces["soil"])
    np.testing.assert_allclose(
        lattice.z_m, np.broadcast_to((0.03 + 0.1 * lattice.y_m)[:, None], lattice.z_m.shape)
    )


def test_area_of_a_disc_and_of_a_notched_rectangle(res):
    lattice = Lattice.over(res.surfaces["soil"])
    turn = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    disc = np.column_stack([0.3 + 0.1 * np.cos(turn), 0.15 + 0.1 * np.sin(turn)])
    assert area_m2(res, lattice.in_outline(disc)) == pytest.approx(np.pi * 0.01, rel=2e-3)
    notched = [[0.1, 0.1], [0.4, 0.1], [0.4, 0.25], [0.3, 0.25], [0.3, 0.15], [0.1, 0.15]]
    assert area_m2(res, lattice.in_outline(notched)) == pytest.approx(0.3 * 0.05 + 0.1 * 0.1, rel=1e-9)


def test_footprint_of_a_ball_in_sloping_soil(res):
    """The soil plane cuts the ball in a disc: from above an ellipse of pi (R^2 - d^2) cos(slope)."""
    cos = 1 / np.hypot(1, 0.1)
    _, y, z = synthetic.BALL_CENTRE_M
    distance = (z - 0.03 - 0.1 * y) * cos
    expected = np.pi * (synthetic.BALL_RADIUS_M**2 - distance**2) * cos
    inside = Lattice.over(res.surfaces["soil"]).in_hardscape(res)
    assert area_m2(res, inside) == pytest.approx(expected, rel=0.01)


def test_box_whose_walls_lie_exactly_on_the_lattice(res):
    """Walls at the middle of cells, on lattice points: the area is off by less than one row of points."""
    boxed = with_pieces(res, box("hardscape slab", [0.105, 0.055, 0.0], [0.205, 0.105, 0.2]))
    inside = Lattice.over(res.surfaces["soil"]).in_hardscape(boxed)
    assert area_m2(res, inside) == pytest.approx(0.1 * 0.05, abs=0.002 * 0.15)


def test_overhang_is_open_ground_and_overlap_is_not(res):
    above = box("hardscape roof", [0.1, 0.1, 0.2], [0.3, 0.2, 0.25])
    first = box("hardscape one", [0.101, 0.101, 0.0], [0.201, 0.151, 0.2])
    second = box("hardscape two", [0.151, 0.101, 0.0], [0.251, 0.151, 0.2])
    lattice = Lattice.over(res.surfaces["soil"])
    assert not lattice.in_hardscape(with_pieces(res, above)).any()
    both = lattice.in_hardscape(with_pieces(res, above, first, second))
    assert area_m2(res, both) == pytest.approx(0.15 * 0.05, rel=0.02)


def test_only_grids_have_a_lattice(res):
    with pytest.raises(ValueError, match="no grid"):
        Lattice.over(res.surfaces["hardscape ball"])
