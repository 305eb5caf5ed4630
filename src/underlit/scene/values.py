"""Single values of a scene: how each is written in a file and what it becomes.

A quantity is written as text with its unit and becomes a plain float; a share is a bare number or a percentage; a
direction is a word or an angle. What is wrong with a value is raised as a pydantic error of type `"underlit"` whose
context holds our own words: `expected`, `hint` and `write` (the value to write instead); `faults.py` puts file, line
and key to them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from pydantic import GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from underlit import units

KIND = "kind of quantity"  # in a schema on its way to `schema.py`, which writes defaults in units by it


def fault(
    expected: str, *, hint: str = "", write: str = "", found: str = "", at: str = ""
) -> PydanticCustomError:
    """An error in our own words.

    Parameters
    ----------
    expected : str
        What belongs there: "a length between 1 cm and 20 m".
    hint : str
        A sentence on what to do.
    write : str
        The value to write instead, as it stands in the file.
    found : str
        What to quote in place of the value.
    at : str
        The key within the value that is at fault.
    """
    context = {"expected": expected, "hint": hint, "write": write, "found": found, "at": at}
    return PydanticCustomError("underlit", "{expected}", context)


@dataclass(frozen=True)
class Quantity:
    """A number with a unit, between two bounds given in words: `Quantity("length", "1 mm", "20 m", example="6
    mm")`.

    `above` in place of `low` excludes the bound itself.
    """

    kind: str
    low: str = ""
    high: str = ""
    example: str = ""
    above: str = ""

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self.read, serialization=core_schema.to_string_ser_schema()
        )

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        unit = units.KINDS[self.kind].written[0]
        return {
            "type": "string",
            "pattern": r"^\s*[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?\s*(1\s*/|[^0-9\s.]).*$",
            "description": f'{self.phrase()}, with its unit, such as "{self.example or f"1 {unit}"}"',
            KIND: self.kind,
        }

    def read(self, value: Any) -> float:
        """The number of a written quantity, checked."""
        if isinstance(value, bool) or not isinstance(value, int | float | str):
            raise fault(f"{self.phrase()} with its unit", write=f'"{self.example}"')
        if not isinstance(value, str):
            raise self._bare(value)
        try:
            number = units.parse(value, self.kind)
        except units.QuantityError as error:
            raise fault(error.what.removeprefix("expected "), hint=error.hint) from None
        if not self._holds(number):
            raise self._outside(value)
        return number

    def phrase(self) -> str:
        """What is expected: "a length between 1 mm and 20 m"."""
        article = "an" if self.kind[0] in "aeiou" else "a"
        low, high = self.low, self.high
        if self.above and high:
            return f"{article} {self.kind} above {self.above}, at most {high}"
        if low and high:
            return f"{article} {self.kind} between {low} and {high}"
        bound = f" of at least {self.low}" if self.low else f" above {self.above}" if self.above else ""
        return f"{article} {self.kind}{bound or (f' of at most {high}' if high else '')}"

    def _holds(self, number: float) -> bool:
        low = self.low or self.above
        if low and (number < (bound := self._number(low)) or (self.above and number == bound)):
            return False
        return not self.high or number <= self._number(self.high)

    def _number(self, text: str) -> float:
        return units.parse(text, self.kind)

    def _fitting(self, number: float) -> list[str]:
        """The number with each unit that puts it in bounds, nearest in size to the example first."""
        fits = []
        for unit in units.KINDS[self.kind].written:
            if unit == "in":  # as likely as not, but a guess in inches reads oddly to most
                continue
            text = units.as_written(number, unit)
            try:
                size = units.parse(text, self.kind)
            except units.QuantityError:
                continue
            if self._holds(size):
                fits.append((self._distance(size), text))
        return [text for _, text in sorted(fits, key=lambda fit: fit[0])]

    def _distance(self, size: float) -> float:
        """How many powers of ten a value is from the example."""
        usual = abs(self._number(self.example)) if self.example else 1.0
        return abs(math.log10(max(abs(size), 1e-12) / max(usual, 1e-12)))

    def _bare(self, value: float) -> PydanticCustomError:
        """A number without unit: say what was probably meant."""
        expected = f"{self.phrase()} with its unit"
        fits = self._fitting(value) if math.isfinite(value) else []
        if not fits:
            return fault(expected, write=f'"{self.example}"')
        if self.kind == "length" and fits[0].endswith(" m"):
            better = units.show(self._number(fits[0]), self.kind)
            return fault(
                expected, hint=f"The value looks like metres: {fits[0]} is {better}.", write=f'"{better}"'
            )
        return fault(expected, write=f'"{fits[0]}"')

    def _outside(self, value: str) -> PydanticCustomError:
        """A quantity out of bounds: perhaps only the unit is wrong."""
        number = float(units.leading_number(value))
        fits = [text for text in self._fitting(number) if text.split() != value.split()]
        if fits and number:
            return fault(self.phrase(), hint=f'Did you mean "{fits[0]}"?')
        return fault(self.phrase(), write=f'"{self.example}"' if self.example else "")


@dataclass(frozen=True)
class Number:
    """A bare number between two bounds; a share may also be written as "8 %"."""

    low: float = -math.inf
    high: float = math.inf
    above: bool = False  # excludes the lower bound itself
    share: bool = True

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self.read, serialization=core_schema.to_string_ser_schema()
        )

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        number: dict[str, Any] = {"type": "number"}
        if math.isfinite(self.low):
            number["exclusiveMinimum" if self.above else "minimum"] = self.low
        if math.isfinite(self.high):
            number["maximum"] = self.high
        return {"anyOf": [number, {"type": "string", "pattern": r"^[0-9.]+\s*%$"}]} if self.share else number

    def read(self, value: Any) -> float:
        """The number, checked."""
        number = value
        if isinstance(value, str) and self.share and value.strip().endswith("%"):
            try:
                number = float(value.strip()[:-1]) / 100
            except ValueError:
                raise fault(self.phrase()) from None
        if isinstance(number, bool) or not isinstance(number, int | float):
            raise fault(self.phrase(), write=self._unquoted(value))
        if not (abs(number) < 1e300 and self._holds(number)):
            raise fault(self.phrase(), hint=self._percent(number))
        return float(number)

    def phrase(self) -> str:
        """What is expected."""
        low, high = f"{self.low:,.12g}", f"{self.high:,.12g}"
        if math.isfinite(self.low) and math.isfinite(self.high):
            span = f"above {low}, at most {high}" if self.above else f"between {low} and {high}"
            return f"a bare number {span}"
        return "a finite bare number"

    def _holds(self, number: float) -> bool:
        return self.low <= number <= self.high and not (self.above and number == self.low)

    def _unquoted(self, value: Any) -> str:
        """The number inside a needlessly quoted text."""
        try:
            return f"{float(value):g}" if isinstance(value, str) and self._holds(float(value)) else ""
        except ValueError:
            return ""

    def _percent(self, number: float) -> str:
        if self.share and self.high <= 1 and 2 <= number <= 100:
            return f'A percentage is written as {number / 100:g} or "{number:g} %".'
        return ""


@dataclass(frozen=True)
class Whole:
    """A whole number between two bounds."""

    low: int
    high: int

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": "integer", "minimum": self.low, "maximum": self.high}

    def read(self, value: Any) -> int:
        """The whole number, checked."""
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or not self.low <= value <= self.high:
            raise fault(self.phrase())
        return value

    def phrase(self) -> str:
        """What is expected."""
        return f"a whole number between {self.low:,} and {self.high:,}"


DIRECTION = "direction"
_DIRECTIONS = {"right": 0.0, "back": 0.5 * math.pi, "left": math.pi, "front": 1.5 * math.pi}


@dataclass(frozen=True)
class Compass:
    """A direction seen from above, in words or as an angle."""

    kind = DIRECTION

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        angle = Quantity("angle", example="30 deg").__get_pydantic_json_schema__(schema, handler)
        return {"anyOf": [{"enum": list(_DIRECTIONS)}, {**angle, KIND: DIRECTION}]}

    def read(self, value: Any) -> float:
        """Angle from +x towards +y. [rad]"""
        if isinstance(value, str) and value.strip() in _DIRECTIONS:
            return _DIRECTIONS[value.strip()]
        try:
            return Quantity("angle", "-360 deg", "360 deg", example="30 deg").read(value)
        except PydanticCustomError:
            raise fault(
                '"left", "right", "front", "back" or an angle from the right towards the back'
            ) from None


def as_in_file(value: float, kind: str) -> str:
    """A number as a scene file has it: with its unit, or as the word for a direction."""
    words = {angle: word for word, angle in _DIRECTIONS.items()}
    return words[value] if kind == DIRECTION else units.show(value, kind)
