"""Placing lamps: the stand-in against real traces, settings against brute force, scenes as they are written."""

from __future__ import annotations

import json

import numpy as np
import pytest

import underlit
from small_scene import SMALL
from underlit.cli import app
from underlit.errors import StudyError
from underlit.metrics import ends, maps
from underlit.metrics.zones import find_zones
from underlit.scene.edit import change
from underlit.studies import lattice as lattices
from underlit.studies import place

ASIDE = SMALL.replace("band = [50, 90]", "target = 60\nceiling = 120\nband = [50, 120]").replace(
    'from = ["2 cm", "2 cm"]\nto = ["18 cm", "10 cm"]', 'from = ["1 cm", "1 cm"]\nto = ["8 cm", "8 cm"]'
)


OLD = """
[[fixture]]
name = "old"
shape = "disc"
size = "4 cm"
height = "8 cm"
[[fixture.channel]]
name = "w"
spectrum = "red 660"
power = "3 W"
efficacy = "2 umol/J"
"""


@pytest.fixture(scope="module")
def scene():
    return underlit.scene_from_text(ASIDE)


@pytest.fixture(scope="module")
def lattice(scene):
    return lattices.trace_lattice(scene, scene.fixture[0], spacing_m=0.04, photons=40_000)


def median(res):
    (zone,) = find_zones(res)
    return float(zone.light(maps.ppfd(res, zone.surface)).quantiles(0.5)[0].value)


@pytest.mark.parametrize("x_cm, y_cm", [(10, 10), (6.3, 8.1), (14, 6.5)])
def test_the_stand_in_agrees_with_a_trace(scene, lattice, x_cm, y_cm):
    moved = change(scene, {"fixture.clip.position": [f"{x_cm} cm", f"{y_cm} cm"]})
    res = underlit.trace(moved, photons=200_000, seed=5)
    zones, spill = lattice.at(x_cm / 100, y_cm / 100)
    zone = lattice.zones[0]
    share = zone.area_m2 / zone.area_m2.sum()
    found = place.quantiles(zones[0], share, (0.5,), lattice.kept[0])[0]
    assert found == pytest.approx(median(res), rel=0.08)
    room = float(ends.spill(res).value) / 100 * 9 * 1.6
    assert spill == pytest.approx(room, rel=0.05)


def test_weights_are_those_of_a_face_and_add_up(lattice):
    weights = lattice.weights(0.1, 0.1).reshape(len(lattice.y_m), len(lattice.x_m))
    assert weights.sum() == pytest.approx(1.0)
    assert weights.sum(axis=0) @ lattice.x_m == pytest.approx(0.1, abs=1e-6)
    spread = weights.sum(axis=0) @ (lattice.x_m - 0.1) ** 2
    assert spread >= 0.08**2 / 16 * 0.99  # variance of a disc of 8 cm, and what interpolation adds


def test_settings_are_the_least_that_do(lattice):
    """Against all pairs of settings in steps of 1 %."""
    places = np.array([[0.05, 0.05], [0.15, 0.14]])
    each = [lattice.at(x, y)[0][0] for x, y in places]
    zone = lattice.zones[0]
    share = zone.area_m2 / zone.area_m2.sum()
    least = np.inf
    for a in np.linspace(0, 1, 101):
        for b in np.linspace(0, 1, 101):
            m, p90 = place.quantiles(a * each[0] + b * each[1], share, (0.5, 0.9), lattice.kept[0])
            if m >= zone.plant.target and p90 <= zone.plant.ceiling:
                least = min(least, (a + b) * lattice.watts)
    found = place.evaluate(lattice, places)
    assert found.possible
    assert found.watts == pytest.approx(least, rel=0.03)
    assert found.medians[0] == pytest.approx(60.0)


def test_what_cannot_be_reached_is_said(scene):
    dark = change(
        scene, {"plant.carpet.target": 2500, "plant.carpet.ceiling": 2900, "plant.carpet.band": [2000, 2900]}
    )
    weak = lattices.trace_lattice(dark, dark.fixture[0], spacing_m=0.06, photons=5_000)
    found = place.evaluate(weak, np.array([[0.1, 0.1]]))
    assert not found.possible
    assert found.settings[0] == pytest.approx(1.0)
    assert 0.5 < found.short < 1.0


def test_lamps_do_not_reach_into_each_other(scene):
    lamp = scene.fixture[0]
    assert place.overlap(lamp, np.array([[0.05, 0.05], [0.13, 0.05]])) == pytest.approx(0.0)
    assert place.overlap(lamp, np.array([[0.05, 0.05], [0.09, 0.05]])) == pytest.approx(0.5)
    assert place.overlap(lamp, np.array([[0.05, 0.05]])) == 0.0


def test_the_lamp_goes_to_the_plants_and_a_fresh_trace_agrees(scene, tmp_path):
    found = place.place(
        scene, tmp_path, heights_m=(0.06, 0.12), most=1, photons=100_000, emitter_photons=8_000, finalists=2
    )
    best = found.best.candidate
    middle = (scene.tank.length / 2, scene.tank.width / 2)
    assert np.hypot(*(best.places_m[0] - 0.045)) < np.hypot(*(np.array(middle) - 0.045))
    assert best.height_m == pytest.approx(0.06)  # nearer is cheaper
    assert found.best.balance.possible
    assert np.abs(found.best.stand_in_error).max() < 0.1
    fresh = underlit.trace(found.best.scene, photons=200_000, seed=99)
    assert median(fresh) == pytest.approx(60.0, rel=0.03)
    as_it_is = place.evaluate(found.lattices[0], np.array([middle]))
    assert best.watts < as_it_is.watts


def test_scenes_are_rewritten_with_all_their_lamps(scene):
    two = underlit.scene_from_text(ASIDE.replace("[run]", OLD + "[run]"))
    places = np.array([[0.05, 0.06], [0.15, 0.06]])
    one = place.Candidate(0.1, 0.2, places, np.array([0.5, 1.0]), 0, 9, 1, 0, np.ones(1))
    hung = place.hang(two, two.fixture[0], one)
    assert [fixture.name for fixture in hung.fixture] == ["clip 1", "clip 2"]
    assert [fixture.channel[0].dim for fixture in hung.fixture] == [0.5, 1.0]
    assert hung.fixture[1].position == pytest.approx((0.15, 0.06))
    assert hung.fixture[0].tilt == pytest.approx(0.2, abs=1e-5)
    assert hung.run.replicates == two.run.replicates
    with pytest.raises(StudyError, match="which lamp"):
        place.place(two, None)


@pytest.mark.parametrize(
    "wrong, said",
    [({"goal": "beauty"}, "no goal"), ({"goal": "price"}, "no price"), ({"fixture": "x"}, "no lamp")],
)
def test_questions_without_answer_are_refused(scene, tmp_path, wrong, said):
    with pytest.raises(StudyError, match=said):
        place.place(scene, tmp_path, **wrong)


def test_command_writes_the_scene_found(tmp_path, capsys):
    (tmp_path / "tank.toml").write_text(ASIDE)
    command = [
        "place",
        str(tmp_path / "tank.toml"),
        "--heights",
        "8 cm",
        "--most",
        "1",
        "--photons",
        "30000",
        "--json",
    ]
    assert app.run([*command, "-o", str(tmp_path / "out")]) == 0
    said = json.loads(capsys.readouterr().out)
    assert len(said["finalists"]) == 1
    placed = underlit.load_scene(tmp_path / "out" / "placed.toml")
    assert placed.fixture[0].channel[0].dim == pytest.approx(
        said["finalists"][0]["power"]["value"] / 9, abs=0.01
    )
