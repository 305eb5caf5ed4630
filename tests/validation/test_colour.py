"""Colour figures and lamp spectra against colour-science and published CIE values."""

from __future__ import annotations

import importlib.resources

import numpy as np
import pytest

from underlit.errors import StudyError
from underlit.metrics import colour as ours
from underlit.spectra import GRID_NM, lamp, led, read_spectrum, white
from underlit.spectra.observer import planckian, planckian_xy

colour = pytest.importorskip("colour")

pytestmark = pytest.mark.validation

# x, y, CCT [K], Duv, Ra: computed apart with colour-science 0.4.7 and luxpy 1.12.5 from 5 nm sums. CCT of
# LED-B2..B5 agree with those published (2998, 4103, 5109, 6598 K).
CIE = {
    "A": (0.4476, 0.4074, 2855.5, 0.0000, 100.0),
    "D65": (0.3127, 0.3290, 6502.7, 0.0032, 100.0),
    "FL1": (0.3131, 0.3371, 6428.2, 0.0071, 75.85),
    "FL2": (0.3721, 0.3751, 4224.5, 0.0018, 64.23),
    "FL4": (0.4402, 0.4031, 2938.0, -0.0008, 51.48),
    "FL7": (0.3129, 0.3292, 6494.8, 0.0032, 90.21),
    "FL11": (0.3805, 0.3769, 3998.6, 0.0001, 82.86),
    "FL12": (0.4370, 0.4042, 2999.6, 0.0000, 83.06),
    "LED-B1": (0.4560, 0.4078, 2733.3, -0.0007, 81.79),
    "LED-B2": (0.4357, 0.4012, 2997.7, -0.0010, 82.79),
    "LED-B3": (0.3756, 0.3723, 4102.8, -0.0007, 84.84),
    "LED-B4": (0.3422, 0.3502, 5109.3, 0.0005, 76.85),
    "LED-B5": (0.3118, 0.3236, 6597.7, 0.0009, 80.28),
    "LED-BH1": (0.4474, 0.4066, 2851.3, -0.0003, 91.81),
    "LED-RGB1": (0.4557, 0.4211, 2840.2, 0.0043, 57.39),
    "LED-V1": (0.4547, 0.4044, 2723.9, -0.0019, 95.33),
    "LED-V2": (0.3781, 0.3775, 4069.9, 0.0010, 95.70),
}


@pytest.mark.parametrize("name", CIE)
def test_cie_illuminants(name):
    x, y, cct_k, duv, ra = CIE[name]
    light = lamp(name)
    np.testing.assert_allclose(ours.xy(light), [x, y], atol=3e-4)
    got_cct, got_duv = ours.cct_duv(light)
    assert got_cct == pytest.approx(cct_k, rel=1.5e-3)
    assert got_duv == pytest.approx(duv, abs=2e-4)
    assert ours.cri_ra(light, duv_limit=0.01) == pytest.approx(ra, abs=0.5)


PUBLISHED_RA = (76, 64, 57, 51, 72, 59, 90, 95, 90, 81, 83, 83)


@pytest.mark.parametrize(("number", "ra"), enumerate(PUBLISHED_RA, 1))
def test_published_rendering_of_fluorescent_lamps(number, ra):
    """Whole numbers of CIE 15 (from memory)."""
    assert ours.cri_ra(lamp(f"FL{number}"), duv_limit=0.02) == pytest.approx(ra, abs=0.75)


def test_rendering_against_luxpy():
    """luxpy (GPL, tests only) does not import with every numpy; its Ra averages whole numbers, hence 0.4."""
    try:
        import luxpy
    except Exception as error:
        pytest.skip(f"luxpy does not import here: {error!r}")
    light = lamp("LED-B3").watts()
    spd = np.vstack([GRID_NM, light.value])
    assert ours.cri_ra(light) == pytest.approx(float(luxpy.cri.spd_to_ciera(spd)), abs=0.4)


def test_no_rendering_index_far_from_white():
    """CIE 13.3 allows one within |Duv| 0.0054: FL1 lies at 0.0071."""
    with pytest.raises(StudyError, match=r"Duv \+0.0072 at 64\d\d K is beyond 0.0054"):
        ours.cri_ra(lamp("FL1"))
    figures = ours.describe(lamp("FL1"))
    assert figures.ra is None
    assert "beyond 0.0054" in figures.ra_note
    assert ours.describe(lamp("FL2")).ra == pytest.approx(64.2, abs=0.1)


@pytest.mark.parametrize("name", ["blue 450", "green 525", "red 660"])
def test_single_colours_have_no_colour_temperature(name):
    with pytest.raises(StudyError, match="no colour temperature"):
        ours.cct_duv(lamp(name))


