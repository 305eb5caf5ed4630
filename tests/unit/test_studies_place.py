"""Placing lamps: the stand-in against real traces, settings against brute force, the answer against a fresh trace."""

from __future__ import annotations

import json

import numpy as np
import pytest

import underlit
from small_scene import SMALL
from underlit.cli import app
from underlit.errors import StudyError
from underlit.metrics import ends, maps
from underlit.metrics.balance import balance
from underlit.metrics.colour_window import ColourWindow
from underlit.metrics.spread import quantiles
from underlit.metrics.zones import find_zones
from underlit.scene.edit import change
from underlit.studies import hang, lattice_store, place, search, store
from underlit.studies import lattice as lattices
from underlit.studies.finalist import spill_by_channel

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
TWO_COLOURS = ASIDE.replace("[run]", """
[[fixture.channel]]
name = "blue"
spectrum = "blue 450"
power = "5 W"
efficacy = "2.4 umol/J"
[run]""")  # fmt: skip


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
    zones, spill = lattice.at(np.array([[x_cm / 100, y_cm / 100]]))
    found = quantiles(zones[0][0], lattice.zones[0].share, (0.5,), lattice.kept[0])[0]
    assert found == pytest.approx(median(res), rel=0.08)
    room = float(ends.spill(res).value) / 100 * 9 * 1.6
    assert spill[0] == pytest.approx(room, rel=0.05)
    assert spill_by_channel(res).value[0] == pytest.approx(room)


def test_weights_are_those_of_a_face_and_add_up(lattice):
    weights = lattice.weights(0.1, 0.1).reshape(len(lattice.y_m), len(lattice.x_m))
    assert weights.sum() == pytest.approx(1.0)
    assert weights.sum(axis=0) @ lattice.x_m == pytest.approx(0.1, abs=1e-6)
    spread = weights.sum(axis=0) @ (lattice.x_m - 0.1) ** 2
    assert spread >= 0.08**2 / 16 * 0.99  # variance of a disc of 8 cm, and what interpolation adds


def test_settings_are_the_least_that_do(lattice):
    """Against all pairs of settings in steps of 1 %."""
    places = np.array([[0.05, 0.05], [0.15, 0.14]])
    each, _ = lattice.at(places)
    zone = lattice.zones[0]
    least = np.inf
    for a in np.linspace(0, 1, 101):
        for b in np.linspace(0, 1, 101):
            m, p90 = quantiles(a * each[0][0] + b * each[0][1], zone.share, (0.5, 0.9), lattice.kept[0])
            if m >= zone.plant.target and p90 <= zone.plant.ceiling:
                least = min(least, (a + b) * lattice.watts[0])
    found = search.evaluate(lattice, places)
    assert found.possible
    assert found.watts == pytest.approx(least, rel=0.03)
    assert found.medians[0] == pytest.approx(60.0)


def test_what_cannot_be_reached_is_said(scene):
    dark = change(
        scene, {"plant.carpet.target": 2500, "plant.carpet.ceiling": 2900, "plant.carpet.band": [2000, 2900]}
    )
    weak = lattices.trace_lattice(dark, dark.fixture[0], spacing_m=0.06, photons=5_000)
    found = search.evaluate(weak, np.array([[0.1, 0.1]]))
    assert not found.possible
    assert found.settings[0] == pytest.approx(1.0)
    assert 0.5 < found.short < 1.0


def test_channels_set_by_themselves_cost_less_and_keep_to_a_colour(tmp_path):
    """Free: the channel of the higher efficacy alone. Within a colour: both, and the trace says what colour."""
    both = underlit.scene_from_text(TWO_COLOURS)
    loose = lattices.trace_lattice(both, both.fixture[0], free=True, spacing_m=0.05, photons=10_000)
    at = np.array([[0.06, 0.06]])
    free = search.evaluate(loose, at)
    assert free.settings[0, 0] == pytest.approx(0.0, abs=1e-6)  # white: 1.6 umol/J against 2.4
    found = place.place(
        both, tmp_path, most=1, window=ColourWindow(6000, 8000), photons=60_000, emitter_photons=5_000,
        heights_m=(0.08,), finalists=1,
    )  # fmt: skip
    dims = [channel.dim for channel in found.best.scene.fixture[0].channel]
    assert min(dims) > 0.01
    assert free.watts < float(found.best.balance.power_w.value)
    from underlit.metrics.colour import cct_duv

    lamp = sum(c.dim * c.spectrum for c in found.result.channels)
    assert 5950 < cct_duv(lamp)[0] < 8050


