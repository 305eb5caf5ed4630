"""What is allowed but unlikely to be meant is a warning, and names its key."""

import pytest

from underlit.errors import SceneError
from underlit.scene import load_scene, scene_from_text
from underlit.scene.templates import template

PLANTED = template("planted")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('thickness = "6 mm"', 'thickness = "2 mm"', "tank.thickness: 2 mm is thin for a tank of this size"),
        (
            'thickness = "6 mm"',
            "",
            "tank.thickness is not given: 6 mm is assumed, a guess for the optics alone",
        ),
        ('level = "33 cm"', 'level = "3 cm"', "substrate.back: all of the soil lies above the water level"),
        (
            'position = ["30 cm", "15 cm"]',
            'position = ["65 cm", "15 cm"]',
            "fixture[1].position: the middle of the",
        ),
        (
            'efficacy = "2.2 umol/J"',
            'efficacy = "4.8 umol/J"',
            "channel[2].efficacy: 4.8 umol/J is more than any",
        ),
        ("target = 60", "target = 20", "plant[1].target: 20 is outside the band, 50 to 90"),
        (
            'size = ["15 cm", "11 cm", "14 cm"]',
            'size = ["15 cm", "11 cm", "90 cm"]',
            "hardscape[1].size: the piece, 90 cm, reaches beyond the tank",
        ),
    ],
)
def test_warnings(old, new, said):
    assert old in PLANTED
    (warning,) = scene_from_text(PLANTED.replace(old, new)).warnings
    assert said in warning


def test_a_window_behind_a_film():
    window = '[window]\nside = "back"\ndistance = "1 m"\nsize = ["1 m", "1 m"]\nexitance = "50 umol/m^2/s"\n'
    warnings = scene_from_text(PLANTED + window).warnings
    assert any("the back pane has a film" in one for one in warnings)


def test_files_of_any_size_and_kind_are_looked_at_first(tmp_path):
    """A mesh of 5 GB (sparse: it takes no room), and a folder in place of a file."""
    with (tmp_path / "big.stl").open("wb") as file:
        file.truncate(5_000_000_000)
    (tmp_path / "folder.stl").mkdir()
    piece = '\n[[hardscape]]\nname = "{0}"\nmesh = "{0}.stl"\nunit = "mm"\nposition = ["20 cm", "15 cm"]\n'
    (tmp_path / "scene.toml").write_text(
        PLANTED + piece.format("big") + piece.format("folder"), encoding="utf-8"
    )
    with pytest.raises(SceneError) as caught:
        load_scene(tmp_path)
    first, second = caught.value.faults
    assert "has 5,000 MB, expected at most 2,000 MB" in first.what
    assert 'there is no file "folder.stl"' in second.what
    assert "there is: big.stl" in second.hint


def test_derived_values_are_listed_with_their_reason():
    derived = scene_from_text(template("small")).derived
    assert derived["water.level"] == "33 cm, 3 cm below the rim"
    assert derived["tank.thickness"] == "6 mm, usual for this size"
    assert derived["fixture[1].position"] == "the middle of the tank"
    assert derived["substrate.back"] == "6 cm, usual"


@pytest.mark.parametrize(
    ("soil", "front", "back"),
    [
        ('depth = "5 cm"', 0.05, 0.05),
        ('front = "5 cm"', 0.05, 0.05),
        ('back = "7 cm"', 0.07, 0.07),
        ('left = "4 cm"\nright = "8 cm"', 0.06, 0.06),
        ('left = "4 cm"\nright = "8 cm"\nfront = "5 cm"', 0.05, 0.07),
        ('left = "4 cm"', 0.04, 0.04),
        ("", 0.03, 0.06),
    ],
)
def test_soil_depths_follow_from_each_other(soil, front, back):
    scene = scene_from_text(template("small") + f"\n[substrate]\n{soil}\n")
    assert (scene.substrate.front, scene.substrate.back) == pytest.approx((front, back))


@pytest.mark.parametrize(
    ("keys", "band", "target", "ceiling"),
    [
        ("", (40, 80), 60, 80),
        ('demand = "low"', (25, 50), 37.5, 50),
        ('demand = "very low"', (15, 35), 25, 40),
        ("band = [70, 120]", (70, 120), 95, 120),
        ('demand = "very low"\nband = [10, 20]', (10, 20), 15, 40),
        ("band = [50, 90]\ntarget = 60\nceiling = 85", (50, 90), 60, 85),
    ],
)
def test_light_wanted_follows_from_demand_or_band(keys, band, target, ceiling):
    """Bands and ceilings of the shipped table of plant demands."""
    zone = f'\n[[plant]]\nname = "a"\nfrom = ["0 cm", "0 cm"]\nto = ["20 cm", "10 cm"]\n{keys}\n'
    plant = scene_from_text(template("small") + zone).plant[0]
    assert (plant.band, plant.target, plant.ceiling) == (band, target, ceiling)
