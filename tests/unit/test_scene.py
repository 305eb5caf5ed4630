"""A scene file becomes a scene in SI, with what it left out worked out."""

import math
import re

import pytest

from underlit.errors import SceneError
from underlit.scene import load_scene, scene_from_text
from underlit.scene.defaults import plate_thickness

SMALLEST = """
[tank]
length = "60 cm"
width = "30 cm"
height = "36 cm"

[[fixture]]
shape = "bar"
size = ["54 cm", "7 cm"]
height = "15 cm"
channel = [{ spectrum = "white 6500 K", power = "20 W", efficacy = "1.9 umol/J" }]
"""


def test_smallest_scene_is_ten_lines_and_whole():
    scene = scene_from_text(SMALLEST)
    assert len(SMALLEST.strip().splitlines()) == 10
    assert scene.tank.length == 0.6
    assert scene.tank.thickness == pytest.approx(0.006)  # TRADE: 60x36 gives 5.1 mm, so 6 mm
    assert scene.water.level == pytest.approx(0.33)
    assert scene.fixture[0].position == (0.3, 0.15)
    assert scene.fixture[0].channel[0].beam.fwhm == pytest.approx(math.radians(120))
    assert scene.emitter_height(scene.fixture[0]) == pytest.approx(0.48)
    assert scene.tank.panes.bottom.state == "dry film"


def test_units_become_si():
    scene = scene_from_text(SMALLEST.replace('"60 cm"', '"24 in"').replace('"15 cm"', '"150 mm"'))
    assert scene.tank.length == pytest.approx(0.6096)
    assert scene.fixture[0].height == pytest.approx(0.15)


@pytest.mark.parametrize(
    ("length", "height", "expected_mm"),
    [(3.0, 1.0, 27.1), (0.6, 0.36, 5.1), (0.9, 0.45, 7.6), (1.0, 0.6, 10.9)],
)
def test_plate_formula_gives_the_published_thicknesses(length, height, expected_mm):
    """Values of the hobby article that the formula comes from (2001)."""
    assert 1e3 * plate_thickness(length, height) == pytest.approx(expected_mm, abs=0.1)


def test_load_scene_reads_a_folder(tmp_path):
    (tmp_path / "scene.toml").write_text(SMALLEST, encoding="utf-8")
    scene = load_scene(tmp_path)
    assert scene.path == tmp_path / "scene.toml"
    assert scene.folder == tmp_path
    assert scene.text == SMALLEST


def test_faults_come_all_together_in_the_order_of_lines():
    text = SMALLEST.replace('length = "60 cm"', "length = 60").replace("height = ", "heigth = ")
    with pytest.raises(SceneError) as caught:
        scene_from_text(text, name="tank.toml")
    assert [fault.where for fault in caught.value.faults] == [
        "tank.toml:3  tank.length",
        "tank.toml:5  tank.heigth",
        "tank.toml:10  fixture[1].heigth",
    ]


def test_shares_are_numbers_or_percentages():
    for dim in ("0.25", '"25 %"', '"25%"'):
        scene = scene_from_text(SMALLEST.replace('"1.9 umol/J"', f'"1.9 umol/J", dim = {dim}'))
        assert scene.fixture[0].channel[0].dim == 0.25


def test_channels_are_named_after_their_spectra():
    spectra = ['"D65"', '{ peak = "660 nm" }', '{ cct = "3000 K" }', '{ mix = { "red 660" = 1 } }']
    channels = ", ".join(f'{{ spectrum = {one}, power = "9 W", flux = "9 umol/s" }}' for one in spectra)
    scene = scene_from_text(re.sub(r"channel = .*", f"channel = [{channels}]", SMALLEST))
    assert [channel.name for channel in scene.fixture[0].channel] == [
        "D65",
        "660 nm",
        "white 3000 K",
        "channel 4",
    ]


def test_a_scene_does_not_change():
    scene = scene_from_text(SMALLEST)
    with pytest.raises(ValueError, match="frozen"):
        scene.tank.length = 1.0
    assert scene_from_text(SMALLEST).water is not scene_from_text(SMALLEST).water  # no default is shared


def test_panes_and_spectra_by_short_and_long_forms():
    long = scene_from_text(
        SMALLEST + '[tank.panes]\nback = { state = "dry film", colour = { reflectance = 0.1 } }\n'
    )
    assert long.tank.panes.back.colour == 0.1
    short = scene_from_text(SMALLEST + '[tank.panes]\nback = "bonded film"\n')
    assert (short.tank.panes.back.state, short.tank.panes.back.colour) == ("bonded film", "black")
