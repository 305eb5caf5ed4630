"""Photons, lumens and action spectra against outside references.

Illuminants come from colour-science (BSD); published figures are named beside each test.
"""

from __future__ import annotations

import numpy as np
import pytest

from underlit.constants import KM_LM_PER_W, UMOL_PER_J_NM
from underlit.errors import DataError, StudyError
from underlit.metrics import photons
from underlit.spectra import GRID_NM, Spectrum, lamp, lumens_per_umol, max_efficacy_umol_per_J, weighting
from underlit.spectra.observer import observer

pytestmark = pytest.mark.validation


def line_at(nm: int) -> np.ndarray:
    """One umol s-1 at one wavelength."""
    return np.equal(GRID_NM, nm).astype(float)


# --- constants and V(lambda) -----------------------------------------------------------------------------


def test_photons_per_joule_against_codata():
    """lambda / (h c N_A) with the constants of `scipy.constants` (CODATA)."""
    from scipy import constants

    expected = 1e-9 / (constants.h * constants.c * constants.N_A) * 1e6
    assert pytest.approx(expected, rel=1e-12) == UMOL_PER_J_NM
    np.testing.assert_allclose(UMOL_PER_J_NM * np.array([450, 555, 660]), [3.7617, 4.6394, 5.5172], atol=5e-5)


def test_eye_against_colour_science():
    """CIE 1931 observer (ISO/CIE 11664-1) at 1 nm as carried by colour-science; V is its y."""
    from colour import MSDS_CMFS

    cie = MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    inside = (cie.wavelengths >= 380) & (cie.wavelengths <= 780)
    np.testing.assert_allclose(observer(), cie.values[inside], rtol=1e-11)


def test_eye_at_published_points():
    """CIE 1924: V at 450, 550, 555, 650 nm; sum at 1 nm over 360-830 nm is 106.8569."""
    v = observer()[:, 1]
    np.testing.assert_allclose(v[[70, 170, 175, 270]], [0.038, 0.99495, 1.0, 0.107], atol=1e-6)
    assert v.sum() == pytest.approx(106.8569, abs=6e-4)


def test_luminous_efficacy_at_540_thz():
    """SI definition: 683 lm/W at 540 THz, that is 555.016 nm."""
    metres = 299_792_458.0 / 540e12
    v = np.interp(metres * 1e9, GRID_NM, observer()[:, 1])
    assert v * KM_LM_PER_W == pytest.approx(683.0, rel=5e-5)


# --- lux and photons -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("nm", "lux"), [(450, 6.900), (520, 111.56), (555, 147.22), (590, 104.83), (625, 41.964), (660, 7.552)]
)
def test_lux_per_micromole_of_one_wavelength(nm, lux):
    """683 V / photons per joule, worked out apart."""
    assert photons.illuminance_lx(line_at(nm)) == pytest.approx(lux, rel=1e-3)


LUX_PER_PPFD = {
    "A": 50.26, "D55": 56.15, "D65": 55.50, "FL2": 76.48, "FL11": 76.04, "HP1": 85.84, "LED-B1": 67.07,
    "LED-B2": 67.91, "LED-B3": 69.75, "LED-B4": 71.66, "LED-B5": 69.40, "LED-BH1": 73.27, "LED-RGB1": 60.54,
    "LED-V1": 53.08, "LED-V2": 56.57,
}  # fmt: skip


@pytest.mark.parametrize("name", LUX_PER_PPFD)
def test_lux_per_ppfd_of_cie_illuminants(name):
    """CIE 015:2018 spectra, 1 nm trapezoids, worked out apart."""
    light = lamp(name)
    assert photons.illuminance_lx(light) / photons.par(light) == pytest.approx(LUX_PER_PPFD[name], rel=3e-3)


def test_lux_per_ppfd_of_equal_energy_light():
    flat = Spectrum(GRID_NM, np.ones(401), "watts")
    assert photons.illuminance_lx(flat) / photons.par(flat) == pytest.approx(52.91, rel=3e-3)


