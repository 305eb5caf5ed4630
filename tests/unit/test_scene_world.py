"""Soil and hardscape of a scene stand where the scene puts them."""

import math

import numpy as np
import pytest

from underlit.errors import SceneError
from underlit.geometry import save_mesh, slab
from underlit.scene import scene_from_text
from underlit.scene.world import build_world

TANK = """
[tank]
length = "60 cm"
width = "30 cm"
height = "36 cm"
[substrate]
depth = "4 cm"
[window]
side = "left"
distance = "1 m"
size = ["1 m", "1 m"]
exitance = "50 umol/m^2/s"
"""


def _world(text):
    scene = scene_from_text(TANK + text)
    return scene, build_world(scene)


@pytest.mark.parametrize(
    ("shape", "size"),
    [
        ('shape = "stone"\nsize = ["14 cm", "10 cm", "18 cm"]\ntriangles = 2000', (0.14, 0.10, 0.18)),
        ('shape = "slab"\nsize = ["12 cm", "8 cm", "2 cm"]', (0.12, 0.08, 0.02)),
        ('shape = "ellipsoid"\nsize = ["9 cm", "8 cm", "6 cm"]', (0.09, 0.08, 0.06)),
        ('shape = "cylinder"\nlength = "20 cm"\ndiameter = "2 cm"', (0.02, 0.02, 0.20)),
        ('shape = "disc"\ndiameter = "6 cm"\nthickness = "2 mm"', (0.06, 0.06, 0.002)),
        ('shape = "cylinder"\nlength = "20 cm"\ndiameter = "2 cm"\nbend = "180 deg"', (0.1473, 0.02, 0.0737)),
    ],
)
def test_each_shape_has_its_size_and_stands_on_the_soil(shape, size):
    """The arch: half a circle of radius 20 cm / pi about the middle line, and 1 cm of rod beyond it."""
    _, world = _world(f'[[hardscape]]\nname = "piece"\nposition = ["20 cm", "15 cm"]\n{shape}\n')
    vertices = world.hardscape[0].vertices_m
    assert np.ptp(vertices, axis=0) == pytest.approx(size, rel=0.01)
    assert vertices[:, 2].min() == pytest.approx(0.04, abs=1e-9)


def test_wood_reaches_as_far_as_asked_and_where_it_is_turned():
    piece = '[[hardscape]]\nname = "root"\nshape = "wood"\nreach = "25 cm"\nposition = ["30 cm", "15 cm"]\n'
    _, world = _world(piece + 'turn = "180 deg"\ntriangles = 5000\n')
    x = world.hardscape[0].vertices_m[:, 0]
    assert 0.30 - x.min() == pytest.approx(0.25, abs=0.02)


def test_lean_and_sink():
    """A slab of 10 x 10 x 2 cm leant by 90 degrees to the right stands on its edge, pressed in by 1 cm."""
    _, world = _world(
        '[[hardscape]]\nname = "slab"\nshape = "slab"\nsize = ["10 cm", "10 cm", "2 cm"]\n'
        'position = ["20 cm", "15 cm"]\nlean = "90 deg"\nlean_to = "right"\nsink = "1 cm"\n'
    )
    vertices = world.hardscape[0].vertices_m
    assert vertices[:, 2].min() == pytest.approx(0.03)
    assert np.ptp(vertices, axis=0) == pytest.approx((0.02, 0.10, 0.10))


def test_soil_by_slope_profile_and_map(tmp_path):
    flat = TANK.replace('depth = "4 cm"', 'front = "4 cm"\nback = "8 cm"')
    assert build_world(scene_from_text(flat)).soil.height(0.3, 0.15) == pytest.approx(0.06)
    curve = TANK.replace('depth = "4 cm"', 'profile = [["0 cm", "4 cm"], ["60 cm", "10 cm"]]\nalong = "x"')
    assert build_world(scene_from_text(curve)).soil.height(0.6, 0.2) == pytest.approx(0.10)
    (tmp_path / "soil.csv").write_text("cm\n4,4\n8,8\n")
    mapped = TANK.replace('depth = "4 cm"', 'height_map = "soil.csv"')
    assert build_world(scene_from_text(mapped, tmp_path)).soil.height(0.1, 0.3) == pytest.approx(0.08)


def test_pieces_that_reach_through_a_pane_are_named():
    _, world = _world(
        '[[hardscape]]\nname = "slab"\nshape = "slab"\nsize = ["10 cm", "10 cm", "2 cm"]\n'
        'position = ["58 cm", "15 cm"]\n'
    )
    assert world.warnings == ('"slab" reaches 3 cm through the right pane.',)


def test_directions_are_angles_from_the_right_towards_the_back():
    scene = scene_from_text(
        TANK + '[[hardscape]]\nname = "a"\nshape = "slab"\nsize = ["5 cm", "5 cm", "1 cm"]\n'
        'position = ["20 cm", "15 cm"]\nlean_to = "left"\n'
    )
    assert scene.hardscape[0].lean_to == pytest.approx(math.pi)


def test_files_that_cannot_be_used_are_named_together_with_their_lines(tmp_path):
    (tmp_path / "a.stl").write_bytes(b"solid nothing\nendsolid nothing\n")
    (tmp_path / "soil.csv").write_text("cm\n1,2\n3\n")
    text = TANK.replace('depth = "4 cm"', 'height_map = "soil.csv"') + (
        '[[hardscape]]\nname = "a"\nmesh = "a.stl"\nunit = "mm"\nposition = ["20 cm", "15 cm"]\n'
    )
    with pytest.raises(SceneError) as caught:
        build_world(scene_from_text(text, tmp_path, "tank.toml"))
    assert [fault.where for fault in caught.value.faults] == [
        "tank.toml:7  substrate.height_map",
        "tank.toml:15  hardscape[1].mesh",
    ]


def test_a_mesh_in_the_wrong_unit(tmp_path):
    """A slab of 120 mm read as 120 cm is larger than the tank could hold twice."""
    save_mesh(slab((0.12, 0.08, 0.02)), tmp_path / "slab.stl", "mm")
    piece = '[[hardscape]]\nname = "a"\nmesh = "slab.stl"\nunit = "{}"\nposition = ["20 cm", "15 cm"]\n'
    build_world(scene_from_text(TANK + piece.format("mm"), tmp_path))
    with pytest.raises(SceneError, match=r"(?s)hardscape\[1\].mesh.*3.048 m large.*Is its `unit` right"):
        build_world(scene_from_text(TANK + piece.format("in"), tmp_path))