@pytest.mark.parametrize("cct_k", [2700, 3000, 4000, 5000, 6500, 10000])
def test_white_leds_come_out_as_named(cct_k):
    """Our own Planckian locus and mixture, judged by colour-science (Ohno 2014)."""
    figures = ours.describe(white(cct_k))
    assert figures.cct_k == pytest.approx(cct_k, rel=1e-3)
    assert abs(figures.duv) < 1e-4
    assert 80 <= figures.ra <= 90
    shifted = ours.cct_duv(white(cct_k, duv=0.004))
    assert shifted == pytest.approx((cct_k, 0.004), rel=2e-3, abs=1e-4)


@pytest.mark.parametrize("cct_k", [2000.0, 2856.0, 6500.0, 15000.0])
def test_black_body_against_colour_science(cct_k):
    """Planck's law; colour-science uses c2 = 1.4388e-2 m K, we the exact SI value."""
    body = colour.sd_blackbody(cct_k, colour.SpectralShape(380, 780, 1))
    np.testing.assert_allclose(planckian(cct_k), body.values / body.values.max(), rtol=2e-4)
    uv = colour.temperature.CCT_to_uv([cct_k, 0.0], method="Ohno 2013")
    np.testing.assert_allclose(planckian_xy(cct_k), colour.UCS_uv_to_xy(uv), atol=1.2e-4)


@pytest.mark.parametrize("cct_k", [4000, 5003, 6504, 10000])
def test_daylight_against_colour_science(cct_k):
    """CIE 015:2018, D series without rounding of M1 and M2."""
    from underlit.spectra.cie import daylight, daylight_xy

    xy = colour.temperature.CCT_to_xy_CIE_D(cct_k)
    np.testing.assert_allclose(daylight_xy(cct_k), xy, atol=1e-12)
    theirs = colour.sd_CIE_illuminant_D_series(xy, M1_M2_rounding=False)
    mine = daylight(cct_k)
    np.testing.assert_allclose(mine.value, theirs[mine.wavelength_nm], rtol=1e-9)


@pytest.mark.parametrize(("peak", "width"), [(450, 19), (525, 32), (660, 19)])
def test_led_line_against_colour_science(peak, width):
    """Ohno 2005; its parameter is the width over 0.9216, so that ours is the full width at half maximum."""
    shape = colour.SpectralShape(380, 780, 1)
    theirs = colour.colorimetry.sd_single_led_Ohno2005(peak, half_spectral_width=width / 0.92164, shape=shape)
    mine = led(peak, width).watts().value
    np.testing.assert_allclose(mine / mine.max(), theirs.values / theirs.values.max(), atol=2e-4)


def test_screen_colours():
    """sRGB (IEC 61966-2-1): D65 is white, a warm lamp yellow, single colours their own."""
    np.testing.assert_allclose(ours.srgb(lamp("D65")), [1, 1, 1], atol=0.005)
    red, green, blue = ours.srgb(np.stack([lamp(n).value for n in ("red 630", "green 525", "blue 450")]))
    assert (red.argmax(), green.argmax(), blue.argmax()) == (0, 1, 2)
    warm = ours.srgb(lamp("warm white 3000 K"))
    assert warm[0] == pytest.approx(1.0)
    assert warm[0] > warm[1] > warm[2]


def test_darkness_has_no_colour():
    with pytest.raises(StudyError, match="no light"):
        ours.xy(np.zeros(401))


def test_tm27_as_written_by_colour_science(tmp_path):
    """A file written by colour-science (ANSI/IES TM-27-14 classes) reads back with the same numbers."""
    nm = np.arange(380, 781, 5)
    value = 1.0 + np.sin(nm / 37.0) ** 2
    path = str(tmp_path / "lamp.spdx")
    spectrum = colour.SpectralDistribution_IESTM2714(
        path, data=dict(zip(nm, value, strict=True)), spectral_quantity="flux"
    )
    spectrum.write()
    light = read_spectrum(path)
    np.testing.assert_array_equal(light.wavelength_nm, nm)
    np.testing.assert_allclose(light.value, value, rtol=1e-10)


def test_tm27_sample_carried_by_colour_science():
    folder = importlib.resources.files("colour") / "examples" / "io" / "resources"
    path = folder / "TM27 Sample Spectral Data.spdx"
    if not path.is_file():
        pytest.skip("this colour-science carries no TM-27 sample")
    theirs = colour.SpectralDistribution_IESTM2714(str(path)).read()
    mine = read_spectrum(path)
    np.testing.assert_allclose(mine.wavelength_nm, theirs.wavelengths)
    np.testing.assert_allclose(mine.value, theirs.values)
