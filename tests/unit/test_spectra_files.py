"""Lamp spectra from files."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from underlit.errors import DataError
from underlit.spectra import Spectrum, read_spectrum

NM = np.arange(380, 781, 5)
VALUE = np.exp(-(((NM - 550) / 80.0) ** 2))
TM27 = """<?xml version="1.0" encoding="UTF-8"?>
<IESTM2714 xmlns="iestm2714" version="1.0"><Header><Description>test</Description></Header>
<SpectralDistribution><SpectralQuantity>{quantity}</SpectralQuantity>{data}</SpectralDistribution></IESTM2714>"""


def write(path, nm, value, separator=","):
    path.write_text("\n".join(f"{a}{separator}{b}" for a, b in zip(nm, value, strict=True)))
    return path


def tm27(data, quantity="relative"):
    points = "".join(f'<SpectralData wavelength="{nm}">{value}</SpectralData>' for nm, value in data)
    return TM27.format(quantity=quantity, data=points)


def test_table_in_watts_and_in_photons_differ_by_wavelength(tmp_path):
    path = write(tmp_path / "lamp.csv", NM, VALUE)
    watts, photons = read_spectrum(path, "W/nm"), read_spectrum(path, "photons/nm")
    ratio = watts.photons().value / photons.photons().value
    np.testing.assert_allclose(ratio / ratio[0], NM / NM[0], rtol=1e-12)


def test_descending_order_is_turned_round(tmp_path):
    light = read_spectrum(write(tmp_path / "lamp.csv", NM[::-1], VALUE[::-1], "\t"), "W/nm")
    np.testing.assert_array_equal(light.wavelength_nm, NM)
    np.testing.assert_allclose(light.value, VALUE)


@pytest.mark.parametrize("baseline", [0.05, (700.0, 780.0)])
def test_baseline_is_taken_off(tmp_path, baseline):
    bright = np.where(NM < 700, VALUE, 0.0)
    light = read_spectrum(write(tmp_path / "lamp.csv", NM, bright + 0.05), "W/nm", baseline)
    np.testing.assert_allclose(light.value, bright, atol=1e-12)


def test_noise_below_zero_is_cut_and_said_and_worse_is_refused(tmp_path):
    noisy = np.where(NM < 400, -0.01, VALUE)
    light = read_spectrum(write(tmp_path / "lamp.csv", NM, noisy), "W/nm")
    assert light.value.min() == 0.0
    assert "below zero" in light.notes[0]
    with pytest.raises(DataError, match="far below zero"):
        read_spectrum(write(tmp_path / "bad.csv", NM, np.where(NM < 400, -0.5, VALUE)), "W/nm")


@pytest.mark.parametrize(
    ("text", "quantity", "match"),
    [
        ("400,1\n500,1\n", None, "no quantity for a spectrum file, expected `W/nm` or `photons/nm`"),
        ("400,1\n500,1\n", "lux", "got quantity `lux`"),
        ("0.4,1\n0.5,1\n", "W/nm", "micrometres"),
        ("400,1,2\n500,1,2\n", "W/nm", "got 3 columns, expected two"),
        ("400,1\n500,1\n450,1\n", "W/nm", "must increase"),
        ("400,1\nx,1\n", "W/nm", "expected a number"),
    ],
)
def test_broken_tables(tmp_path, text, quantity, match):
    path = tmp_path / "lamp.csv"
    path.write_text(text)
    with pytest.raises(DataError, match=match):
        read_spectrum(path, quantity)


def test_no_reading_in_the_baseline_range(tmp_path):
    with pytest.raises(DataError, match="no readings in the baseline range"):
        read_spectrum(write(tmp_path / "lamp.csv", NM, VALUE), "W/nm", (900.0, 950.0))


@pytest.mark.parametrize("name", ["lamp.xml", "lamp.spdx"])
def test_tm27(tmp_path, name):
    path = tmp_path / name
    path.write_text(tm27([(500, 2.0), (400, 1.0), (700, 0.5)]))
    light = read_spectrum(path)
    assert light.kind == "watts"
    np.testing.assert_array_equal(light.wavelength_nm, [400, 500, 700])
    np.testing.assert_array_equal(light.value, [1.0, 2.0, 0.5])


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("<a>", "not well-formed"),
        ("<lamp/>", "`lamp`, expected an IES TM-27"),
        (tm27([(400, 1), (500, 1)], "transmittance"), "`transmittance`, expected the light of a lamp"),
        (tm27([(400, 1)]), "no spectral data"),
        (tm27([(400, 1), (500, "x")]), "lacks its wavelength or its number"),
        ('<!DOCTYPE a [<!ENTITY b "c">]><IESTM2714/>', "document type"),
    ],
)
def test_broken_tm27(tmp_path, text, match):
    path = tmp_path / "lamp.xml"
    path.write_text(text)
    with pytest.raises(DataError, match=match):
        read_spectrum(path)


def test_tm27_states_its_own_quantity(tmp_path):
    path = tmp_path / "lamp.xml"
    path.write_text(tm27([(400, 1), (700, 1)]))
    with pytest.raises(DataError, match="leave out `quantity`"):
        read_spectrum(path, "photons/nm")


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cut=st.integers(0, 400), junk=st.binary(max_size=6), suffix=st.sampled_from([".csv", ".xml"]))
def test_mutated_files_give_a_spectrum_or_a_clear_error(tmp_path, cut, junk, suffix):
    good = tm27(zip(NM, VALUE, strict=True)) if suffix == ".xml" else "\n".join(f"{nm},1" for nm in NM)
    raw = good.encode()
    path = tmp_path / f"lamp{suffix}"
    path.write_bytes(raw[:cut] + junk + raw[cut + len(junk) :])
    try:
        light = read_spectrum(path, None if suffix == ".xml" else "W/nm").normalised()
    except DataError as error:
        assert error.what
    else:
        assert isinstance(light, Spectrum)
        assert light.value.sum() == pytest.approx(1.0)
