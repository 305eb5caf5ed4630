"""The commands that answer one question each, as a user meets them."""

from __future__ import annotations

import csv
import dataclasses
import io
import json

import pytest

import synthetic
from underlit.cli import app
from underlit.metrics import balance, spots, zones
from underlit.metrics.buying import offer
from underlit.results.result import Result

SCENE = """
[tank]
length = "20 cm"
width = "20 cm"
height = "20 cm"
thickness = "4 mm"
[[hardscape]]
name = "slab"
shape = "slab"
size = ["8 cm", "8 cm", "1 cm"]
position = ["14 cm", "10 cm", "9 cm"]
[[plant]]
name = "carpet"
band = [30, 90]
from = ["0 cm", "0 cm"]
to = ["20 cm", "20 cm"]
[[fixture]]
name = "clip"
position = ["10 cm", "10 cm"]
height = "8 cm"
shape = "disc"
size = "6 cm"
[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "5 W"
efficacy = "1.6 umol/J"
[run]
cell = "1 cm"
"""


@pytest.fixture(scope="module")
def record() -> Result:
    made = synthetic.result(photons=10_000, cell_m=0.02)
    channels = [dataclasses.replace(c, l70_hours=30_000.0) for c in made.channels]
    return made.with_channels(channels)


@pytest.fixture
def stored(record, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    record.save("tank.h5")
    return "tank.h5"


def as_json(arguments, capsys):
    assert app.run([*arguments, "--json"]) == 0, capsys.readouterr().err
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["spot", "tank.h5"], ["Light of the lamps", "YPF", "Duv"]),
        (
            ["spot", "tank.h5", "20, 10 cm"],
            ["Light at the spots", "Whose light it is", "What shades it", "20, 10 cm"],
        ),
        (
            ["spot", "tank.h5", "38 cm, 17 cm", "--on", "ball", "--pur", "chlorophyll a"],
            ["PUR by chlorophyll a"],
        ),
        (
            ["depth", "tank.h5", "10, 10 cm"],
            ["averaged over the tank", "below 10, 10 cm", "inverse-square guess"],
        ),
        (["dim", "tank.h5"], ["Is it possible?", "What the zones get then"]),
        (["weeks", "tank.h5"], ["The first weeks", "carpet"]),
        (["years", "tank.h5", "--tariff", "0.3"], ["Running cost", "When it is too dim"]),
        (["buy", "tank.h5"], ["Is it enough for this tank?", "W per litre"]),
    ],
)
def test_each_command_prints_its_tables(stored, arguments, words, capsys):
    assert app.run(arguments) == 0
    captured = capsys.readouterr()
    for word in words:
        assert word in captured.out
    assert app.run([*arguments, "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert rows and {"table", "row", "column", "value", "std_err", "unit"} == set(rows[0])
    assert any(row["std_err"] for row in rows) or arguments == ["spot", "tank.h5"]


def test_spot_says_what_the_library_says(stored, record, capsys):
    data = as_json(["spot", stored, "20, 10 cm", "--dim", "clip=0"], capsys)
    spot = spots.find_spot(record, 0.2, 0.1)
    each = spot.by_channel(record, {"clip": 0})
    (ppfd,) = (row["20, 10 cm"] for row in data["spots"] if row["quantity"] == "PPFD")
    assert ppfd["value"] == pytest.approx(each.value.sum())
    shares = [row["share"]["value"] for row in data["shares"]]
    assert sum(shares) == pytest.approx(100.0)
    assert shares[2] == 0.0


def test_dim_says_what_the_library_says(stored, record, capsys):
    data = as_json(["dim", stored, "--watts", "bar=8"], capsys)
    found = balance.balance(record, watts={"bar": 8.0})
    for row, expected in zip(data["settings"], found.settings.value, strict=False):
        assert row["dim to"]["value"] == pytest.approx(100 * expected)
    assert "limit of 8 W for bar" in data["answer"]["answer"]


def test_dim_for_one_zone_alone(stored, record, capsys):
    data = as_json(["dim", stored, "--zone", "carpet"], capsys)
    assert [row["zone"] for row in data["zones"]] == ["carpet"]
    expected = balance.balance(record, zones=zones.find_zones(record, ["carpet"])).settings.value
    assert data["settings"][0]["dim to"]["value"] == pytest.approx(100 * expected[0])


def test_dim_in_the_dimmers_own_percent(stored, tmp_path, capsys):
    (tmp_path / "dimmer.csv").write_text("setting_percent,photons_percent\n50,25\n100,100\n")
    data = as_json(["dim", stored, "--curve", "dimmer.csv"], capsys)
    row = data["settings"][0]
    expected = (
        row["dim to"]["value"] / 50
        if row["dim to"]["value"] < 25
        else 50 + (row["dim to"]["value"] - 25) / 1.5
    )
    assert row["on the dimmer"]["value"] == pytest.approx(expected, rel=1e-6)


def test_buy_says_what_the_library_says(stored, record, capsys):
    data = as_json(["buy", "first=tank.h5", "second=tank.h5", "--tariff", "0.3", "--hours", "10"], capsys)
    one = offer("first", record, 9.5, 0.3)
    assert [row["lamps"] for row in data["money"]] == ["first", "second"]
    assert data["money"][0]["energy"] == pytest.approx(one.dimmed.kwh_per_year)
    assert data["enough"][0]["answer"] == one.zones[0].answer
    report = zones.report(record, zones.find_zones(record)[0], 1.0)
    assert data["zones"][0]["median"]["value"] == pytest.approx(report.median.value)


def test_lives_that_are_not_known_are_asked_for(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    synthetic.result(photons=5_000, cell_m=0.03).save("tank.h5")
    assert app.run(["years", "tank.h5"]) == 0
    assert "--l70" in capsys.readouterr().out
    assert app.run(["years", "tank.h5", "--l70", "20000"]) == 0
    assert "20000" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["spot", "tank.h5", "20 10"], "expected a place"),
        (["spot", "tank.h5", "20, 10 W"], "20, 10 W"),
        (["spot", "tank.h5", "90, 10 cm"], "outside the tank"),
        (["spot", "tank.h5", "20, 10 cm", "--on", "rock"], "no surface `hardscape rock`"),
        (["spot", "tank.h5", "20, 10 cm", "--pur", "moss"], "weighting"),
        (["dim", "tank.h5", "--kelvin", "warm"], "5500-7500"),
        (["dim", "tank.h5", "--kelvin", "7500-5500"], "expected a range"),
        (["dim", "tank.h5", "--watts", "20", "--watts", "bar=3"], "not both"),
        (["dim", "tank.h5", "--watts", "lots"], "expected watts"),
        (["dim", "tank.h5", "--zone", "moss"], "Zones: carpet, background"),
        (["dim", "tank.h5", "--curve", "none.csv"], "none.csv"),
        (["weeks", "tank.h5", "--hours", "30"], "--hours"),
        (["weeks", "tank.h5", "--plan", "none.csv"], "none.csv"),
        (["years", "tank.h5", "--dirt", "150%"], "expected a percentage"),
        (["buy", "tank.h5", "tank.h5"], "same name"),
        (["buy"], "Missing argument"),
        (["shade", "nothing.h5"], "no such file"),
    ],
)
def test_mistakes_end_with_status_2_and_no_traceback(arguments, message, stored, capsys):
    assert app.run(arguments) == 2
    err = capsys.readouterr().err
    assert message in " ".join(err.split())
    assert "Traceback" not in err


