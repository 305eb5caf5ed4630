"""`underlit spot`: everything about the light of the lamps and at spots of the tank."""

from __future__ import annotations

from pathlib import Path

import click

from underlit.cli.options import Place, dim_option, form_options, opened, put_out, result_argument


@click.command(
    "spot", short_help="All about the light at a spot: amount, colour, which lamp, what shades it."
)
@result_argument
@click.argument("places", nargs=-1, type=Place())
@click.option("--on", "piece", help="A piece of hardscape: the spot on it nearest to the place.")
@click.option("--pur", "weighting", default="leaf", help="Absorption that PUR is weighted by; default leaf.")
@click.option(
    "--scene", type=click.Path(path_type=Path), help="Scene file, where its lamps are read from files."
)
@dim_option
@form_options
def command(
    result: Path,
    places: tuple[tuple[float, ...], ...],
    piece: str | None,
    weighting: str,
    scene: Path | None,
    dims: tuple[tuple[str, float], ...],
    form: str | None,
) -> None:
    """Print all figures of the light at spots, beside that of the lamps.

    A place is its distance from the left, from the front, and if you like its height; without a height the soil.

    \b
      underlit spot tank.h5 "30, 12 cm"
      underlit spot tank.h5 "30, 12 cm" "30, 12, 20 cm"      the soil, and 20 cm above the bottom
      underlit spot tank.h5 "20, 15 cm" --on "main stone"
      underlit spot tank.h5 "30, 12 cm" --pur "chlorophyll a" --dim bar/red=0
      underlit spot tank.h5                                  the lamps alone

    PPFD, ePAR, YPF, PUR, DLI, lux; colour; the share of every lamp; and which stone or branch takes
    which share of a lamp's straight light.
    """
    from underlit.metrics import spots
    from underlit.metrics.answers import spot_answer
    from underlit.metrics.answers.places import name_of
    from underlit.scene import load_scene
    from underlit.tracer.sight import who_shades

    res, settings = opened(result), dict(dims)
    found = {
        name_of(place): spots.spot_on_hardscape(res, piece, *place) if piece else spots.find_spot(res, *place)
        for place in places
    }
    loaded = None if scene is None else load_scene(scene)
    sights = {name: who_shades(res, spot, settings, loaded) for name, spot in found.items()}
    put_out(spot_answer(res, found, settings, weighting, sights), form)
