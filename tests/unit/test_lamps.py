"""Lamps of a scene: what is refused, what is warned of, where their LEDs sit."""

from __future__ import annotations

import numpy as np
import pytest

from underlit.errors import DataError, SceneError
from underlit.scene.loader import from_text
from underlit.tracer.faces import led_places, read_led_places
from underlit.tracer.sources import build_lamps

SCENE = """
[tank]
length = "60 cm"
width = "30 cm"
height = "36 cm"
[[fixture]]
name = "bar"
shape = "{shape}"
size = {size}
height = "12 cm"
[[fixture.channel]]
spectrum = "white 6500 K"
power = "20 W"
{output}
{more}
"""
IES = "IESNA:LM-63-2002\nTILT=NONE\n1 -1 1 3 1 1 2 {opening}\n1 1 9\n0 45 90\n0\n9 5 0\n"


def scene(
    tmp_path, more="", shape="bar", size='["54 cm", "6 cm"]', output='efficacy = "2 umol/J"', opening="0 0 0"
):
    (tmp_path / "lamp.ies").write_text(IES.format(opening=opening))
    return from_text(SCENE.format(more=more, shape=shape, size=size, output=output), tmp_path)


@pytest.mark.parametrize(
    ("more", "shape", "match"),
    [
        ('beam = { turn = "90 deg" }', "bar", "(?s)beam.turn.*goes with a beam file alone"),
        ('beam = { fwhm = "90 deg", face = "file" }', "bar", "(?s)beam.face.*goes with a beam file alone"),
        ('beam = { file = "lamp.ies", face = "file" }', "bar", "(?s)beam.face.*no flat luminous opening"),
        ('beam = { file = "lamp.ies", face = "lamp" }', "bar", "beam.face"),
        ('beam = "90 deg"', "tube", '(?s)glows all round.*shape = "bar"'),
        ("leds = 20", "tube", "(?s)leds.*over all of its surface"),
    ],
)
def test_beams_that_cannot_be_meant(tmp_path, more, shape, match):
    with pytest.raises(SceneError, match=match):
        scene(tmp_path, more, shape)


def test_a_spoilt_beam_file_is_a_fault_of_the_scene(tmp_path):
    text = SCENE.format(
        more='beam = { file = "bad.ies" }',
        shape="bar",
        size='["54 cm", "6 cm"]',
        output='efficacy = "2 umol/J"',
    )
    (tmp_path / "bad.ies").write_text(IES.replace("NONE", "INCLUDE").format(opening="0 0 0"))
    with pytest.raises(SceneError, match=r"(?s)scene:15  fixture\[1\].channel\[1\].beam.file.*TILT=INCLUDE"):
        from_text(text, tmp_path)


def test_leds_do_not_go_with_the_opening_of_a_file(tmp_path):
    with pytest.raises(SceneError, match=r"(?s)leds.*starts from the luminous opening"):
        scene(tmp_path, 'leds = 20\nbeam = { file = "lamp.ies", face = "file" }', opening="0.06 0.54 0")


@pytest.mark.parametrize(
    ("opening", "turn", "said"),
    [
        ("0.06 0.54 0", "0 deg", None),
        ("0.54 0.06 0", "90 deg", None),
        ("0.54 0.06 0", "0 deg", 'lies across the fixture: if it should not, give the beam turn = "90 deg"'),
        ("0.08 1.9 0", "-90 deg", 'lies across the fixture: if it should not, give the beam turn = "0 deg"'),
        ("0.3 1.2 0", "0 deg", 'write face = "file"'),
        ("0 0 0", "0 deg", None),
    ],
)
def test_an_opening_that_does_not_fit_is_warned_of(tmp_path, opening, turn, said):
    more = f'beam = {{ file = "lamp.ies", turn = "{turn}" }}'
    warnings = [w for w in scene(tmp_path, more, opening=opening).warnings if "beam.file" in w]
    assert len(warnings) == (said is not None)
    assert said is None or said in warnings[0]


def test_light_starts_from_the_opening_that_the_scene_asks_for(tmp_path):
    more = 'beam = { file = "lamp.ies", face = "file", turn = "90 deg" }'
    source = build_lamps(scene(tmp_path, more, opening="0.3 1.2 0")).sources[0]
    np.testing.assert_allclose(source.size_m, [1.2, 0.3])
    np.testing.assert_allclose(source.axes[0], [0.0, 1.0, 0.0], atol=1e-12)  # its length, along azimuth 0
    from_fixture = build_lamps(scene(tmp_path, more.replace('face = "file", ', ""))).sources[0]
    np.testing.assert_allclose(from_fixture.size_m, [0.54, 0.06])
    np.testing.assert_allclose(from_fixture.axes[0], [1.0, 0.0, 0.0], atol=1e-12)


