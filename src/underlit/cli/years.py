"""`underlit years`: running cost, fading, and when it is too dim."""

from __future__ import annotations

from pathlib import Path

import click

from underlit.cli.options import (
    Dirt,
    dim_option,
    form_options,
    full_hours,
    hours_option,
    opened,
    put_out,
    result_argument,
    tariff_option,
)


@click.command("years", short_help="Running cost, fading of the lamps, and when it is too dim.")
@result_argument
@dim_option
@hours_option
@tariff_option
@click.option(
    "--l70", type=click.FloatRange(0, min_open=True), help="Hours to 70 % of lamps that do not say."
)
@click.option(
    "--dirt", type=Dirt(), default="0%", help="Light that dirt takes between cleanings, such as 10%."
)
@form_options
def command(
    result: Path,
    dims: tuple[tuple[str, float], ...],
    hours: float | None,
    tariff: float | None,
    l70: float | None,
    dirt: float,
    form: str | None,
) -> None:
    """Print what the light costs over the years, how it fades, and when it is too dim for the plants.

    \b
      underlit years tank.h5
      underlit years tank.h5 --dim bar=66% --dirt 10%
      underlit years tank.h5 --l70 30000 --tariff 0.30
    """
    from underlit.metrics.ageing import with_l70
    from underlit.metrics.answers import years_answer

    res = opened(result)
    lamps = res if l70 is None else with_l70(res, l70)
    put_out(years_answer(lamps, dict(dims), full_hours(res, hours), tariff, dirt), form)
