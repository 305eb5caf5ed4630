"""First weeks, fading and cost of lamps: rules of arithmetic, and the rows of the plan."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

import synthetic
from underlit.errors import DataError, StudyError
from underlit.metrics import ageing, first_weeks, zones
from underlit.metrics.cost import cost
from underlit.metrics.day import DimCurve
from underlit.spectra.tables import shipped


@pytest.fixture(scope="module")
def res():
    return synthetic.result(photons=20_000, cell_m=0.02)


@pytest.fixture(scope="module")
def carpet(res):
    return zones.find_zones(res)[0]


def test_plan_ends_at_the_light_that_is_meant(res, carpet):
    weeks = first_weeks.plan(res, 0.8)
    report = zones.report(res, carpet, 0.8)
    assert weeks[-1].percent == 100
    assert weeks[-1].hours_h == 8.0
    assert weeks[-1].ppfd["carpet"].value == pytest.approx(report.median.value)
    assert weeks[-1].dli["carpet"].value == pytest.approx(report.dli.value)
    assert weeks[-1].setting.tolist() == [0.8, 0.8, 0.8]


def test_plan_rises_and_starts_as_the_trade_does(res):
    """Common practice: 5-6 hours and 40-60 % of the light in the first weeks."""
    weeks = first_weeks.plan(res)
    assert 5 <= weeks[0].hours_h <= 6 and 40 <= weeks[0].percent <= 60
    for name in ("carpet", "background"):
        assert np.all(np.diff([week.dli[name].value for week in weeks]) >= 0)
    first = weeks[0]
    expected = 0.5 * weeks[-1].ppfd["carpet"].value * (6.0 - 0.5) * 0.0036
    assert first.dli["carpet"].value == pytest.approx(expected)
    assert all(shipped("first_weeks").columns["source"])


def test_plan_speaks_the_dimmers_language(res):
    curve = DimCurve(np.linspace(0, 1, 101), np.linspace(0, 1, 101) ** 2)
    week = first_weeks.plan(res, curve=curve)[0]
    np.testing.assert_allclose(week.setting, math.sqrt(0.5), rtol=1e-3)
    assert week.dli["carpet"].value < first_weeks.plan(res)[0].dli["carpet"].value


def test_plan_of_your_own(res, tmp_path):
    file = tmp_path / "plan.csv"
    file.write_text("week,percent,hours_less\n1,30,7\n4,100,0\n")
    first, last = first_weeks.plan(res, hours_h=10.0, path=file)
    assert (first.hours_h, last.hours_h) == (first_weeks.LEAST_HOURS, 10.0)
    assert (first.number, last.number) == (1, 4)
    file.write_text("week,percent,hours_less\n1,130,0\n")
    with pytest.raises(DataError, match="percent lie within"):
        first_weeks.plan(res, path=file)


def test_fading_is_the_rule_of_its_name():
    assert ageing.light_left(40_000, 40_000) == pytest.approx(0.7)
    for share in ageing.MARKS:
        assert ageing.light_left(ageing.hours_to(share, 50_000), 50_000) == pytest.approx(share)
    assert ageing.hours_to(0.9, 1.0) == pytest.approx(math.log(0.9) / math.log(0.7))


def test_lamps_that_fade_alike_give_the_closed_form(res, carpet):
    lamps = ageing.with_l70(res, 30_000)
    found = ageing.fading(lamps, carpet, dirt=0.1)
    median = zones.median(res, carpet)
    hours = 30_000 * math.log(50 / (0.9 * median.value)) / math.log(0.7)
    assert found.as_set_h.value == pytest.approx(hours, rel=1e-4)
    assert found.turned_up_h.value == pytest.approx(hours, rel=1e-4)  # they are fully on already
    error = 30_000 / abs(math.log(0.7)) * median.std_err / median.value
    assert found.as_set_h.std_err == pytest.approx(error, rel=0.1)
    np.testing.assert_allclose(found.at_marks.value, 0.9 * median.value * np.array(ageing.MARKS), rtol=1e-9)


def test_turning_up_buys_time(res, carpet):
    lamps = ageing.with_l70(res, 30_000)
    dimmed = ageing.fading(lamps, carpet, 0.7)
    assert dimmed.as_set_h.value < dimmed.turned_up_h.value
    assert dimmed.turned_up_h.value == pytest.approx(ageing.fading(lamps, carpet).as_set_h.value, rel=1e-4)


def test_too_dim_already_and_never(res, carpet):
    lamps = ageing.with_l70(res, 30_000)
    assert ageing.fading(lamps, carpet, 0.1).as_set_h.value == 0.0
    for_ever = res.with_channels([dataclasses.replace(c, l70_hours=math.inf) for c in res.channels])
    assert math.isinf(ageing.fading(for_ever, carpet).as_set_h.value)


def test_unlike_lamps_meet_the_edge_together(res, carpet):
    """Lamps of different lives: after the hours found, the median is at the edge of the band."""
    lives = {"bar": 20_000.0, "clip": 60_000.0}
    lamps = res.with_channels([dataclasses.replace(c, l70_hours=lives[c.fixture]) for c in res.channels])
    hours = float(ageing.fading(lamps, carpet).as_set_h.value)
    settings = np.array([ageing.light_left(hours, lives[c.fixture]) for c in res.channels])
    assert zones.median(res, carpet, settings).value == pytest.approx(50, rel=2e-3)


def test_unknown_lives_are_asked_for(res, carpet):
    with pytest.raises(StudyError, match="`bar`, `clip`"):
        ageing.fading(res, carpet)
    with pytest.raises(StudyError, match="more than 0"):
        ageing.with_l70(res, 0.0)


def test_power_of_a_year(res):
    """30 W for 8 hours a day are 88 kWh a year."""
    power = res.with_channels([dataclasses.replace(c, power_w=10.0, price=50.0) for c in res.channels])
    money = cost(power, hours_h=8.0, tariff=0.30)
    assert money.kwh_per_year == pytest.approx(87.6)
    assert money.price == 100.0  # two fixtures, each with its price once
    assert money.total(3) == pytest.approx(100 + 3 * 87.6 * 0.30)
    assert cost(power, 0.5, hours_h=8.0).kwh_per_year == pytest.approx(43.8)
    assert math.isnan(cost(power).total(1))
