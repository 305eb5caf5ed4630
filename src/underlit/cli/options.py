"""Options that several commands share, and how a place is written."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from underlit.cli.values import Percent, Setting

if TYPE_CHECKING:
    from underlit.metrics.day import DimCurve
    from underlit.metrics.summary import Summary
    from underlit.results.result import Result

Command = Callable[..., Any]

result_argument = click.argument("result", type=click.Path(path_type=Path))
dim_option = click.option(
    "--dim", "dims", type=Setting(), multiple=True, help="Another setting, such as bar=60% or bar/red=0.5."
)
hours_option = click.option(
    "--hours",
    type=click.FloatRange(0, 24, min_open=True),
    help="Hours of light a day; default those of the scene.",
)
tariff_option = click.option(
    "--tariff", type=click.FloatRange(0), help="Price of a kWh; default that of the scene."
)
curve_option = click.option(
    "--curve",
    type=click.Path(path_type=Path),
    help="What your dimmer does: CSV with setting_percent,photons_percent.",
)


def form_options(command: Command) -> Command:
    """`--json` and `--csv`."""
    csv = click.option("--csv", "form", flag_value="csv", help="Print CSV, one number a line.")
    json = click.option("--json", "form", flag_value="json", help="Print JSON, with all digits and errors.")
    return json(csv(command))


class Place(click.ParamType):
    """A place in the tank, written `30, 12 cm` or `30 cm, 12 cm, 15 cm`: from the left, from the front, height."""

    name = "x, y [, z]"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, ...]:
        if isinstance(value, tuple):
            return value
        from underlit import units

        parts = [part.strip() for part in str(value).split(",")]
        unit = parts[-1].lstrip("+-0123456789. ")
        if len(parts) not in (2, 3) or not unit:
            self.fail(f"got {value!r}, expected a place such as '30, 12 cm' or '30, 12, 15 cm'.", param, ctx)
        bare = [f"{part} {unit}" if part and part[-1].isdigit() else part for part in parts]
        try:
            return tuple(units.parse(part, "length") for part in bare)
        except units.QuantityError as fault:
            self.fail(f"got {value!r}: {fault.what}", param, ctx)


class Dirt(Percent):
    """A share of light below 100 %."""

    def __init__(self) -> None:
        super().__init__(most=0.99)


def opened(path: Path) -> Result:
    """The result file."""
    from underlit.results.result import Result

    return Result.open(path)


def read_curve(path: Path | None) -> DimCurve | None:
    """The dim curve of a file, or none."""
    from underlit.metrics.day import DimCurve

    return None if path is None else DimCurve.read(path)


def full_hours(res: Result, hours: float | None) -> float | None:
    """Full hours of a day of so many hours with the scene's ramps or course; none where no hours are given."""
    from underlit.metrics.day import hours_of

    return None if hours is None else hours_of(res.scene.schedule, hours)


def put_out(summary: Summary, form: str | None) -> None:
    """Print an answer as tables, JSON or CSV."""
    from underlit.cli import tables

    if form == "json":
        click.echo(tables.as_json(summary))
    elif form == "csv":
        click.echo(tables.as_csv(summary), nl=False)
    else:
        tables.show(summary, tables.console())
