"""How options are written: `3%`, `20e6`, `bar=60%`."""

from __future__ import annotations

import math
from typing import Any

import click


class Percent(click.ParamType):
    """A share, written `3%` or `0.03`."""

    name = "percent"

    def __init__(self, most: float = math.inf) -> None:
        self.most = most

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float):
            return value
        text = str(value).strip()
        try:
            share = float(text.removesuffix("%")) / (100 if text.endswith("%") else 1)
        except ValueError:
            share = math.nan
        if not 0 <= share <= self.most:
            most = f" up to {100 * self.most:g}%" if math.isfinite(self.most) else ""
            self.fail(f"got {text!r}, expected a percentage{most}, such as 3%.", param, ctx)
        return share


class Count(click.ParamType):
    """A whole number, written `2000000`, `2_000_000`, `2e6` or `2M`."""

    name = "count"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        text = str(value).strip()
        factor = {"k": 1e3, "M": 1e6, "G": 1e9}.get(text[-1:], 1.0)
        try:
            number = float(text if factor == 1.0 else text[:-1]) * factor
        except ValueError:
            number = math.nan
        if not (1 <= number <= 1e15 and number == int(number)):
            self.fail(f"got {text!r}, expected a whole number above 0, such as 20e6 or 20M.", param, ctx)
        return int(number)


class Setting(click.ParamType):
    """A dim setting of a fixture or channel, written `bar=60%` or `bar/red=0.6`."""

    name = "name=percent"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, float]:
        if isinstance(value, tuple):
            return value
        name, equals, percent = str(value).rpartition("=")
        if not (name.strip() and equals):
            self.fail(f"got {value!r}, expected a fixture or channel and its setting: bar=60%.", param, ctx)
        return name.strip(), Percent().convert(percent, param, ctx)
