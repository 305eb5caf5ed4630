"""The light's day against plain integrals."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import synthetic
from underlit.errors import DataError, StudyError
from underlit.metrics import zones
from underlit.metrics.cost import cost
from underlit.metrics.day import DimCurve, dli_of_day, full_hours, hours_of

SQUARE = DimCurve(np.linspace(0, 1, 401), np.linspace(0, 1, 401) ** 2)


def test_straight_ramps_count_half():
    """Plateau of P between ramps of R: P + R full hours (8 h with half-hour ramps: 7.5)."""
    assert full_hours(8.0, 0.5) == 7.5
    assert full_hours(8.0, 4.0) == 4.0
    assert full_hours(6.0, 0.0) == 6.0


def test_ramp_of_a_curved_dimmer_counts_less():
    """Photons as the square of the setting: a ramp up to any top counts one third."""
    for top in (1.0, 0.25):
        assert SQUARE.ramp_share(top) == pytest.approx(1 / 3, rel=1e-4)
    assert full_hours(8.0, 1.0, SQUARE, 0.5) == pytest.approx(6.0 + 2.0 / 3, rel=1e-4)
    assert DimCurve.straight().ramp_share(0.3) == pytest.approx(0.5)
    assert DimCurve.straight().ramp_share(0.0) == 0.5


def test_setting_and_photons_are_inverse():
    assert SQUARE.photons_at(0.5) == pytest.approx(0.25)
    assert SQUARE.setting_for(0.25) == pytest.approx(0.5)


def test_any_course_of_the_day_integrates():
    """With a pause at noon, through a curved dimmer: against a sum over tenths of a second."""
    time, setting = np.array([9, 10, 13, 13, 15, 15.5, 20, 21]), np.array([0, 0.8, 0.8, 0, 0, 0.8, 0.6, 0])

    def photons(t):
        return SQUARE.photons_at(np.interp(t, time, setting))

    steps = (np.arange(12 * 36_000) + 0.5) / 36_000 + 9.0
    hours = photons(steps).mean() * 12.0
    found = dli_of_day(np.array([100.0, 50.0]), time, setting, SQUARE)
    np.testing.assert_allclose(found, np.array([100.0, 50.0]) * hours * 0.0036, rtol=1e-4)
    assert dli_of_day(100.0, np.array([8, 16]), np.array([1, 1])) == pytest.approx(2.88)


def with_course(res, course):
    text = res.scene_text.replace('hours = 8\nramp = "30 min"', f"course = {course}")
    return dataclasses.replace(res, scene_text=text)


def test_times_of_a_course_go_on_past_midnight():
    day = with_course(
        synthetic.result(photons=1000), '[["22:00", 0], ["23:30", 1], ["02:00", 0.5], ["06:00", 0]]'
    ).scene.schedule
    assert (day.hours, day.start) == (8.0, "22:00")
    assert day.corners() == ([22, 23.5, 26, 30], [0, 1, 0.5, 0])
    assert day.corners(4.0) == ([22, 22.75, 24, 26], [0, 1, 0.5, 0])


def test_full_hours_of_a_course_are_its_integral():
    """Triangle of 2 h, slope from 1 to 0.5 in 3 h, step down to 0.2 held for 1 h: 1 + 2.25 + 0.2."""
    res = with_course(
        synthetic.result(photons=1000),
        '[["08:00", 0], ["10:00", 1], ["13:00", 0.5], ["13:00", "20 %"], ["14:00", "20 %"]]',
    )
    assert zones.full_hours(res.scene) == pytest.approx(3.45)
    assert hours_of(res.scene.schedule, 3.0) == pytest.approx(3.45 / 2)
    report = zones.report(res, zones.find_zones(res)[0])
    assert report.dli.value == pytest.approx(report.median.value * 3.45 * 0.0036)
    assert cost(res).kwh_per_year == pytest.approx(29.0 * 3.45 * 365 / 1000)


def test_a_course_of_a_trapezium_is_hours_with_ramps():
    """Through a curved dimmer and towards a top below full as well."""
    res = with_course(
        synthetic.result(photons=1000), '[["10:00", 0], ["10:30", 1], ["17:30", 1], ["18:00", 0]]'
    )
    for curve, top in ((None, 1.0), (SQUARE, 1.0), (SQUARE, 0.3), (SQUARE, 0.0)):
        assert hours_of(res.scene.schedule, None, curve, top) == pytest.approx(
            full_hours(8.0, 0.5, curve, top)
        )


def test_curve_from_meter_readings(tmp_path):
    file = tmp_path / "dimmer.csv"
    file.write_text("setting_percent,photons_percent\n25,12\n50,40\n100,120\n")
    curve = DimCurve.read(file)
    assert curve.photons_at(0.5) == pytest.approx(1 / 3)
    assert curve.setting_for(0.05) == pytest.approx(0.125)


@pytest.mark.parametrize("rows", ["50,40\n100,30\n", "50,40\n40,60\n", "50,40\n90,100\n"])
def test_curves_that_do_not_rise_are_refused(rows, tmp_path):
    file = tmp_path / "dimmer.csv"
    file.write_text("setting_percent,photons_percent\n" + rows)
    with pytest.raises(DataError, match="must rise from row to row"):
        DimCurve.read(file)


def test_impossible_days_are_refused():
    with pytest.raises(StudyError, match="at most half"):
        full_hours(4.0, 3.0)
    with pytest.raises(StudyError, match="rise within one day"):
        dli_of_day(1.0, np.array([5, 4]), np.array([0, 1]))
