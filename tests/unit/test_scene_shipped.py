"""The shipped scenes are read without fault, and what is in them stands inside the tank."""

from pathlib import Path

import pytest

from underlit.scene import load_scene
from underlit.scene.world import build_world

SCENES = sorted((Path(__file__).parents[2] / "scenes").glob("*/*.toml"))


def _name(path: Path) -> str:
    return f"{path.parent.name}/{path.stem}"


def test_there_are_six_folders():
    assert len({path.parent for path in SCENES}) == 6


@pytest.mark.parametrize("path", SCENES, ids=_name)
def test_is_read_without_warning(path):
    scene = load_scene(path)
    assert scene.warnings == []
    assert scene.title


@pytest.mark.parametrize("path", SCENES, ids=_name)
def test_its_hardscape_stands_inside_the_tank(path):
    scene = load_scene(path)
    world = build_world(scene)
    assert world.warnings == ()
    for mesh in world.hardscape:
        assert mesh.vertices_m[:, 2].max() < scene.tank.height, mesh.name


def test_photon_flux_of_the_scenes_is_as_described():
    """Totals that the descriptions of the scenes state: about 17, 51, 92 and 205 umol/s."""
    totals = {}
    for path in SCENES:
        scene = load_scene(path)
        totals[_name(path)] = sum(
            one.power * one.efficacy * one.dim for _, one in scene.channels if one.efficacy
        )
    assert totals["a-kitchen-cube/scene"] == pytest.approx(17, abs=1)
    assert totals["b-rock-slope/scene"] == pytest.approx(51, abs=1)
    assert totals["c-driftwood/scene"] == pytest.approx(92, abs=1)
    assert totals["c-driftwood/two-bars"] == pytest.approx(totals["c-driftwood/scene"])
    assert totals["d-shallow-bank/scene"] == pytest.approx(120, abs=3)
    assert totals["d-shallow-bank/long-bar"] == pytest.approx(totals["d-shallow-bank/scene"])
    assert totals["f-diy-bars/scene"] == pytest.approx(205 + 16, abs=5)
