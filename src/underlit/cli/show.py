"""`underlit show`: the tables of a result."""

from __future__ import annotations

from pathlib import Path

import click

from underlit.cli.values import Setting


@click.command("show", short_help="Print the tables of a result.")
@click.argument("result", type=click.Path(path_type=Path))
@click.option(
    "--dim", "dims", type=Setting(), multiple=True, help="Another setting, such as bar=60% or bar/red=0.5."
)
@click.option("--json", "form", flag_value="json", help="Print JSON, with all digits and errors.")
@click.option("--csv", "form", flag_value="csv", help="Print CSV, one number a line.")
def command(result: Path, dims: tuple[tuple[str, float], ...], form: str | None) -> None:
    """Print the tables of a result: lamps, soil, plant zones, what to dim to, where the light ends.

    \b
      underlit show tank.h5
      underlit show tank.h5 --dim bar=60%          as if the fixture `bar` were at 60 %
      underlit show tank.h5 --dim bar/red=0        its red channel off
      underlit show tank.h5 --json | jq .zones
      underlit show tank.h5 --csv > tank.csv

    Nothing is traced again: light adds up, so any setting follows from the one trace.
    """
    from underlit.cli import tables
    from underlit.metrics.summary import summarise
    from underlit.results.result import Result

    summary = summarise(Result.open(result), dict(dims))
    if form == "json":
        click.echo(tables.as_json(summary))
    elif form == "csv":
        click.echo(tables.as_csv(summary), nl=False)
    else:
        tables.show(summary, tables.console())
