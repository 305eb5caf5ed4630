"""Ranges of values as they are typed: `fixture.bar.height=10 cm to 30 cm in 5`, `water.type=clear, tea`."""

from __future__ import annotations

import itertools
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from underlit.errors import StudyError

MOST_POINTS = 2000
LEFT_OUT = "none"  # stands for a value that the scene does not have: no lid, no film
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_RANGE = re.compile(rf"({_NUMBER})\s*(\S.*?)?\s+to\s+({_NUMBER})\s*(\S.*?)?\s+in\s+(\d+)")
_AMOUNT = re.compile(rf"\s*({_NUMBER})\s*(.*)")
_EXAMPLE = "Write `fixture.bar.height=10 cm to 30 cm in 5` or `water.type=clear, tea`."


@dataclass(frozen=True)
class Axis:
    """A value of the scene and what it is to be set to.

    Parameters
    ----------
    path : str
        In the words of the scene file, as `scene.edit.change` takes it.
    values : tuple
        As a scene file has them.
    """

    path: str
    values: tuple[Any, ...]

    @property
    def name(self) -> str:
        """The path, with the unit of the values."""
        return f"{self.path} [{self.unit}]" if self.unit else self.path

    @property
    def unit(self) -> str:
        """Unit that all values share; empty if they do not, or have none."""
        units = {_amount(value)[1] for value in self.values}
        return units.pop() if self.is_numeric and len(units) == 1 else ""

    @property
    def is_numeric(self) -> bool:
        """Whether the values can stand along a scale: numbers of one unit."""
        amounts = [_amount(value) for value in self.values]
        return all(number is not None for number, _ in amounts) and len({unit for _, unit in amounts}) == 1

    @property
    def places(self) -> np.ndarray:
        """Where the values stand along a scale: by their numbers, or else one after the other."""
        if not self.is_numeric:
            return np.arange(len(self.values), dtype=float)
        return np.array([_amount(value)[0] for value in self.values], float)


def read_axis(text: str) -> Axis:
    """A value of the scene with its range.

    Parameters
    ----------
    text : str
        `PATH=FROM to TO in N`, evenly spaced with both ends, or `PATH=VALUE, VALUE, ...`; `none` for leaving out what
        the scene does not have.

    Returns
    -------
    Axis

    Raises
    ------
    StudyError
        If it cannot be read so.

    Examples
    --------
    >>> read_axis("fixture.bar.height=10 cm to 30 cm in 3").values
    ('10 cm', '20 cm', '30 cm')
    >>> read_axis("fixture.bar.channel.red.dim=0, 0.5, 1").values
    (0, 0.5, 1)
    """
    path, equals, wanted = (part.strip() for part in text.partition("="))
    if not (path and equals and wanted):
        raise StudyError(f"`{text}` is no value with its range.", hint=_EXAMPLE)
    found = _RANGE.fullmatch(wanted)
    values = (
        _spaced(found[1], found[2], found[3], found[4], found[5], text)
        if found
        else tuple(_value(each) for each in _split(wanted))
    )
    if len(set(map(str, values))) < len(values):
        raise StudyError(f"`{text}` has a value twice.")
    return Axis(path, values)


def grid(axes: Sequence[Axis]) -> list[dict[str, Any]]:
    """Every combination of the values, the last axis running fastest.

    Raises
    ------
    StudyError
        If two axes move one value, or there are too many points.
    """
    paths = [axis.path for axis in axes]
    if len(set(paths)) < len(paths):
        raise StudyError("two of the ranges move the same value.")
    points = int(np.prod([len(axis.values) for axis in axes]))
    if points > MOST_POINTS:
        raise StudyError(f"these are {points:,} scenes, more than {MOST_POINTS:,}.", hint="Take fewer steps.")
    return [dict(zip(paths, each, strict=True)) for each in itertools.product(*(a.values for a in axes))]


def _spaced(
    low: str, unit: str | None, high: str, other: str | None, count: str, text: str
) -> tuple[Any, ...]:
    if unit and other and unit != other:
        raise StudyError(f"`{text}` runs from one unit to another.", hint=_EXAMPLE)
    if not 2 <= int(count) <= MOST_POINTS:
        raise StudyError(f"`{text}` has {count} steps, expected 2 to {MOST_POINTS}.")
    unit = unit or other or ""
    numbers = [float(f"{value:.6g}") for value in np.linspace(float(low), float(high), int(count))]
    return tuple(f"{number:g} {unit}" if unit else number for number in numbers)


def _split(text: str) -> list[str]:
    """Parts between commas that stand in no bracket or quotes."""
    parts, depth, quote = [""], 0, ""
    for sign in text:
        if quote:
            quote = "" if sign == quote else quote
        elif sign in "\"'":
            quote = sign
        depth += 0 if quote else (sign in "[{") - (sign in "]}")
        if sign == "," and not depth and not quote:
            parts.append("")
        else:
            parts[-1] += sign
    return [part.strip() for part in parts]


def _value(text: str) -> Any:
    """A number, truth, list or table as TOML has it; anything else is a text."""
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        if not text:
            raise StudyError("there is an empty value between the commas.", hint=_EXAMPLE) from None
        return text


def _amount(value: Any) -> tuple[float | None, str]:
    """Number and unit of a value; None for what has no number."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value), ""
    found = _AMOUNT.fullmatch(value) if isinstance(value, str) else None
    return (float(found[1]), found[2].strip()) if found else (None, "")
