"""Meters: sheets as keepers write them, heads, spots in full and empty tanks, the command."""

from __future__ import annotations

import json

import numpy as np
import pytest

import underlit
from small_scene import SMALL
from underlit.cli import app
from underlit.errors import StudyError
from underlit.spectra import GRID_NM, lamp, weighting
from underlit.studies import meter, readings
from underlit.studies.readings import Head, Spot

HEAD = "x_cm,y_cm,z_cm,reading,lamp_pct,in_water,immersion_applied"


def sheet(tmp_path, text):
    path = tmp_path / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_sheet_is_read_with_remarks_and_decimal_commas(tmp_path):
    path = sheet(
        tmp_path, f"# Tuesday\n{HEAD.replace(',', ';')};note\n10;5;6,5;85;50;1;0;calm\n20;5;6;;100;1;0;\n"
    )
    (spot,) = readings.read_sheet(path)
    assert spot == Spot((0.10, 0.05, 0.065), 85.0, 0.5, True, False, row=3)


def test_all_faults_of_a_sheet_are_told_with_their_rows(tmp_path):
    path = sheet(
        tmp_path, f"{HEAD}\nx,5,6,85,100,1,0\n10,5,6,-3,100,1,0\n10,5,6,85,150,1,0\n10,5,6,85,50,maybe,0\n"
    )
    with pytest.raises(StudyError) as caught:
        readings.read_sheet(path)
    assert [f"row {n}" in str(caught.value) for n in (2, 3, 4, 5)] == [True] * 4


@pytest.mark.parametrize(
    "text, said",
    [
        ("", "0 lines"),
        ("x_cm,y_cm\n1,2\n", "lacks the columns z_cm, reading"),
        (f"{HEAD}\n1,2,3,,,1,1\n", "no reading"),
    ],
)
def test_sheets_without_readings_are_refused(tmp_path, text, said):
    with pytest.raises(StudyError, match=said):
        readings.read_sheet(sheet(tmp_path, text))


def test_a_sheet_comes_back_as_it_went_out(tmp_path):
    spots = [
        Spot((0.1, 0.2, 0.05), 71.0, 0.8, True, False, "bar"),
        Spot((0.3, 0.2, 0.4), 9.5, in_water=False),
    ]
    back = readings.read_sheet(sheet(tmp_path, readings.write_sheet(spots, {"predicted": [1.0, 2.0]})))
    assert [(b.place_m, b.reading, b.in_water, b.lamps) for b in back] == [
        (s.place_m, s.reading, s.in_water, s.lamps) for s in spots
    ]


def test_immersion_makes_a_bare_head_read_low():
    assert Head(1.25).shown(Spot((0, 0, 0), immersion_applied=False)) == pytest.approx(0.8)
    assert Head(1.25).shown(Spot((0, 0, 0), immersion_applied=True)) == 1.0
    assert Head(1.25).shown(Spot((0, 0, 0), in_water=False, immersion_applied=False)) == 1.0
    with pytest.raises(StudyError, match="row 7"):
        Head().shown(Spot((0, 0, 0), immersion_applied=False, row=7))


def test_a_head_blind_above_650_nm_misses_the_red_but_is_right_in_daylight(tmp_path):
    path = tmp_path / "head.csv"
    path.write_text("wavelength_nm,weight\n399,0\n400,1\n650,1\n651,0\n")
    weights = Head(response=str(path)).weights()
    day, red = lamp("D65").value, lamp("red 660").value
    assert day @ weights == pytest.approx(day @ weighting("PAR"))
    assert red @ weights < 0.4 * (red @ weighting("PAR"))
    assert weights[GRID_NM == 500] == pytest.approx(
        (day @ weighting("PAR")) / (day @ (weights > 0)), rel=0.02
    )


def test_usual_spots_are_three_by_three_at_three_heights():
    spots = meter.usual_spots(underlit.scene_from_text(SMALL))
    columns = {spot.place_m[:2] for spot in spots}
    assert (len(spots), len(columns)) == (27, 9)
    assert all(spot.in_water for spot in spots)
    assert max(spot.place_m[2] for spot in spots) == pytest.approx(0.12)  # 5 cm below the surface


def test_a_reading_in_the_empty_tank_comes_from_a_trace_of_it(tmp_path):
    """Below a small lamp on the axis, in air: the inverse square, with the face's size and the walls left out."""
    text = SMALL.replace('size = "8 cm"', 'size = "1 cm"').replace("planes = []", 'plane_cell = "2 cm"')
    scene = underlit.scene_from_text(text)
    spots = [Spot((0.1, 0.1, 0.12), in_water=False), Spot((0.1, 0.1, 0.12))]
    found = meter.predict(scene, spots, tmp_path, photons=400_000)
    assert len(found.results) == 2
    distance = 0.17 + 0.08 - 0.12  # level is 3 cm below the rim
    exponent = np.log(0.5) / np.log(np.cos(np.radians(60)))  # 120 deg full width
    expected = 9 * 1.6 * (exponent + 1) / (2 * np.pi * distance**2)
    par = float(lamp("white 6500 K").value @ weighting("PAR"))
    assert found.light.value[0] == pytest.approx(expected * par, rel=0.06)
    assert found.light.value[1] > found.light.value[0]  # refraction brings the lamp nearer


def test_a_wet_spot_above_the_water_is_refused(tmp_path):
    scene = underlit.scene_from_text(SMALL)
    with pytest.raises(StudyError, match="not under water"):
        meter.predict(scene, [Spot((0.1, 0.1, 0.18))], tmp_path, photons=1_000)


def test_command_makes_a_sheet_and_fits_it(tmp_path, capsys):
    (tmp_path / "tank.toml").write_text(SMALL)
    tank, out = str(tmp_path / "tank.toml"), tmp_path / "out"
    few = ["--photons", "30000", "--immersion", "1.3"]
    assert app.run(["meter", tank, *few, "-o", str(out), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)["meter"]
    assert said[0]["PPFD"]["value"] == pytest.approx(1.3 * said[0]["meter shows"]["value"])
    assert len(list(out.glob("sheet-*.png"))) == 6
    lines = (out / "sheet.csv").read_text().splitlines()
    filled = [lines[0]]
    for line in lines[1:]:
        cells = line.split(",")
        cells[3] = str(0.7 * float(cells[8]))
        filled.append(",".join(cells))
    (tmp_path / "back.csv").write_text("\n".join(filled))
    assert (
        app.run(
            ["meter", tank, *few, "-o", str(out), "--readings", str(tmp_path / "back.csv"), "--no-colour"]
        )
        == 0
    )
    corrected = underlit.load_scene(out / "corrected.toml")
    assert corrected.fixture[0].channel[0].efficacy == pytest.approx(0.7 * 1.6, rel=0.01)
    assert {path.name for path in out.glob("scatter.png")} == {"scatter.png"}
    assert "1.3" not in capsys.readouterr().err
    assert (
        app.run(["meter", tank, "--readings", str(tmp_path / "back.csv"), "-o", str(out), "--photons", "3e4"])
        == 2
    )
    assert "immersion" in capsys.readouterr().err
