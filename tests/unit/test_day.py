"""The light's day against plain integrals."""

from __future__ import annotations

import numpy as np
import pytest

from underlit.errors import DataError, StudyError
from underlit.metrics.day import DimCurve, dli_of_day, full_hours

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