@pytest.mark.parametrize(
    ("name", "lux", "umol_per_j"),
    [("D55", 54, 4.57), ("HP1", 82, 4.98), ("FL2", 74, 4.59), ("A", 50, 5.00)],
    ids=["sun and sky", "high-pressure sodium", "cool white fluorescent", "incandescent"],
)
def test_published_conversions(name, lux, umol_per_j):
    """Thimijan & Heins 1983, HortScience 18:818-822: lux per PPFD (+-5 %), umol per joule of PAR (+-3 %)."""
    light = lamp(name)
    band = weighting("PAR")
    assert photons.illuminance_lx(light) / photons.par(light) == pytest.approx(lux, rel=0.05)
    assert photons.par(light) / (band @ light.watts().value) == pytest.approx(umol_per_j, rel=0.03)


@pytest.mark.parametrize(
    ("name", "umol_per_j"),
    [("A", 5.013), ("D65", 4.529), ("FL2", 4.533), ("HP1", 4.904), ("LED-B1", 4.893), ("LED-B3", 4.679)],
)
def test_photons_per_joule_of_par(name, umol_per_j):
    """CIE 015:2018 spectra over 400-700 nm, worked out apart."""
    light = lamp(name)
    assert photons.par(light) / (weighting("PAR") @ light.watts().value) == pytest.approx(
        umol_per_j, rel=3e-3
    )


@pytest.mark.parametrize(
    ("name", "lm_per_w"),
    [("FL2", 336.7), ("FL11", 336.9), ("LED-B1", 311.8), ("LED-B3", 316.9), ("LED-B5", 305.2)],
)
def test_luminous_efficacy_of_radiation(name, lm_per_w):
    """lm per optical W, 380-780 nm; colour-science and luxpy agree within 0.2 %."""
    light = lamp(name)
    assert lumens_per_umol(light) * max_efficacy_umol_per_J(light) == pytest.approx(lm_per_w, rel=3e-3)


def test_no_lamp_beats_its_spectrum():
    """The limit lies between those of the shortest and the longest wavelength with light."""
    for name in ("white 6500 K", "red 660", "D65"):
        assert 380 * UMOL_PER_J_NM < max_efficacy_umol_per_J(lamp(name)) < 780 * UMOL_PER_J_NM


# --- plants ----------------------------------------------------------------------------------------------


def test_mccree_at_published_nodes():
    """McCree 1972, Tables IV (field) and III (chamber), 25 nm steps 400-700 nm."""
    nodes = np.arange(400, 701, 25)
    field = [0.42, 0.68, 0.70, 0.63, 0.65, 0.72, 0.82, 0.91, 0.97, 1.00, 0.90, 0.90, 0.48]
    chamber = [0.66, 0.76, 0.75, 0.68, 0.71, 0.74, 0.87, 0.95, 1.00, 1.00, 0.94, 0.92, 0.44]
    np.testing.assert_allclose(weighting("McCree field", nodes), field, rtol=1e-12)
    np.testing.assert_allclose(weighting("McCree chamber", nodes), chamber, rtol=1e-12)
    np.testing.assert_array_equal(weighting("YPF"), weighting("McCree field"))


@pytest.mark.parametrize(
    ("name", "field", "chamber"),
    [
        ("A", 0.8369, 0.8620),
        ("D65", 0.7857, 0.8275),
        ("FL2", 0.8256, 0.8688),
        ("LED-B1", 0.8711, 0.9002),
        ("LED-B3", 0.8389, 0.8728),
        ("LED-B5", 0.8080, 0.8460),
        ("LED-RGB1", 0.8746, 0.9015),
    ],
)
def test_mccree_share_of_par(name, field, chamber):
    """Weighted over unweighted photons of 400-700 nm, worked out apart from the same table."""
    assert photons.pur(lamp(name), "McCree field").share == pytest.approx(field, abs=0.002)
    assert photons.pur(lamp(name), "McCree chamber").share == pytest.approx(chamber, abs=0.002)


