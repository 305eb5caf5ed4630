"""The types of scene values: how each is written in a file and what it becomes.

A quantity is written as text with its unit and becomes a plain float; a share is a bare number or a
percentage. What is wrong with a value is raised as a pydantic error of type `"underlit"` whose context holds
our own words: `expected`, `hint` and `write` (the value to write instead); `faults.py` puts file, line and
key to them.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from underlit import units

KIND = "kind of quantity"  # in a schema on its way to `schema.py`, which writes defaults in units by it


class Table(BaseModel):
    """A table of the scene file. Unknown keys are refused; values do not change once read."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, populate_by_name=True)


def fault(expected: str, *, hint: str = "", write: str = "", found: str = "") -> PydanticCustomError:
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
    """
    context = {"expected": expected, "hint": hint, "write": write, "found": found}
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


def _name(value: Any) -> str:
    if not isinstance(value, str):
        raise fault("a text in quotes")
    text = value.strip()
    if not text or len(text) > 80 or not text.isprintable():
        raise fault("a text of 1 to 80 characters on one line")
    return text


@dataclass(frozen=True)
class _Text:
    """One line of text."""

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(_name)

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": "string", "minLength": 1, "maxLength": 80}


Text = Annotated[str, _Text()]
Share = Annotated[float, Number(0.0, 1.0)]
Amount = Annotated[float, Number(0.0, 1e9, share=False)]
Coordinate = Annotated[float, Quantity("length", "-20 m", "20 m", example="20 cm")]
Length = Annotated[float, Quantity("length", above="0 m", high="20 m", example="10 cm")]
Height = Annotated[float, Quantity("length", "0 m", "20 m", example="10 cm")]
Angle = Annotated[float, Quantity("angle", "-360 deg", "360 deg", example="30 deg")]


def derived(description: str, examples: list[Any] | None = None, **more: Any) -> Any:
    """A value worked out from others when the file does not give it (`defaults.py`): never None once read."""
    return Field(default=None, description=description, examples=examples, **more)


@dataclass(frozen=True)
class Entries:
    """Of a list: how many entries it may have, looked at before any of them is read."""

    most: int
    least: int | None = None  # as `most` when left out
    what: str = "values"

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        schema = handler(source)
        schema["strict"] = False
        return core_schema.no_info_before_validator_function(self._count, schema)

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {**handler(schema), "minItems": self._least, "maxItems": self.most}

    @property
    def _least(self) -> int:
        return self.most if self.least is None else self.least

    def _count(self, value: Any) -> Any:
        if isinstance(value, list | tuple) and not self._least <= len(value) <= self.most:
            raise fault(f"{self._number()} {self.what}", found=f"{len(value):,}")
        return value

    def _number(self) -> str:
        if self._least == self.most:
            return str(self.most)
        return f"at most {self.most}" if self._least == 0 else f"{self._least} to {self.most}"


Point = Annotated[tuple[Coordinate, Coordinate], Entries(2)]
Place = Annotated[tuple[Coordinate, ...], Entries(3, least=2)]
Spot = Annotated[tuple[Coordinate, Coordinate, Coordinate], Entries(3)]


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


Direction = Annotated[float, Compass()]


def as_in_file(value: float, kind: str) -> str:
    """A number as a scene file has it: with its unit, or as the word for a direction."""
    words = {angle: word for word, angle in _DIRECTIONS.items()}
    return words[value] if kind == DIRECTION else units.show(value, kind)


TAG = "~"  # begins the names of variants, which are no part of a fault's path


@dataclass(frozen=True, eq=False)
class OneOf:
    """A value of one of several forms, chosen by what stands in it, so that faults speak of that form alone.

    Parameters
    ----------
    choose : callable
        From a table as read to a name among the forms, or None.
    forms : dict of str to type
        Form by name; the one called "text" takes a bare text.
    expected : str
        Said when the value is of no form.
    """

    choose: Callable[[dict[str, Any]], str | None]
    forms: dict[str, Any]
    expected: str

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        forms = {TAG + name: handler.generate_schema(form) for name, form in self.forms.items()}
        union = core_schema.tagged_union_schema(forms, discriminator=self._tag)
        return core_schema.no_info_before_validator_function(self._check, union)

    def _tag(self, value: Any) -> str:
        if isinstance(value, BaseModel):
            return next(TAG + name for name, form in self.forms.items() if type(value) is form)
        return TAG + str(self.choose(value) if isinstance(value, dict) else "text")

    def _check(self, value: Any) -> Any:
        if isinstance(value, BaseModel) or (isinstance(value, str) and "text" in self.forms):
            return value
        if not isinstance(value, dict):
            raise fault(self.expected)
        if self.choose(value) in self.forms:
            return value
        shape = value.get("shape")
        found = f'shape = "{shape[:40]}"' if isinstance(shape, str) else ""
        raise fault(self.expected, hint=_slip_of_form(value, self.forms), found=found)


def _slip_of_form(table: dict[str, Any], variants: dict[str, Any]) -> str:
    """What was probably meant by a table of no known form: a misspelt shape or key."""
    shape = table.get("shape")
    if isinstance(shape, str) and (near := nearest(shape, list(variants))):
        return f'Did you mean shape = "{near}"?'
    known = {key for form in variants.values() if hasattr(form, "model_fields") for key in form.model_fields}
    slips = ((key, nearest(key, sorted(known))) for key in table if key not in known)
    return next((f"`{key}`: did you mean `{near}`?" for key, near in slips if near), "")


def nearest(word: str, known: list[str]) -> str | None:
    """The known word most like one, or None."""
    found = difflib.get_close_matches(word.lower().replace("-", "_")[:80], known, n=1, cutoff=0.62)
    return found[0] if found else None
