"""Figures of a light against published values and plain arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

import synthetic
from underlit import spectra
from underlit.metrics import light, maps, photons
from underlit.metrics.estimate import Estimate
from underlit.spectra import GRID_NM


def exact(spectrum) -> light.Light:
    return light.describe(Estimate.exact(spectrum, 2))


def line(wavelength_nm: int, flux: float = 1.0) -> np.ndarray:
    return np.where(wavelength_nm == GRID_NM, flux, 0.0)


@pytest.mark.parametrize("action", spectra.ACTIONS)
@pytest.mark.parametrize("wavelength_nm", [425, 525, 660])
def test_pur_of_one_wavelength_is_the_weighting_there(action, wavelength_nm):
    found = light.describe(Estimate.exact(line(wavelength_nm, 3.0), 2), action)
    weight = spectra.weighting(action)
    expected = weight[wavelength_nm - 380] / weight.max()
    assert found.weighting == action
    assert float(found.pur_share.value) == pytest.approx(expected, rel=1e-12)
    assert float(found.pur.value) == pytest.approx(3.0 * expected, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "lux_per_ppfd", "cct_k", "duv", "ra"),
    [
        # reference/CHECKS: PH-05, PH-06 (lux per umol, 400-700 nm), CO-02 and CO-11 (5 nm sums, hence the tolerances)
        ("D65", 55.50, 6502.7, 0.0032, 100.0),
        ("LED-B3", 69.75, 4102.8, -0.0007, 84.84),
        ("LED-B1", 67.07, 2733.3, -0.0007, 81.79),
        ("LED-V2", 56.57, 4069.9, 0.0010, 95.70),
    ],
)
def test_standard_lights(name, lux_per_ppfd, cct_k, duv, ra):
    found = exact(50.0 * spectra.lamp(name).value)
    assert float(found.luminous.value / found.par.value) == pytest.approx(lux_per_ppfd, rel=0.003)
    assert float(found.cct_k.value) == pytest.approx(cct_k, rel=0.0025)
    assert float(found.duv.value) == pytest.approx(duv, abs=0.0002)
    assert float(found.ra.value) == pytest.approx(ra, abs=0.6)


def test_dli_is_arithmetic():
    """100 umol m-2 s-1 for 8 hours is 2.88 mol m-2 d-1."""
    white = spectra.lamp("white 6500 K").value
    found = exact(100.0 * white / photons.par(white))
    assert float(found.dli(8.0).value) == pytest.approx(2.88, rel=1e-12)


def test_bands_of_lines():
    found = exact(line(450, 1.0) + line(550, 2.0) + line(660, 1.0) + line(730, 0.5))
    assert [float(found.as_dict()[b].value) for b in ("blue", "green", "red", "far_red")] == [
        0.25,
        0.5,
        0.25,
        0.125,
    ]
    assert float(found.red_far_red.value) == pytest.approx(2.0)
    assert float(found.epar.value) == pytest.approx(4.5)
    assert float(found.par.value) == pytest.approx(4.0)


@pytest.mark.parametrize("dark", [np.zeros(401), line(660)])
def test_light_without_colour_temperature_says_so(dark):
    found = exact(dark)
    assert found.cct_k is found.ra is None
    assert "no" in found.colour_note
    assert "cct_k" not in found.as_dict()


def test_pinkish_light_has_a_temperature_but_no_rendering_index():
    white, red = spectra.lamp("white 6500 K").value, spectra.lamp("red 660").value
    found = exact(white + 0.5 * red)
    assert found.duv is not None and float(found.duv.value) < -0.0054
    assert found.ra is None
    assert "rendering index" in found.colour_note


@pytest.mark.statistical
def test_errors_hold_over_repeated_traces():
    """30 traces know a spread to 13 % (one sigma): 55 % is beyond 4 sigma."""
    found: dict[str, list[Estimate]] = {}
    for seed in range(30):
        res = synthetic.result(seed=seed, photons=2_000, cell_m=0.03)
        cells = np.zeros(res.surfaces["soil"].n_cells)
        cells[30:40] = 1.0
        shown = light.describe(maps.spectrum(res, "soil", {"clip": 0.3}, cells))
        for name, value in shown.as_dict().items():
            found.setdefault(name, []).append(value)
    assert {"par", "pur_share", "cct_k", "duv", "blue"} <= set(found)
    for name, values in found.items():
        spread = np.std([value.value for value in values], ddof=1)
        claimed = np.sqrt(np.mean([value.std_err**2 for value in values]))
        assert claimed == pytest.approx(spread, rel=0.55), name
