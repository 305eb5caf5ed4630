"""Shipped optics of water, glass, surfaces and leaves against outside references.

Sources are named beside each test. `iapws` (GPL) is a test reference only.
"""

from __future__ import annotations

import numpy as np
import pytest

from underlit.constants import N_AIR
from underlit.spectra import (
    GRID_NM,
    glass,
    leaf,
    surface_reflectance,
    water_absorption_per_m,
    water_density_kg_m3,
    water_index,
    water_types,
    weighting,
)

pytestmark = pytest.mark.validation


# --- water -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("temperature_c", [5.0, 15.0, 25.0, 35.0])
def test_index_and_density_of_water_against_iapws(temperature_c):
    """IAPWS R9-97 on IAPWS-95 density, through the package `iapws`; densities by Tanaka et al. 2001."""
    iapws = pytest.importorskip("iapws", reason="iapws is a test reference")
    kelvin = temperature_c + 273.15
    density = iapws.IAPWS95(T=kelvin, P=0.101325).rho
    expected = [iapws._iapws._Refractive(density, kelvin, nm / 1000.0) for nm in (400, 550, 589, 700, 780)]
    assert water_density_kg_m3(temperature_c) == pytest.approx(density, abs=2e-3)
    got = water_index([400, 550, 589, 700, 780], temperature_c) * N_AIR
    np.testing.assert_allclose(got, expected, atol=1e-6)


@pytest.mark.parametrize(
    ("temperature_c", "wavelength_nm", "n_vacuum"),
    [
        (0.0, 226.5, 1.394527),
        (0.0, 589.0, 1.334344),
        (0.0, 1013.98, 1.326135),
        (25.0, 226.5, 1.392778),
        (25.0, 589.0, 1.332867),
        (25.0, 1013.98, 1.324774),
    ],
)
def test_index_at_the_release_check_points(temperature_c, wavelength_nm, n_vacuum):
    """Check table of the IAPWS R9-97 release (0.1 MPa)."""
    assert water_index([wavelength_nm], temperature_c)[0] * N_AIR == pytest.approx(n_vacuum, abs=2e-6)


def test_pure_water_absorption():
    """Pope & Fry 1997, Table 3, and Smith & Baker 1981 from 730 nm; 22 degC."""
    expected = {400: 0.00663, 440: 0.00635, 450: 0.00922, 500: 0.0204, 550: 0.0565, 600: 0.2224, 650: 0.340,
                700: 0.624, 710: 0.827, 720: 1.231, 730: 1.799, 740: 2.38, 750: 2.47}  # fmt: skip
    got = water_absorption_per_m(list(expected), temperature_c=22.0)
    np.testing.assert_allclose(got, list(expected.values()), rtol=1e-12)


def test_water_is_clearest_at_418_nm():
    """Pope & Fry 1997: minimum 0.00442 1/m at 417.5 nm."""
    absorption = water_absorption_per_m(GRID_NM, temperature_c=22.0)
    assert GRID_NM[absorption.argmin()] == pytest.approx(417.5, abs=2.5)
    assert absorption.min() == pytest.approx(0.00442, abs=2e-5)


def test_pure_water_against_another_data_set():
    """Williamson & Hollins 2022 harmonised set (Open Government Licence v3.0): sets differ by up to 15 %."""
    other = {500: 0.0238, 550: 0.0588, 600: 0.2224, 650: 0.3315, 700: 0.5722, 740: 2.5319}
    got = water_absorption_per_m(list(other), temperature_c=22.0)
    np.testing.assert_allclose(got, list(other.values()), rtol=0.15)


def test_transmittance_over_40_cm():
    """exp(-a d) of the same tables, worked out apart."""
    got = np.exp(-0.40 * water_absorption_per_m([450, 550, 650, 700, 740], temperature_c=22.0))
    np.testing.assert_allclose(got, [0.9963, 0.9777, 0.8728, 0.7791, 0.3860], atol=5e-5)


def test_warm_water_absorbs_more_at_740_nm_only():
    """Sullivan et al. 2006, Roettgers et al. 2014: the effect of warmth peaks near 604 and 737 nm."""
    warm, cool = (water_absorption_per_m(GRID_NM, temperature_c=t) for t in (30.0, 20.0))
    per_degc = (warm - cool) / 10.0
    assert GRID_NM[per_degc.argmax()] == pytest.approx(737, abs=3)
    assert per_degc.max() == pytest.approx(0.0150, abs=3e-4)
    local = (GRID_NM > 590) & (GRID_NM < 620)
    assert GRID_NM[local][per_degc[local].argmax()] == pytest.approx(606, abs=3)
    assert np.abs(per_degc[GRID_NM < 550]).max() < 1e-4


@pytest.mark.parametrize(("slope", "at_400", "at_550"), [(0.014, 1.751, 0.2144), (0.018, 2.054, 0.1381)])
def test_dissolved_colour(slope, at_400, at_550):
    """a440 exp(-S (wavelength - 440)); Bricaud, Morel & Prieur 1981."""
    colour = water_absorption_per_m([400, 440, 550], 2.0, slope) - water_absorption_per_m([400, 440, 550])
    np.testing.assert_allclose(colour / 2.0, [at_400, 1.0, at_550], atol=5e-4)


