"""`underlit buy`: lamps side by side over one tank."""

from __future__ import annotations

from pathlib import Path

import click

from underlit.cli.options import form_options, full_hours, hours_option, opened, put_out, tariff_option


@click.command("buy", short_help="Is it enough for this tank? Lamps side by side, per watt and per money.")
@click.argument("results", nargs=-1, required=True)
@hours_option
@tariff_option
@form_options
def command(results: tuple[str, ...], hours: float | None, tariff: float | None, form: str | None) -> None:
    """Say for one or more sets of lamps over the same tank whether they are enough, and what they cost.

    \b
      underlit buy tank.h5
      underlit buy one-bar.h5 two-bars.h5 --tariff 0.30
      underlit buy "one bar=one-bar.h5" "two bars=two-bars.h5"

    Each result file is one set of lamps: trace the scene once with each.
    """
    from underlit.metrics.answers import buying_answer
    from underlit.metrics.buying import offer

    named = [_named(text) for text in results]
    if len({name for name, _ in named}) < len(named):
        raise click.UsageError("Two results have the same name: write NAME=FILE.")
    found = []
    for name, path in named:
        res = opened(path)
        found.append(offer(name, res, full_hours(res, hours), tariff))
    put_out(buying_answer(found), form)


def _named(text: str) -> tuple[str, Path]:
    """Name and file of `NAME=FILE`, or of a file alone."""
    name, equals, path = text.partition("=")
    if equals and not Path(text).exists():
        return name.strip(), Path(path)
    return Path(text).stem, Path(text)
