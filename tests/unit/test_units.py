"""Quantities with their units, against pint's own full registry."""

import math
import subprocess
import sys

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlit import units
from underlit.units import KINDS, QuantityError, parse, show

FULL = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("text", "kind", "by"),
    [
        ("60 cm", "length", "m"),
        ("24 in", "length", "m"),
        ("2 ft", "length", "m"),
        ("6mm", "length", "m"),
        (" 1.5e2  mm ", "length", "m"),
        ("30 deg", "angle", "rad"),
        ("0.5 rad", "angle", "rad"),
        ("660 nm", "wavelength", "nm"),
        ("30 min", "time", "h"),
        ("1.2 kW", "power", "W"),
        ("14.4 umol/s", "photon flux", "umol/s"),
        ("14.4 µmol/s", "photon flux", "umol/s"),
        ("2.2 umol/J", "photon efficacy", "umol/J"),
        ("85 umol/m^2/s", "photon flux density", "umol/m^2/s"),
        ("85 umol m^-2 s^-1", "photon flux density", "umol/m^2/s"),
        ("77 degF", "temperature", "degC"),
        ("298.15 K", "temperature", "degC"),
        ("6500 K", "colour temperature", "K"),
        ("0.3 m^-1", "absorption", "1/m"),
        ("0.015 1/nm", "spectral slope", "1/nm"),
        ("20 ug/L", "concentration", "mg/m^3"),
    ],
)
def test_agrees_with_the_full_registry(text, kind, by):
    number, unit = text.split(None, 1) if " " in text.strip() else (text[:-2], text[-2:])
    expected = (
        FULL.Quantity(float(number), FULL.parse_units(unit.strip().replace("^", "**"))).to(by).magnitude
    )
    assert parse(text, kind) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("0.3 /m", "absorption", 0.3),
        ("0.3 m-1", "absorption", 0.3),
        ('24"', "length", 0.6096),
        ("30°", "angle", math.radians(30)),
        ("25 °C", "temperature", 25.0),
        ("900 lm", "luminous flux", 900.0),
        ("60 cm", "length", 0.6),
    ],
)
def test_other_ways_to_write(text, kind, expected):
    assert parse(text, kind) == pytest.approx(expected, rel=1e-14)


def test_units_known_without_pint_are_as_large_as_pint_says():
    known = [(unit, kind) for kind in KINDS.values() for unit in kind.written if unit in units.SIZES]
    assert {unit for unit, _ in known} == set(units.SIZES)
    for unit, kind in known:
        size = FULL.Quantity(1.0, unit.replace("^", "**")).to(kind.unit.replace("^", "**")).magnitude
        assert units.SIZES[unit] == pytest.approx(size, rel=1e-15)


def test_decimal_lengths_are_exact():
    """60 cm is 0.6 m to the last bit, as a user would compare it; plain multiplication by 0.01 does not give that."""
    for number in range(1, 1000):
        assert parse(f"{number} mm", "length") == number / 1000


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("60", "length", r'(?s)a length with its unit.*Write "60 cm"'),
        ("60,5 cm", "length", r'(?s)decimal point.*Write "60.5 cm"'),
        ("60 W", "length", r"'W' is a power"),
        ("2 lm/W", "photon efficacy", r"'lm/W' is of another kind"),
        ("60 cmm", "length", r"did you mean 'mm'"),
        ("sixty cm", "length", r"a number and its unit"),
        ("", "length", r"a number and its unit"),
        ("nan cm", "length", r"a number and its unit"),
        ("1e999 cm", "length", r"a finite length"),
        ("9**9**9 cm", "length", r"not a unit"),
        ("9 cm**99", "length", r"not a unit"),
        ("9 cm" * 50, "length", r"a text of 200 characters"),
        ("9 __import__('os')", "length", r"not a unit"),
    ],
)
def test_what_is_no_quantity(text, kind, said):
    with pytest.raises(QuantityError, match=said):
        parse(text, kind)


@given(st.text(max_size=80), st.sampled_from(sorted(KINDS)))
def test_any_text_is_read_or_refused(text, kind):
    try:
        assert math.isfinite(parse(text, kind))
    except QuantityError as error:
        assert error.what


@given(
    st.floats(-1e6, 1e6, allow_nan=False),
    st.sampled_from([kind for kind in sorted(KINDS) if kind != "temperature"]),
)
def test_what_is_shown_can_be_read(value, kind):
    assert parse(show(value, kind), kind) == pytest.approx(value, rel=1e-5, abs=1e-300)


def test_lengths_are_shown_in_the_trade_s_units():
    assert [show(metres, "length") for metres in (0.006, 0.6, 2.5, 0.0)] == ["6 mm", "60 cm", "2.5 m", "0 cm"]


def test_pint_is_not_loaded_with_the_module():
    code = "import sys, underlit.units; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_every_kind_has_a_sample_that_it_reads():
    for kind in KINDS.values():
        assert parse(f"{units._SAMPLES[kind.name]} {kind.written[0]}", kind.name) > 0
