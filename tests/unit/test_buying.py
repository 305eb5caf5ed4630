"""Lamps side by side: sentences that say what the numbers say."""

from __future__ import annotations

import dataclasses
import math

import pytest

import synthetic
from underlit.errors import StudyError
from underlit.metrics import maps, zones
from underlit.metrics.answers import buying_answer
from underlit.metrics.buying import is_it_enough, offer, offers
from underlit.metrics.revise import with_output, with_spectrum
from underlit.spectra import GRID_NM


@pytest.fixture(scope="module")
def res():
    return synthetic.result(photons=20_000, cell_m=0.02)


def answer(res, band, target, factor=1.0):
    head, _, rest = res.scene_text.partition("[[plant]]")
    tail = rest[rest.index("[[fixture]]") :]
    band, target = [round(float(edge), 4) for edge in band], round(float(target), 4)
    zone = f'name = "carpet"\nband = {band}\ntarget = {target}\nfrom = ["5 cm", "3 cm"]\nto = ["55 cm", "12 cm"]\n'
    text = f"{head}[[plant]]\n{zone}\n{tail}"
    lit = with_output(dataclasses.replace(res, scene_text=text), {"bar": factor, "clip": factor})
    return is_it_enough(zones.report(lit, zones.find_zones(lit)[0], 1.0))


def test_each_verdict_has_its_sentence(res):
    median = zones.median(res, zones.find_zones(res)[0]).value
    assert 60 < median < 90
    assert answer(res, [50, 90], 60).startswith("Yes: `carpet` gets")
    assert "dim to 8" in answer(res, [50, 90], 60) or "dim to 9" in answer(res, [50, 90], 60)
    assert answer(res, [20, 40], 30).startswith("More than enough")
    assert answer(res, [60, 200], 150).startswith("Just: ")
    assert "out of reach" in answer(res, [60, 200], 150)
    dark = answer(res, [100, 200], 150)
    assert dark.startswith("No: ")
    assert f"{100 / median:.2g} times the light" in dark
    assert answer(res, [50, 90], 60, factor=0.0) == "No: `carpet` gets no light."
    edge = answer(res, [median * 1.0001, 200], 150)
    assert edge.startswith("No, though only just")


def test_a_dark_tenth_is_told(res):
    report = zones.report(res, zones.find_zones(res)[0], 1.0)
    low = (report.p10.value + report.median.value) / 2
    assert "a tenth of it still stays under" in answer(res, [low, 200], report.median.value * 0.99)


def test_figures_of_an_offer_are_plain_arithmetic(res):
    found = offer("bars", res, hours_h=8.0, tariff=0.3)
    assert found.watts == 29.0
    assert found.ppf == pytest.approx(maps.flux(res, 1.0))
    assert found.umol_per_joule == pytest.approx(found.ppf / 29)
    assert found.lm_per_watt == pytest.approx(maps.flux(res, 1.0, "photopic") / 29)
    depth = 0.33 - 0.03 - 0.1 * 0.15  # water over the middle of the sloped soil
    assert found.litres == pytest.approx(1000 * 0.6 * 0.3 * depth, rel=1e-3)
    assert found.watts_per_litre == pytest.approx(29 / found.litres)
    report = found.zones[0].report
    assert found.zones[0].per_watt.value == pytest.approx(report.median.value / 29)
    assert found.zones[0].per_money(200.0).value == pytest.approx(report.median.value / 2)
    assert math.isnan(found.full.price)  # the clip has none
    together = zones.dim_all_to(res, zones.find_zones(res), 1.0)
    assert found.dim_to.value == pytest.approx(together.percent.value)
    assert found.dimmed.power_w == pytest.approx(29 * min(1.0, together.percent.value / 100))


def test_offers_side_by_side(res):
    strong = with_output(res, {"bar": 2.0})
    summary = buying_answer(offers({"one": res, "two": strong}, tariff=0.3))
    enough = summary["enough"].rows
    assert [row["lamps"] for row in enough] == ["one", "one", "two", "two"]
    assert "W per litre" in summary["lamps"].note
    per_watt = [row["per W"].value for row in summary["zones"].rows if row["zone"] == "carpet"]
    assert per_watt[1] > per_watt[0]


def test_a_tank_without_plants_cannot_be_judged(res):
    text = (
        res.scene_text.partition("[[plant]]")[0] + "[[fixture]]" + res.scene_text.partition("[[fixture]]")[2]
    )
    with pytest.raises(StudyError, match="no plant zone"):
        offer("bare", dataclasses.replace(res, scene_text=text))


def test_another_spectrum_keeps_the_photons_and_the_trace(res):
    other = with_spectrum(res, "bar / white", "warm white 3000 K")
    assert other.channels[0].spectrum.sum() == pytest.approx(res.channels[0].spectrum.sum())
    assert other.channels[1] is res.channels[1]
    assert maps.flux(other, weighting="blue") < maps.flux(res, weighting="blue")
    res.transport("soil")
    assert with_spectrum(res, "bar", "red 660").transport("soil") is res.transport("soil")
    line = with_spectrum(res, "clip", "red 660", flux_umol_s=3.0).channels[2]
    assert line.spectrum.sum() == pytest.approx(3.0)
    assert GRID_NM[line.spectrum.argmax()] == pytest.approx(660, abs=2)


def test_outputs_scale_the_light(res):
    half = with_output(res, {"bar": 0.5, "clip / white": 0.0})
    expected = maps.ppfd(res, "soil", {"bar": 0.5, "clip": 0.0}).samples
    assert maps.ppfd(half, "soil").samples == pytest.approx(expected)
    assert half.channels[0].power_w == res.channels[0].power_w
    with pytest.raises(StudyError, match="0 or more"):
        with_output(res, {"bar": -1.0})