def test_what_is_least_decides_which_channel_burns():
    both = underlit.scene_from_text(TWO_COLOURS)
    res = underlit.trace(both, photons=50_000)
    by_watts = balance(res, free=True).settings.value
    by_other = balance(res, free=True, cost=np.array([1.0, 100.0])).settings.value
    assert by_watts[0] < 0.01 < by_watts[1]
    assert by_other[1] < 0.01 < by_other[0]


def test_scenes_are_written_with_their_files(tmp_path):
    (tmp_path / "tank").mkdir()
    (tmp_path / "away.csv").write_text("nm,value\n400,1\n500,1\n600,1\n700,1\n")
    (tmp_path / "tank" / "near.csv").write_text("nm,value\n400,2\n500,1\n600,1\n700,1\n")
    text = TWO_COLOURS.replace('"white 6500 K"', '{ file = "near.csv", quantity = "W/nm" }')
    text = text.replace('"blue 450"', '{ file = "../away.csv", quantity = "W/nm" }')
    (tmp_path / "tank" / "tank.toml").write_text(text)
    scene = underlit.load_scene(tmp_path / "tank" / "tank.toml")
    store.write_scene(scene, tmp_path / "out" / "deep" / "tank.toml")
    moved = underlit.load_scene(tmp_path / "out" / "deep" / "tank.toml")
    assert set(store.file_digests(moved).values()) == set(store.file_digests(scene).values())
    assert (tmp_path / "out" / "deep" / "near.csv").is_file()
    underlit.trace(moved, photons=2_000)


def test_lamps_do_not_reach_into_each_other(scene, lattice):
    lamp = scene.fixture[0]  # a disc of 8 cm; 1 cm is left between
    assert search.overlap(lamp, np.array([[0.05, 0.05], [0.14, 0.05]])) == pytest.approx(0.0)
    assert search.overlap(lamp, np.array([[0.05, 0.05], [0.095, 0.05]])) == pytest.approx(0.5)
    assert search.overlap(lamp, np.array([[0.05, 0.05]])) == 0.0
    dim = change(scene, {"fixture.clip.channel.white.power": "2 W"})  # so that one does not do
    weak = lattices.trace_lattice(dim, dim.fixture[0], spacing_m=0.05, photons=5_000)
    found = search.best_places(dim, weak, 2, "watts", 1)
    assert len(found.places_m) == 2
    assert search.overlap(lamp, found.places_m) == pytest.approx(0.0, abs=0.02)
    assert search.best_places(dim, weak, 6, "watts", 1) is None


def test_the_lamp_goes_to_the_plants_and_a_fresh_trace_agrees(scene, tmp_path):
    told = []
    found = place.place(
        scene, tmp_path, heights_m=(0.06, 0.12), most=1, photons=100_000, emitter_photons=8_000, finalists=2,
        done=lambda number, of, text: told.append((number, of)),
    )  # fmt: skip
    best = found.best.candidate
    middle = (scene.tank.length / 2, scene.tank.width / 2)
    assert np.hypot(*(best.places_m[0] - 0.045)) < np.hypot(*(np.array(middle) - 0.045))
    assert best.height_m == pytest.approx(0.06)  # nearer is cheaper
    assert found.best.balance.possible
    assert np.abs(found.best.stand_in_error).max() < 0.1
    assert all(check.agrees for check in found.checks)
    fresh = underlit.trace(found.best.scene, photons=200_000, seed=99)
    assert median(fresh) == pytest.approx(60.0, rel=0.03)
    as_it_is = search.evaluate(found.lattices[0], np.array([middle]))
    assert best.watts < as_it_is.watts
    assert [number for number, _ in told] == sorted({number for number, _ in told})
    assert told[-1][0] == told[-1][1]


def test_a_trace_puts_the_stand_in_right(lattice):
    at = np.array([[0.1, 0.1]])
    stand_in = search.evaluate(lattice, at)
    traced = stand_in.levels[:, 1:] * [[1.1, 1.12]]
    right = lattice.put_right(stand_in.levels, traced)
    cells = stand_in.settings[0, 0] * right.at(at)[0][0][0]
    found = quantiles(cells, right.zones[0].share, (0.5, 0.9), right.kept[0])
    assert found == pytest.approx(traced[0])


