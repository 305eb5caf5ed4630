"""Lamps by name and by description."""

from __future__ import annotations

import numpy as np
import pytest

from underlit.errors import DataError
from underlit.spectra import GRID_NM, Spectrum, lamp, lamp_names, led, white
from underlit.spectra.observer import planckian_xy, tristimulus


@pytest.mark.parametrize("name", lamp_names())
def test_every_named_lamp_counts_one_micromole(name):
    light = lamp(name)
    assert light.kind == "photons"
    assert light.value.shape == GRID_NM.shape
    assert light.value.sum() == pytest.approx(1.0, rel=1e-12)
    assert light.name
    assert light.source


@pytest.mark.parametrize(("peak", "width"), [(405, 14), (450, 19), (525, 32), (660, 19), (730, 28)])
def test_led_has_its_peak_and_full_width(peak, width):
    power = led(peak, width).watts().value
    power = power / power.max()
    assert GRID_NM[power.argmax()] == peak
    left = np.interp(0.5, power[: peak - 379], GRID_NM[: peak - 379])
    right = np.interp(-0.5, -power[peak - 380 :], GRID_NM[peak - 380 :])
    assert right - left == pytest.approx(width, abs=0.15)


@pytest.mark.parametrize("cct", [2700, 3000, 4000, 5000, 6500, 10000])
@pytest.mark.parametrize("duv", [-0.003, 0.0, 0.003])
def test_white_has_the_chromaticity_asked_for(cct, duv):
    xyz = tristimulus(white(cct, duv).watts().value)
    np.testing.assert_allclose(xyz[:2] / xyz.sum(), planckian_xy(cct, duv), atol=1e-9)


def test_white_from_other_parts():
    parts = {"cct": 4000, "pump": 440, "pump_width": 25, "phosphors": [[530, 100], [630, 90]]}
    xyz = tristimulus(lamp(parts).watts().value)
    np.testing.assert_allclose(xyz[:2] / xyz.sum(), planckian_xy(4000), atol=1e-9)
    assert lamp({"cct": 4000, "pump_width": 40}).value[70] != lamp({"cct": 4000}).value[70]


def test_mixture_is_a_share_of_photons():
    mixed = lamp({"mix": {"white 6500 K": 3, "red 660": 1}})
    expected = 0.75 * lamp("white 6500 K").value + 0.25 * lamp("red 660").value
    np.testing.assert_allclose(mixed.value, expected, rtol=1e-12)


def test_file_relative_to_the_scene(tmp_path):
    (tmp_path / "lamp.csv").write_text("400,1\n500,2\n700,1\n")
    assert lamp({"file": "lamp.csv", "quantity": "W/nm"}, tmp_path).value.sum() == pytest.approx(1.0)


def test_a_spectrum_passes_through():
    flat = Spectrum(GRID_NM, np.full(401, 2.0), "photons")
    np.testing.assert_allclose(lamp(flat).value, 1 / 401)


@pytest.mark.parametrize(
    ("spec", "match"),
    [
        ("red 661", r"no lamp spectrum is called `red 661`.\nNearest: red 660"),
        ("bar.csv", "got the file name"),
        ({}, "got a spectrum with nothing"),
        ({"peak": 660}, "needs its `width`, full at half maximum"),
        ({"peak": 660, "width": 20, "cct": 3000}, "`cct` does not go with `peak`"),
        ({"peak": 900, "width": 20}, "expected 380-780 nm"),
        ({"peak": 660, "width": 0}, "expected 2-200 nm"),
        ({"cct": 500}, "expected 1000-25000 K"),
        ({"cct": 6500, "phosphors": [[600, 20], [640, 20]]}, "cannot make 6500 K"),
        ({"cct": 6500, "phosphors": [[600, 20]]}, "got 1 phosphors, expected two"),
        ({"mix": {}}, "shares above zero"),
        ({"mix": {"red 660": -1}}, "shares above zero"),
        ({"file": "none.csv", "quantity": "W/nm"}, "no such file"),
        ("daylight 3000 K", "4000-25000 K"),
    ],
)
def test_what_is_refused(spec, match):
    with pytest.raises(DataError, match=match):
        lamp(spec)


def test_every_lamp_is_listed_once():
    assert len(set(lamp_names())) == len(lamp_names())