def test_channels_of_one_place_and_beam_share_a_source(tmp_path):
    second = '[[fixture.channel]]\nspectrum = "red 660"\npower = "5 W"\nefficacy = "2 umol/J"\n{}'
    beam = 'beam = { file = "lamp.ies" }\n'
    assert len(build_lamps(scene(tmp_path, beam + second.format(beam))).sources) == 1
    assert len(build_lamps(scene(tmp_path, beam + second.format('beam = "90 deg"'))).sources) == 2


# --- output ---------------------------------------------------------------------------------------------


def test_a_reading_beyond_physics_is_refused(tmp_path):
    reading = 'reading = { ppfd = "2000 umol/m^2/s", distance = "30 cm" }'
    with pytest.raises(DataError, match=r"(?s)channel `white 6500 K`: reading.*umol per joule.*has only 4.5"):
        build_lamps(scene(tmp_path, output=reading))


def test_a_reading_of_light_that_does_not_arrive_is_refused(tmp_path):
    (tmp_path / "side.ies").write_text(
        "IESNA:LM-63-2002\nTILT=NONE\n1 -1 1 3 1 1 2 0 0 0\n1 1 9\n60 75 90\n0\n1 1 1\n"
    )
    reading = 'reading = { ppfd = "50 umol/m^2/s", distance = "2 m" }'
    with pytest.raises(DataError, match="straight down to the meter"):
        build_lamps(scene(tmp_path, 'beam = { file = "side.ies" }', output=reading))


# --- LEDs -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("n", "rows"), [(60, 1), (24, 3), (1, 1), (7, 2)])
def test_leds_of_a_bar_stand_in_even_rows(n, rows):
    size = (0.6, 0.6 * rows / n * rows) if n > 1 else (0.1, 0.1)
    places = led_places(n, size, False)
    assert places.shape == (n, 2)
    assert len(np.unique(places[:, 1].round(9))) == rows
    assert (np.abs(places) <= 0.5 * np.array(size)).all()
    np.testing.assert_allclose(places.mean(axis=0), 0.0, atol=size[0] / n)
    assert len(np.unique(places.round(9), axis=0)) == n


def test_channels_interleave_their_leds():
    both = [led_places(30, (0.6, 0.02), False, (k, 2)) for k in (0, 1)]
    x = np.sort(np.concatenate(both)[:, 0])
    np.testing.assert_allclose(np.diff(x), 0.01, atol=1e-12)


def test_leds_of_a_disc_are_even():
    """The share of LEDs within each radius is that of the area."""
    radius = np.sort(np.hypot(*led_places(2000, (0.2, 0.2), True).T)) / 0.1
    np.testing.assert_allclose(radius**2, (np.arange(2000) + 0.5) / 2000, atol=1e-3)


def test_led_places_from_a_file(tmp_path):
    (tmp_path / "leds.csv").write_text("# a strip\nx_mm,y_mm\n-100,5\n0,0\n\n100,-5\n")
    np.testing.assert_allclose(read_led_places(tmp_path / "leds.csv"), [[-0.1, 0.005], [0, 0], [0.1, -0.005]])
    source = build_lamps(scene(tmp_path, 'positions = "leds.csv"\nled_size = "2 mm"')).sources[0]
    np.testing.assert_allclose(source.leds_m[:, 0], [-0.1, 0.0, 0.1])
    np.testing.assert_allclose(source.size_m, 0.002)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("x_mm,y_mm\n", "no LED places"),
        ("x,y\n1,2\n", "(?s)no list of LED places.*First line"),
        ("x_mm,y_mm\n1,here\n", "no list of LED places"),
        ("x_mm,y_mm\n1\n", "no list of LED places"),
        ("x_mm,y_mm\n1,nan\n", "not a number"),
        ("x_mm,y_mm\n5400,0\n", "(?s)x = 5400 mm.*outside the fixture `bar`, which is 540 by 60 mm.*in mm"),
    ],
)
def test_led_places_that_cannot_be(tmp_path, text, match):
    (tmp_path / "leds.csv").write_text(text)
    with pytest.raises(DataError, match=match):
        build_lamps(scene(tmp_path, 'positions = "leds.csv"'))


def test_missing_led_places(tmp_path):
    with pytest.raises(DataError, match="cannot read the LED places"):
        read_led_places(tmp_path / "none.csv")
