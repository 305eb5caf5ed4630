"""What tables of a scene are made of: names and numbers, lists, and values of several forms."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, GetJsonSchemaHandler
from pydantic_core import core_schema

from underlit.scene.values import Compass, Number, Quantity, fault


class Table(BaseModel):
    """A table of the scene file. Unknown keys are refused; values do not change once read."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


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


Direction = Annotated[float, Compass()]


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
        return TAG + str(self.choose(value) if isinstance(value, dict) else "text")

    def _check(self, value: Any) -> Any:
        if isinstance(value, str) and "text" in self.forms:
            return value
        if not isinstance(value, dict):
            raise fault(self.expected)
        if self.choose(value) in self.forms:
            return value
        at = "shape" if "shape" in value else ""
        raise fault(self.expected, hint=_slip_of_form(value, self.forms), at=at)


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