@pytest.mark.parametrize("chlorophyll", [1.0, 5.0, 20.0])
def test_algae_absorption_beside_another_law(chlorophyll):
    """Bricaud et al. 1995: a(440) = 0.0403 C^0.668; ours also counts what drifts along, so is above."""
    extra = water_absorption_per_m([440.0], chlorophyll_mg_m3=chlorophyll) - water_absorption_per_m([440.0])
    assert 1.0 < extra[0] / (0.0403 * chlorophyll**0.668) < 1.6


@pytest.mark.parametrize(
    ("name", "left"),
    [
        ("pure", [0.995, 0.98, 0.82]),
        ("clear", [0.88, 0.94, 0.81]),
        ("light tea", [0.53, 0.80, 0.79]),
        ("tea", [0.18, 0.56, 0.76]),
        ("blackwater", [0.03, 0.32, 0.71]),
    ],
)
def test_presets_pass_what_the_trade_table_says(name, left):
    """Shares of 450, 525, 660 nm left at 45 cm (path 1.1 x depth), an estimate made apart from this code."""
    water = water_types()[name]
    a = water_absorption_per_m([450, 525, 660], water.a440_per_m, water.slope_per_nm, temperature_c=22.0)
    np.testing.assert_allclose(np.exp(-a * 0.45 * 1.1), left, atol=0.01)


# --- glass -----------------------------------------------------------------------------------------------


def test_index_of_float_glass():
    """Rubin 1985 by its Cauchy formula, 1.5130 - 0.003169 L^2 + 0.003962 / L^2, L in micrometres."""
    micrometres = GRID_NM / 1000.0
    cauchy = 1.5130 - 0.003169 * micrometres**2 + 0.003962 / micrometres**2
    np.testing.assert_allclose(glass("float", GRID_NM)[0], cauchy, atol=1e-4)


@pytest.mark.parametrize(
    ("name", "expected"), [("float", [5.38, 5.03, 16.2, 22.2]), ("low-iron", [1.19, 1.06, 3.46, 4.97])]
)
def test_absorption_of_glass(name, expected):
    """Rubin 1985 at 450, 550, 650, 700 nm."""
    np.testing.assert_allclose(glass(name, [450, 550, 650, 700])[1], expected, rtol=0.005)


@pytest.mark.parametrize(
    ("name", "transmittance", "reflectance"), [("float", 0.8637, 0.0779), ("low-iron", 0.9060, 0.0814)]
)
def test_pane_of_12_mm_against_tmm(name, transmittance, reflectance):
    """12 mm, 550 nm, normal incidence, n 1.523; incoherent slab by the package `tmm`, our absorption."""
    tmm = pytest.importorskip("tmm")
    a = glass(name, [550.0])[1][0]
    k = a * 550e-9 / (4.0 * np.pi)
    slab = tmm.inc_tmm("s", [1, 1.523 + 1j * k, 1], [np.inf, 0.012, np.inf], ["i", "i", "i"], 0, 550e-9)
    assert slab["T"] == pytest.approx(transmittance, abs=2e-4)
    assert slab["R"] == pytest.approx(reflectance, abs=2e-4)


def test_index_of_acrylic():
    """Zhang et al. 2020 at 450, 550, 650 nm, another set than the one shipped: sheets differ by 0.01."""
    np.testing.assert_allclose(glass("acrylic", [450, 550, 650])[0], [1.494, 1.487, 1.482], atol=0.01)


# --- surfaces and leaves ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("measured dry sand", [0.157, 0.218, 0.254]),
        ("measured wet sand", [0.090, 0.115, 0.129]),
        ("measured quartz sand", [0.382, 0.442, 0.482]),
        ("measured fresh basalt", [0.077, 0.092, 0.107]),
        ("measured weathered basalt", [0.102, 0.129, 0.145]),
        ("measured limestone", [0.158, 0.191, 0.214]),
        ("measured pine lumber", [0.225, 0.329, 0.462]),
    ],
)
def test_measured_surfaces(name, expected):
    """USGS Spectral Library Version 7 (Kokaly et al. 2017) at 450, 550, 650 nm."""
    np.testing.assert_allclose(surface_reflectance(name, [450, 550, 650]), expected, atol=6e-4)


def test_wet_sand_is_about_half_of_dry():
    """The same site dry and wet: mean ratio 0.53 over 400-700 nm (USGS v7)."""
    visible = np.arange(400, 701)
    ratio = surface_reflectance("measured wet sand", visible) / surface_reflectance(
        "measured dry sand", visible
    )
    assert ratio.mean() == pytest.approx(0.53, abs=0.02)


def test_land_leaf_absorbs_0_84_of_par():
    """Bjorkman & Demmig 1987, Planta 170:489-504: C3 leaves of many species absorb 0.84 of PAR."""
    reflectance, transmittance = leaf("land leaf", GRID_NM)
    par = weighting("PAR")
    assert par @ (1.0 - reflectance - transmittance) / par.sum() == pytest.approx(0.84, abs=0.02)


@pytest.mark.parametrize(
    ("wavelength_nm", "low", "high"),
    [(450, 0.80, 0.90), (550, 0.35, 0.60), (660, 0.75, 0.88), (730, 0.05, 0.10)],
)
def test_submersed_leaf_is_within_published_ranges(wavelength_nm, low, high):
    """Ranges of thin submersed leaves (from memory of the literature)."""
    reflectance, transmittance = leaf("submersed leaf", [wavelength_nm])
    assert low <= 1.0 - reflectance[0] - transmittance[0] <= high
