"""The mesh files in `scenes` are what their script makes, in the units that the scenes state."""

import runpy
from pathlib import Path

import numpy as np
import pytest

from underlit.geometry import load_mesh, stone

SCENES = Path(__file__).parents[2] / "scenes"
ROCK_SLOPE = runpy.run_path(str(SCENES / "make_meshes.py"))["ROCK_SLOPE"]


@pytest.mark.parametrize(("file", "unit", "size", "seed", "roughness", "triangles"), ROCK_SLOPE)
def test_stone_file(file, unit, size, seed, roughness, triangles):
    shipped = load_mesh(SCENES / "b-rock-slope" / "stones" / file, unit)
    made = stone(size, seed=seed, roughness=roughness, triangles=triangles)
    assert shipped.report.watertight
    assert shipped.report.triangles == made.report.triangles
    np.testing.assert_allclose(shipped.report.size, size, rtol=1e-6)
    assert shipped.volume_m3 == pytest.approx(made.volume_m3, rel=1e-5)


def test_rock_slope_is_a_large_scene_of_several_formats_and_units():
    assert sum(row[5] for row in ROCK_SLOPE) >= 100_000
    assert {(Path(row[0]).suffix, row[1]) for row in ROCK_SLOPE} >= {(".stl", "mm"), (".glb", "m")}
