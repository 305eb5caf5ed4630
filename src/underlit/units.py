"""Quantities written with their unit: `"60 cm"`, `"2.2 umol/J"`, `"25 degC"`.

The unit expressions are read by pint, with a registry of our own that holds only the units of the trade, so
that it is ready in milliseconds. The units written most are known without pint, whose import takes a tenth of a second:
most scenes hold no others.

Kind of quantity, the unit its numbers are kept in, and how such a value is written:

length m, angle rad, wavelength nm, time h, power W, photon flux umol/s, photon efficacy umol/J, luminous flux
lm, temperature degC, colour temperature K, absorption 1/m, spectral slope 1/nm, concentration mg/m^3, photon
flux density umol/m^2/s.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from functools import cache

from underlit.errors import UnderlitError

_DEFINITIONS = """
meter = [length] = m = metre = meters = metres
second = [time] = s = sec = seconds
gram = [mass] = g
mole = [substance] = mol
radian = [angle] = rad = radians
kelvin = [temperature]; offset: 0 = K
lumen = [luminous_flux] = lm = lumens
micro- = 1e-6 = u- = µ- = μ-
nano- = 1e-9 = n-
milli- = 1e-3 = m-
centi- = 1e-2 = c-
kilo- = 1e3 = k-
inch = 0.0254 * meter = in = inches
foot = 0.3048 * meter = ft = feet
degree = 0.017453292519943295 * radian = deg = degrees = °
degree_Celsius = kelvin; offset: 273.15 = degC = celsius = °C
degree_Fahrenheit = 0.5555555555555556 * kelvin; offset: 255.3722222222222 = degF = fahrenheit = °F
minute = 60 * second = min = minutes
hour = 3600 * second = h = hours
day = 86400 * second = d = days
litre = 1e-3 * meter ** 3 = L = l = liter
watt = 1000 * gram * meter ** 2 / second ** 3 = W = watts
joule = watt * second = J
"""


@dataclass(frozen=True)
class Kind:
    """One kind of quantity: its name, the unit its numbers are kept in, units to write it in, best first."""

    name: str
    unit: str
    written: tuple[str, ...]


_KINDS = (
    Kind("length", "m", ("cm", "mm", "m", "in")),
    Kind("angle", "rad", ("deg", "rad")),
    Kind("wavelength", "nm", ("nm",)),
    Kind("time", "h", ("h", "min")),
    Kind("power", "W", ("W",)),
    Kind("photon flux", "umol/s", ("umol/s",)),
    Kind("photon efficacy", "umol/J", ("umol/J",)),
    Kind("photon flux density", "umol/m^2/s", ("umol/m^2/s",)),
    Kind("luminous flux", "lm", ("lm",)),
    Kind("temperature", "degC", ("degC", "degF")),
    Kind("colour temperature", "K", ("K",)),
    Kind("absorption", "1/m", ("1/m",)),
    Kind("spectral slope", "1/nm", ("1/nm",)),
    Kind("concentration", "mg/m^3", ("mg/m^3", "ug/L")),
)
KINDS = {kind.name: kind for kind in _KINDS}
# How large units are in those that their kind is kept in.
SIZES = {"cm": 0.01, "mm": 0.001, "in": 0.0254, "deg": math.pi / 180.0, "min": 1.0 / 60.0, "ug/L": 1.0}

_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(.*?)\s*", re.DOTALL)
# Only what a unit needs, and one-digit powers: pint evaluates the expression, so nothing big may reach it.
_FACTOR = r"[A-Za-zµμ°_]+(?:\s*(?:\*\*|\^)\s*-?\d|-\d)?"
_UNIT = re.compile(rf"(?:1?\s*/\s*)?{_FACTOR}(?:\s*[/*· ]\s*{_FACTOR}){{0,4}}")
_LONGEST = 60  # characters; no quantity needs more


class QuantityError(UnderlitError):
    """A text that is not a quantity of the kind asked for."""


@cache
def registry():
    """The unit registry, built at first use.

    Returns
    -------
    pint.UnitRegistry
    """
    import pint

    made: pint.UnitRegistry = pint.UnitRegistry(None)
    made.load_definitions(_DEFINITIONS.strip().splitlines())
    return made


def parse(text: str, kind: str) -> float:
    """Number of a quantity written with its unit, in the unit its kind is kept in.

    Parameters
    ----------
    text : str
        As `"60 cm"`.
    kind : str
        A key of `KINDS`.

    Returns
    -------
    float
        Finite. [`KINDS[kind].unit`]

    Raises
    ------
    QuantityError
        No number, no unit, an unknown unit, one of another kind, or not finite.

    Examples
    --------
    >>> parse("24 in", "length")
    0.6096
    """
    wanted = KINDS[kind]
    number, unit = _split(text, wanted)
    size = _size(unit, wanted)
    value = _read(number, unit, text, wanted) if size is None else number * size
    # Powers of ten are not exact in binary: 60 cm must be 0.6, not 0.6000000000000001.
    value = float(f"{value:.15g}")
    if not math.isfinite(value):
        raise QuantityError(f"expected a finite {kind}")
    return value


def show(value: float, kind: str) -> str:
    """A quantity as a person would write it, such as `"8 mm"`.

    Parameters
    ----------
    value : float
        In the unit of the kind.
    kind : str
        A key of `KINDS`.
    """
    units = KINDS[kind].written
    if kind == "length":
        size = abs(value)
        units = ("mm",) if 0 < size < 0.01 else ("cm",) if size < 2 else ("m",)
    return f"{value / SIZES.get(units[0], 1.0):.6g} {units[0]}"


def as_written(number: float, unit: str) -> str:
    """Number and unit as text, without needless digits."""
    return f"{number:.10g} {unit}"


def _split(text: str, kind: Kind) -> tuple[float, str]:
    """Number and unit text of a quantity."""
    if len(text) > _LONGEST:
        raise QuantityError(
            f"expected {_a(kind.name)}, got a text of {len(text)} characters", hint=_such_as(kind)
        )
    found = _NUMBER.fullmatch(text)
    if not found:
        raise QuantityError(f"expected {_a(kind.name)}: a number and its unit", hint=_such_as(kind))
    number, unit = found.groups()
    if re.match(r",\d", unit):
        raise QuantityError(
            "expected a decimal point, not a comma", hint=f'Write "{text.strip().replace(",", ".")}".'
        )
    if not unit:
        raise QuantityError(
            f"expected {_a(kind.name)} with its unit", hint=f'Write "{number} {kind.written[0]}".'
        )
    return float(number), {'"': "in", "''": "in", "'": "ft"}.get(unit, unit)


def _size(unit: str, kind: Kind) -> float | None:
    """How large a unit is in that of its kind; None where pint has to tell."""
    if unit == kind.unit:
        return 1.0
    return SIZES.get(unit) if unit in kind.written else None


def _read(number: float, unit: str, text: str, kind: Kind) -> float:
    """Number in the unit of its kind, as pint reads the unit."""
    of = _unit(unit, text, kind)
    if of.dimensionality != _dimensions(kind.unit):
        raise QuantityError(f"expected {_a(kind.name)}, but {unit!r} is {_kind_of(of)}", hint=_such_as(kind))
    return registry().Quantity(number, of).to(_spelled(kind.unit)).magnitude


def _unit(unit: str, text: str, kind: Kind):
    """The pint unit of a unit text."""
    import pint

    if _UNIT.fullmatch(unit):
        try:
            return registry().parse_units(_spelled(unit))
        except (pint.PintError, TypeError, ValueError, AttributeError, KeyError):
            pass
    near = difflib.get_close_matches(unit, _names(), n=1, cutoff=0.6)
    guess = f" (did you mean {near[0]!r}?)" if near else ""
    raise QuantityError(
        f"expected {_a(kind.name)}, but {unit!r} is not a unit known here{guess}", hint=_such_as(kind)
    )


@cache
def _names() -> tuple[str, ...]:
    return (*(unit for kind in _KINDS for unit in kind.written), "ft", "umol", "degC", "min")


def _spelled(unit: str) -> str:
    """The unit in pint's spelling: `/m`, `m-1` and `m^-1` are all 1/m."""
    unit = re.sub(r"(?<=[A-Za-z])-(?=\d)", "**-", re.sub(r"^\s*/", "1/", unit))
    return unit.replace("^", "**").replace("·", "*").replace("°C", "degC").replace("°F", "degF")


@cache
def _dimensions(unit: str):
    return registry().parse_units(_spelled(unit)).dimensionality


def _kind_of(unit) -> str:
    """What kind of quantity a unit is of, with its article."""
    for kind in _KINDS:
        if unit.dimensionality == _dimensions(kind.unit):
            return _a(kind.name)
    return "of another kind"


def _a(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def _such_as(kind: Kind) -> str:
    units = " or ".join(f'"{_SAMPLES[kind.name]} {unit}"' for unit in kind.written[:1])
    return f"Write the number and its unit, such as {units}."


_SAMPLES = {
    "length": "60", "angle": "30", "wavelength": "660", "time": "8", "power": "12", "photon flux": "20",
    "photon efficacy": "2.2", "photon flux density": "85", "luminous flux": "900", "temperature": "25",
    "colour temperature": "6500", "absorption": "0.3", "spectral slope": "0.015", "concentration": "20",
}  # fmt: skip


def leading_number(text: str) -> str:
    """The number that a quantity's text starts with."""
    found = _NUMBER.fullmatch(text)
    return found.group(1) if found else "0"
