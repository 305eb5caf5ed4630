"""Surface nets, against numpy's own count of crossings and a ball's area and volume."""

import numpy as np
import pytest
import trimesh

from underlit.geometry.surface import surface


def crossings(inside):
    return sum(np.count_nonzero(np.diff(inside, axis=axis)) for axis in range(3))


def test_every_crossed_edge_has_a_quad():
    field = np.full((12, 14, 16), 1.0, np.float32)
    field[3:7, 4:9, 5:11] = -1.0
    _, faces = surface(field)
    assert len(faces) == 2 * crossings(field < 0.0)


@pytest.mark.parametrize("seed", range(4))
def test_any_field_gives_a_closed_surface_round_its_inside(seed):
    """Noise has every saddle there is: after they are filled, each edge has two faces, and each sample its side."""
    field = np.random.default_rng(seed).normal(0.3, 1.0, (14, 12, 13)).astype(np.float32)
    for axis in range(3):
        outermost = np.moveaxis(field, axis, 0)
        outermost[[0, -1]] = 1.0
    before = field.copy()
    vertices, faces = surface(field)
    assert (field[before < 0.0] == before[before < 0.0]).all()
    changed = field != before
    assert changed.any() and (field[changed] < 0.0).all()
    assert len(faces) == 2 * crossings(field < 0.0)
    solid = trimesh.Trimesh(vertices, faces, process=False)
    assert solid.is_winding_consistent and solid.volume > 0.0
    assert (np.bincount(solid.edges_unique_inverse) % 2 == 0).all()


def test_a_ball_has_the_area_and_volume_of_a_ball():
    x = np.arange(48) - 23.5
    r = np.sqrt(x[:, None, None] ** 2 + x[:, None] ** 2 + x**2)
    solid = trimesh.Trimesh(*surface((r - 18.0).astype(np.float32)), process=False)
    assert solid.is_watertight
    assert solid.volume == pytest.approx(4.0 / 3.0 * np.pi * 18.0**3, rel=0.01)
    assert solid.area == pytest.approx(4.0 * np.pi * 18.0**2, rel=0.01)
