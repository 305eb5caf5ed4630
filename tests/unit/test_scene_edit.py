"""Values of a scene are changed in its text, the rest of which stays as it is."""

import pytest

from underlit.errors import SceneError, StudyError
from underlit.scene import scene_from_text
from underlit.scene.edit import change, change_text
from underlit.scene.templates import template

PLANTED = template("planted")
SMALL = template("small")


@pytest.mark.parametrize(
    ("words", "value", "read", "expected"),
    [
        ("tank.length", "61 cm", lambda s: s.tank.length, 0.61),
        ("fixture[1].height", "20 cm", lambda s: s.fixture[0].height, 0.2),
        ("fixture.bar.height", "20 cm", lambda s: s.fixture[0].height, 0.2),
        ("fixture.bar.channel.red.power", "5 W", lambda s: s.fixture[0].channel[1].power, 5.0),
        ("fixture.bar.channel[2].power", "5 W", lambda s: s.fixture[0].channel[1].power, 5.0),
        ('hardscape."main stone".turn', "45 deg", lambda s: round(s.hardscape[0].turn, 6), 0.785398),
        ("hardscape.main stone.seed", 9, lambda s: s.hardscape[0].seed, 9),
        (
            "plant.stems.canopy.leaf_area_index",
            [1, 3],
            lambda s: s.plant[1].canopy.leaf_area_index,
            (1.0, 3.0),
        ),
        ("meter[1].grid.nx", 5, lambda s: s.meter[0].grid.nx, 5),
        ("tank.panes.back", {"state": "bonded film"}, lambda s: s.tank.panes.back.state, "bonded film"),
        # keys that the file left out
        ("water.scattering", "2 1/m", lambda s: s.water.scattering, 2.0),
        ("fixture.bar.tilt", "10 deg", lambda s: round(s.fixture[0].tilt, 6), 0.174533),
        ("fixture.bar.shade.depth", "2 cm", lambda s: s.fixture[0].shade.depth, 0.02),
        ("fixture.bar.channel.red.dim", 0.5, lambda s: s.fixture[0].channel[1].dim, 0.5),
        ("tank.lid.material", "acrylic", lambda s: s.tank.lid.material, "acrylic"),
        ("tank.lid", {"condition": "neglected"}, lambda s: s.tank.lid.condition, "neglected"),
        ("tank.panes.left", "dry film", lambda s: s.tank.panes.left.state, "dry film"),
        ("floaters.cover", 0.3, lambda s: s.floaters.cover, 0.3),
        ("plant.stems.canopy.clumping", 0.7, lambda s: s.plant[1].canopy.clumping, 0.7),
        ("notes", 'a "text"', lambda s: s.notes, 'a "text"'),
        ("notes", "two\nlines \\ and \x7f ü", lambda s: s.notes, "two\nlines \\ and \x7f ü"),
    ],
)
def test_a_change_is_read_back(words, value, read, expected):
    before = scene_from_text(PLANTED)
    after = change(before, {words: value})
    assert read(after) == expected
    assert after.text.count("#") == PLANTED.count("#")  # comments are all there
    changed = [new for new in after.text.splitlines() if new not in PLANTED.splitlines()]
    assert len(changed) == 1


def test_several_at_once_and_in_inline_tables():
    scene = change(
        scene_from_text(SMALL), {"fixture[1].channel[1].power": "30 W", "fixture[1].channel[1].dim": 0.4}
    )
    assert (scene.fixture[0].channel[0].power, scene.fixture[0].channel[0].dim) == (30.0, 0.4)


def test_a_changed_scene_is_checked():
    with pytest.raises(SceneError, match=r'got "50 cm", expected less than the height of the tank'):
        change(scene_from_text(PLANTED), {"water.level": "50 cm"})
    with pytest.raises(SceneError, match=r"(?s)unknown key.*Did you mean `level`"):
        change(scene_from_text(PLANTED), {"water.levle": "30 cm"})


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("fixture.bat.height", r'(?s)no entry "bat".*Did you mean "bar"'),
        ("fixture[3].height", r"(?s)no entry 3.*There are 1"),
        ("fixture[0].height", r"no entry 0"),
        ("tank", r"is a table"),
        ("", r"names no value"),
        ("tank..length]", r"is no path"),
        ("tank.panes.back.colour", r'`tank.panes.back` is "dry film", not a table'),
        ("tank.brace[1].from", r"no such entry"),
    ],
)
def test_paths_that_lead_nowhere(words, said):
    with pytest.raises(StudyError, match=said):
        change_text(PLANTED, words, "1 cm")
