"""`underlit depth`: light by depth."""

from __future__ import annotations

from pathlib import Path

import click

from underlit.cli.options import Place, dim_option, form_options, opened, put_out, result_argument


@click.command("depth", short_help="Light by depth, beside the inverse-square guess.")
@result_argument
@click.argument("places", nargs=-1, type=Place())
@dim_option
@form_options
def command(
    result: Path, places: tuple[tuple[float, ...], ...], dims: tuple[tuple[str, float], ...], form: str | None
) -> None:
    """Print the light from the water surface down to the soil, on average and below given places.

    \b
      underlit depth tank.h5
      underlit depth tank.h5 "30, 15 cm" "5, 5 cm"

    Beside it stands what the inverse square of the distance would make of the light at the surface,
    to show how wrong that is between panes that send light back.
    """
    from underlit.metrics import depth
    from underlit.metrics.answers import depth_answer
    from underlit.metrics.answers.places import name_of

    res, settings = opened(result), dict(dims)
    profiles = {"averaged over the tank": depth.on_average(res, settings)}
    profiles |= {
        f"below {name_of(place[:2])}": depth.at_spot(res, place[0], place[1], settings) for place in places
    }
    put_out(depth_answer(res, profiles), form)
