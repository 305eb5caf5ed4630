"""Weightings: bands, action spectra, own files."""

from __future__ import annotations

import numpy as np
import pytest

from underlit.errors import DataError
from underlit.spectra import ACTIONS, BANDS_NM, GRID_NM, lamp, lumens_per_umol, weighting, weighting_names


def test_bands_that_touch_add_up():
    colours = weighting("blue") + weighting("green") + weighting("red")
    np.testing.assert_array_equal(colours, weighting("PAR"))
    assert weighting("PAR").sum() == 300.0
    assert weighting("ePAR").sum() == 350.0
    assert weighting("all").sum() == 401.0


@pytest.mark.parametrize("name", list(ACTIONS))
def test_action_spectra_are_scaled_to_one(name):
    action = weighting(name)
    assert action.shape == GRID_NM.shape
    assert action.max() == pytest.approx(1.0)
    assert action.min() >= 0.0
    np.testing.assert_allclose(weighting(name, [450.0, 660.0]), action[[70, 280]])


def test_names_cover_bands_actions_and_the_eye():
    assert set(weighting_names()) == {*BANDS_NM, *ACTIONS, "photopic"}


def test_lumens_are_the_photopic_weighting():
    assert lumens_per_umol(lamp("D65")) == pytest.approx(weighting("photopic") @ lamp("D65").value)


def test_own_weighting(tmp_path):
    (tmp_path / "mine.csv").write_text("wavelength_nm,weight\n400,0\n500,1\n600,0\n")
    np.testing.assert_allclose(weighting("mine.csv", [350, 450, 500, 700], tmp_path), [0, 0.5, 1, 0])


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("wavelength_nm,weight\n400,1\n390,1\n", "increase"),
        ("wavelength_nm,weight\n400,-1\n500,1\n", "zero or more"),
        ("wavelength_nm,weight\n400,0\n500,0\n", "some above zero"),
        ("nm,weight\n400,0\n", "no column `wavelength_nm`"),
    ],
)
def test_broken_weighting(tmp_path, text, match):
    (tmp_path / "mine.csv").write_text(text)
    with pytest.raises(DataError, match=match):
        weighting("mine.csv", folder=tmp_path)


def test_unknown_name_lists_the_nearest():
    with pytest.raises(DataError, match=r"Nearest: .*chlorophyll a"):
        weighting("chlorophyl")
