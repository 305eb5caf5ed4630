"""Scenes turned, mirrored or lit from the other end: what must stay the same."""

import numpy as np
import pytest

from bench import NO_GLASS, lamp_of, layout, paint, rectangle, shine, tank_text
from underlit.geometry import stone
from zcheck import agree_pair, disagree_pair

pytestmark = [pytest.mark.validation, pytest.mark.statistical]


def scene(size, panes, lamp, position, floor, plant):
    """A tank with a different state for every pane, a sloped floor, a lamp off the middle, leaves in a corner."""
    states = {
        "clean": "'clean'",
        "black": "{ state = 'bonded film', colour = 'black' }",
        "white": "{ state = 'bonded film', colour = 'white' }",
        "mirror": "{ state = 'dry film', colour = 'mirror' }",
        "dirty": "{ state = 'clean', dirt = 0.2 }",
    }
    sides = "\n".join(f"{name} = {states[state]}" for name, state in panes.items())
    return f"""
[tank]
length = "{size[0]} cm"
width = "{size[1]} cm"
height = "25 cm"
thickness = "6 mm"
[tank.panes]
{sides}
[water]
level = "22 cm"
[substrate]
material = "pale sand"
{floor}
[floaters]
cover = 0.5
transmittance = 0.1
ring = {{ centre = [{plant}], radius = "4 cm" }}
[run]
cell = "2 cm"
plane_cell = "4 cm"
planes = []
[[fixture]]
shape = "panel"
size = [{lamp}]
position = [{position}]
height = "8 cm"
[[fixture.channel]]
spectrum = "D65"
power = "9 W"
flux = "10 umol/s"
"""


def trace(text):
    packed = layout(text)
    return shine(packed, lamp_of(text), 1 << 14)


def soil_map(shone):
    """Middle band, shape (K, ny, nx)."""
    return shone.on("soil")[:, :, 8].reshape(-1, *shone.packed.layout.surfaces["soil"].shape)


PANES = {"left": "black", "right": "mirror", "front": "dirty", "back": "white"}


@pytest.fixture(scope="module")
def upright():
    floor = 'front = "2 cm"\nback = "6 cm"\nleft = "3 cm"\nright = "5 cm"'
    return trace(scene((40, 24), PANES, '"12 cm", "6 cm"', '"12 cm", "9 cm"', floor, '"30 cm", "8 cm"'))


def exits(shone, names):
    return np.stack([shone.ended(f"out of the {name}")[:, 8] for name in names], axis=1)


def test_mirrored_from_left_to_right(upright):
    panes = PANES | {"left": PANES["right"], "right": PANES["left"]}
    floor = 'front = "2 cm"\nback = "6 cm"\nleft = "5 cm"\nright = "3 cm"'
    other = trace(scene((40, 24), panes, '"12 cm", "6 cm"', '"28 cm", "9 cm"', floor, '"10 cm", "8 cm"'))
    agree_pair(soil_map(upright), soil_map(other)[:, :, ::-1], resolves=0.01)
    disagree_pair(soil_map(upright), soil_map(other))
    agree_pair(exits(upright, ["front"]), exits(other, ["front"]), resolves=0.1)


def test_turned_by_a_right_angle(upright):
    """Seen from above anticlockwise: x goes to y, y to -x; left pane to front, front to right, right to back."""
    panes = {"front": PANES["left"], "right": PANES["front"], "back": PANES["right"], "left": PANES["back"]}
    floor = 'front = "3 cm"\nback = "5 cm"\nleft = "6 cm"\nright = "2 cm"'
    other = trace(scene((24, 40), panes, '"6 cm", "12 cm"', '"15 cm", "12 cm"', floor, '"16 cm", "30 cm"'))
    turned = np.rot90(soil_map(other), axes=(1, 2))
    agree_pair(soil_map(upright), turned, resolves=0.01)
    disagree_pair(soil_map(upright), turned[:, ::-1])
    agree_pair(exits(upright, ["front"]), exits(other, ["right"]), resolves=0.1)


def test_reciprocity_past_a_stone():
    """A_1 F_12 = A_2 F_21 between a floor patch and a wall patch, with a bright stone and floor between them."""
    mesh = stone((0.1, 0.08, 0.09), seed=4, triangles=2000)
    mesh = mesh.moved_to(mesh.vertices_m + [0.16, 0.12, 0.02])
    packed = layout(tank_text("30 cm", "24 cm", "20 cm", "0 cm", cell="12 cm"), meshes=[mesh], tank=NO_GLASS)
    paint(packed, packed.arrays.soil.surface, 0.6)
    paint(packed, packed.arrays.mesh.surface[0], 0.7)
    floor, wall = packed.layout.surfaces["soil"], packed.layout.surfaces["pane left"]
    i, j = 1, 2  # the floor's front right quarter, the wall's upper front one
    from_floor = rectangle(floor.cell_centre_m[i] + [0, 0, 1e-9], cell_size(floor), (0, 0, 1))
    from_wall = rectangle(wall.cell_centre_m[j] + [1e-9, 0, 0], cell_size(wall), (1, 0, 0))
    there = shine(packed, from_floor, 1 << 17).on("pane left")[:, j, :1] * floor.cell_area_m2[i]
    back = shine(packed, from_wall, 1 << 17).on("soil")[:, i, :1] * wall.cell_area_m2[j]
    agree_pair(there / wall.cell_area_m2[j], back / wall.cell_area_m2[j], resolves=0.04)
    disagree_pair(there / wall.cell_area_m2[j], 1.04 * back / wall.cell_area_m2[j])


def cell_size(surface):
    return np.diff(surface.x_edges_m)[0], np.diff(surface.y_edges_m)[0]