def test_shade_traces_the_bare_tank_once_and_keeps_it(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tank.toml").write_text(SCENE)
    assert app.run(["trace", "tank.toml", "--photons", "100k", "-q"]) == 0
    data = as_json(["shade", "tank.h5"], capsys)
    ground = data["shade"][0]
    assert ground["with"]["value"] < 0.95 * ground["without"]["value"]
    (patch,) = data["dark patches"][:1]
    assert "cm from the left" in patch["middle"]
    bare = Result.open("tank.bare.h5")
    assert bare.scene.hardscape == () and bare.seed == Result.open("tank.h5").seed
    before = (tmp_path / "tank.bare.h5").stat().st_mtime_ns
    assert as_json(["shade", "tank.h5"], capsys) == data
    assert (tmp_path / "tank.bare.h5").stat().st_mtime_ns == before
    spot = as_json(["spot", "tank.h5", "14, 10 cm"], capsys)
    taken = {row["meets"]: row["share"]["value"] for row in spot["shade"]}
    assert taken["slab"] > 50


def test_bare_trace_of_something_else_is_made_anew(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tank.toml").write_text(SCENE)
    assert app.run(["trace", "tank.toml", "--photons", "20k", "-q"]) == 0
    synthetic.result(photons=1_000, cell_m=0.03).save("tank.bare.h5")
    assert app.run(["shade", "tank.h5"]) == 0
    assert Result.open("tank.bare.h5").scene.hardscape == ()
    assert Result.open("tank.bare.h5").scene.tank.length == pytest.approx(0.2)