def test_yield_photon_flux_of_white_is_about_nine_tenths():
    """Sager et al. 1988, Trans. ASAE 31:1882: about 0.9 of PPFD for white lamps."""
    for name in ("white 4000 K", "LED-B3", "FL2"):
        assert photons.ypf(lamp(name)) / photons.par(lamp(name)) == pytest.approx(0.87, abs=0.05)


def test_coral_algae_have_their_published_features():
    """Wangpraseurt et al. 2014, PLoS ONE 9:e112809: maximum near 465 nm, shoulder to 540, band at 675 nm."""
    action = weighting("symbiotic algae")
    assert GRID_NM[action.argmax()] == pytest.approx(465, abs=25)
    red = (GRID_NM > 620) & (GRID_NM < 720)
    assert GRID_NM[red][action[red].argmax()] == pytest.approx(675, abs=3)
    assert 0.1 < weighting("symbiotic algae", [540.0])[0] < 0.5


@pytest.mark.parametrize(
    ("name", "blue_nm", "red_nm"), [("chlorophyll a", 434, 675), ("chlorophyll b", 470, 650)]
)
def test_pigment_peaks(name, blue_nm, red_nm):
    """Band centres of Chase et al. 2013."""
    action = weighting(name)
    red = GRID_NM > 600
    assert GRID_NM[action.argmax()] == pytest.approx(blue_nm, abs=1)
    assert GRID_NM[red][action[red].argmax()] == pytest.approx(red_nm, abs=1)


def test_usable_light_states_its_weighting():
    usable = photons.pur(line_at(450) * 3.0, "McCree field")
    assert usable.weighting == "McCree field"
    assert usable.flux == pytest.approx(3.0 * 0.70)
    assert usable.share == pytest.approx(0.70)
    assert photons.pur(line_at(750), "McCree field").share == 0.0


def test_bands_and_ratios_by_hand():
    light = 1.0 * line_at(450) + 2.0 * line_at(550) + 5.0 * line_at(660) + 4.0 * line_at(730)
    assert photons.par(light) == pytest.approx(8.0)
    assert photons.epar(light) == pytest.approx(12.0)
    split = photons.colour_split(light)
    assert [float(split[k]) for k in ("blue", "green", "red", "far red")] == pytest.approx(
        [1 / 8, 2 / 8, 5 / 8, 0.5]
    )
    assert photons.red_far_red(light) == pytest.approx(5.0 / 4.0)
    assert np.isinf(photons.red_far_red(line_at(660)))


def test_quantities_are_linear_over_stacks():
    stack = np.stack([lamp("D65").value, lamp("A").value])
    np.testing.assert_allclose(photons.par(stack), [photons.par(lamp("D65")), photons.par(lamp("A"))])
    with pytest.raises(StudyError, match="401"):
        photons.par(np.ones(5))
    with pytest.raises(DataError, match="no weighting is called"):
        photons.weighted(stack, "plants")


# --- days ------------------------------------------------------------------------------------------------


def test_daily_light_integral():
    """100 umol m-2 s-1 for 8 h is 2.88 mol m-2 d-1, by definition."""
    assert photons.dli(100.0, 8.0) == pytest.approx(2.88, rel=1e-12)


def test_ramps_count_half():
    """Integral of the trapezoid itself, by numpy."""
    hours = np.linspace(0.0, 9.0, 90_001)
    level = np.interp(hours, [0.0, 0.5, 8.5, 9.0], [0.0, 1.0, 1.0, 0.0])
    assert photons.equivalent_full_hours(9.0, 0.5) == pytest.approx(np.trapezoid(level, hours), rel=1e-9)
    with pytest.raises(StudyError, match="0-24"):
        photons.equivalent_full_hours(25.0)
    with pytest.raises(StudyError, match="at most half"):
        photons.equivalent_full_hours(8.0, 5.0)
