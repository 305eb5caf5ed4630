"""Spectrum: units, resampling, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from underlit.errors import DataError
from underlit.spectra import GRID_NM, Spectrum, max_efficacy_umol_per_J

UMOL_PER_J_550 = 4.598  # photons in 1 W at 550 nm, from the exact constants of the SI


def line_at(nm: int, watts: float = 1.0) -> Spectrum:
    return Spectrum(GRID_NM, np.where(np.equal(GRID_NM, nm), watts, 0.0), "watts")


def test_one_watt_at_550_nm():
    assert line_at(550).flux_umol_s == pytest.approx(UMOL_PER_J_550, abs=5e-4)
    assert line_at(550).flux_w == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("nm", [400, 450, 525, 660, 730])
def test_efficacy_limit_is_wavelength_over_119_6(nm):
    assert max_efficacy_umol_per_J(line_at(nm, 7.0)) == pytest.approx(nm / 119.627, rel=1e-5)


def test_photons_and_watts_undo_each_other():
    light = Spectrum([400.0, 500.0, 700.0], [1.0, 2.0, 0.5], "watts")
    np.testing.assert_allclose(light.photons().watts().value, light.value, rtol=1e-14)


def test_resampling_keeps_straight_lines_and_adds_nothing_outside():
    light = Spectrum([395.0, 405.0, 705.0], [0.0, 10.0, 0.0], "photons").on_grid()
    assert light.value[GRID_NM == 400] == pytest.approx(5.0)
    assert np.all(light.value[(GRID_NM < 395) | (GRID_NM > 705)] == 0.0)


def test_fine_data_keep_their_flux():
    """A line of 0.2 nm between two grid points: its trapezoid area is the flux, wherever it falls."""
    nm = np.arange(500.0, 700.01, 0.1)
    for centre in (600.0, 600.3, 600.5):
        value = np.maximum(0.0, 1.0 - np.abs(nm - centre) / 0.2)
        assert Spectrum(nm, value).on_grid().value.sum() == pytest.approx(np.trapezoid(value, nm), rel=1e-9)


def test_normalised_counts_one_micromole():
    assert Spectrum(
        [390.0, 600.0, 770.0], [1.0, 3.0, 2.0], "watts"
    ).normalised().value.sum() == pytest.approx(1)


def test_arrays_cannot_be_changed_behind_the_cache():
    with pytest.raises(ValueError, match="read-only"):
        line_at(500).value[0] = 1.0


def test_missing_ends_are_noted_and_missing_middle_is_refused():
    flat = Spectrum([400.0, 700.0], [1.0, 1.0], name="lamp.csv").on_grid()
    assert flat.notes == (
        "lamp.csv: no data below 400 nm; counted as no light there.",
        "lamp.csv: no data above 700 nm; counted as no light there.",
    )
    with pytest.raises(DataError, match="run over 450-700 nm and end well above zero"):
        Spectrum([450.0, 700.0], [1.0, 1.0]).on_grid()
    assert Spectrum([440.0, 450.0, 460.0], [0.0, 1.0, 0.0]).on_grid().notes == ()


@pytest.mark.parametrize(
    ("nm", "value", "kind", "match"),
    [
        ([400, 500], [1, 2], "lumens", "quantity `lumens`"),
        ([400, 500], [1], "watts", "as many values"),
        ([400], [1], "watts", "at least two"),
        ([400, 400], [1, 1], "watts", "must increase"),
        ([400, 500], [1, -1], "watts", "negative, as it is at 500 nm"),
        ([400, 500], [1, np.nan], "watts", "finite"),
        ([400, 500], [0, 0], "watts", "no light"),
        ([900, 1000], [1, 1], "watts", "no light in 380-780"),
    ],
)
def test_what_is_not_a_spectrum(nm, value, kind, match):
    with pytest.raises(DataError, match=match):
        Spectrum(nm, value, kind)