def test_lattices_are_kept_and_never_stale(scene, tmp_path):
    settings = {"spacing_m": 0.06, "photons": 2_000, "seed": 3}
    lamp = scene.fixture[0]
    first, was_there = lattice_store.kept_lattice(scene, lamp, tmp_path, **settings)
    assert not was_there
    dearer = change(scene, {"plant.carpet.target": 70, "fixture.clip.price": 20.0})
    again, was_there = lattice_store.kept_lattice(dearer, dearer.fixture[0], tmp_path, **settings)
    assert was_there
    assert (again.light[0] == first.light[0]).all()
    assert (again.zones[0].cells == first.zones[0].cells).all()
    assert again.zones[0].plant.target == 70
    own = lattice_store.lattice_key(scene, lamp, **settings)
    for values in (
        {"fixture.clip.height": "9 cm"}, {"fixture.clip.channel.white.dim": 0.5}, {"water.colour_a440": "1 1/m"},
        {"plant.carpet.to": ["9 cm", "8 cm"]}, {"fixture.clip.channel.white.power": "8 W"},
    ):  # fmt: skip
        other = change(scene, values)
        assert lattice_store.lattice_key(other, other.fixture[0], **settings) != own
    (file,) = tmp_path.glob("lattice-*.npz")
    file.write_bytes(file.read_bytes()[:200])  # cut short
    _, was_there = lattice_store.kept_lattice(scene, lamp, tmp_path, **settings)
    assert not was_there


def test_scenes_are_rewritten_with_all_their_lamps(scene):
    two = underlit.scene_from_text(ASIDE.replace("[run]", OLD + "[run]"))
    places = np.array([[0.05, 0.06], [0.15, 0.06]])
    hung = hang.hang(two, two.fixture[0], places, np.array([[0.5], [1.0]]), 0.1, 0.2)
    assert [fixture.name for fixture in hung.fixture] == ["clip 1", "clip 2"]
    assert [fixture.channel[0].dim for fixture in hung.fixture] == [0.5, 1.0]
    assert hung.fixture[1].position == pytest.approx((0.15, 0.06))
    assert hung.fixture[0].tilt == pytest.approx(0.2, abs=1e-5)
    assert hung.run.replicates == two.run.replicates
    with pytest.raises(StudyError, match="which lamp"):
        place.place(two, None)


@pytest.mark.parametrize(
    "wrong, said",
    [
        ({"goal": "beauty"}, "no goal"),
        ({"goal": "price"}, "no price"),
        ({"fixture": "x"}, "no lamp"),
        ({"zones": ["x"]}, "no plant zone"),
        ({"heights_m": [50.0]}, "cannot hang"),
    ],
)
def test_questions_without_answer_are_refused(scene, tmp_path, wrong, said):
    with pytest.raises(StudyError, match=said):
        place.place(scene, tmp_path, **wrong)


def test_command_writes_a_scene_that_can_be_traced_and_draws(tmp_path, capsys):
    (tmp_path / "lamp.csv").write_text("nm,value\n400,1\n500,1\n600,1\n700,1\n")
    text = ASIDE.replace('"white 6500 K"', '{ file = "lamp.csv", quantity = "W/nm" }')
    (tmp_path / "tank.toml").write_text(text)
    command = [
        "place",
        str(tmp_path / "tank.toml"),
        "--heights",
        "8 cm, 10 cm",
        "--most",
        "1",
        "--photons",
        "30000",
    ]
    assert app.run([*command, "--json", "-o", str(tmp_path / "out")]) == 0
    said = json.loads(capsys.readouterr().out)
    assert len(said["finalists"]) in (2, 3)
    assert said["answer"]["every target met"] == "yes"
    placed = underlit.load_scene(tmp_path / "out" / "placed.toml")
    power = said["answer"]["power"]["value"]
    assert placed.fixture[0].channel[0].dim == pytest.approx(power / 9, abs=0.01)
    trace = ["trace", str(tmp_path / "out" / "placed.toml"), "--photons", "2000", "-q"]
    assert app.run([*trace, "-o", str(tmp_path / "placed.h5")]) == 0
    capsys.readouterr()
    assert {file.name for file in (tmp_path / "out").glob("*.png")} == {
        "tank.png", "soil.png", "power.png", "spill.png",
    }  # fmt: skip
    assert app.run([*command, "-o", str(tmp_path / "out")]) == 0
    shown = capsys.readouterr()
    assert "What to hang" in shown.out
    assert "stand-in on file" in shown.err
