"""`underlit weeks`: a plan for the first weeks."""

from __future__ import annotations

from pathlib import Path

import click

from underlit.cli.options import (
    curve_option,
    dim_option,
    form_options,
    hours_option,
    opened,
    put_out,
    read_curve,
    result_argument,
)


@click.command("weeks", short_help="A plan for the first weeks: percent, hours, PPFD, DLI.")
@result_argument
@dim_option
@hours_option
@curve_option
@click.option(
    "--plan",
    "path",
    type=click.Path(path_type=Path),
    help="A plan of your own: CSV with week,percent,hours_less.",
)
@form_options
def command(
    result: Path,
    dims: tuple[tuple[str, float], ...],
    hours: float | None,
    curve: Path | None,
    path: Path | None,
    form: str | None,
) -> None:
    """Print settings, hours, PPFD and daily light for the first weeks of a new tank.

    \b
      underlit weeks tank.h5 --dim bar=66%          up to 66 % and the hours of the scene
      underlit weeks tank.h5 --hours 9 --curve dimmer.csv
      underlit weeks tank.h5 --plan my-plan.csv

    Settings are those meant for later. The curve says what your dimmer does: a meter held still,
    its setting in steps.
    """
    from underlit.metrics.answers import weeks_answer
    from underlit.metrics.first_weeks import plan

    res = opened(result)
    put_out(weeks_answer(plan(res, dict(dims), hours, read_curve(curve), path)), form)
