"""`underlit figures`: the pictures of a result."""

from __future__ import annotations

from pathlib import Path

import click

from underlit.cli.values import Setting


@click.command("figures", short_help="Draw the pictures of a result.")
@click.argument("result", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    default=Path("figures"),
    help="Folder; default figures.",
)
@click.option("--format", "fmt", type=click.Choice(["png", "svg", "pdf"]), default="png", help="Default png.")
@click.option(
    "--theme", type=click.Choice(["light", "dark"]), default="light", help="Background; default light."
)
@click.option("--unit", type=click.Choice(["cm", "in"]), default="cm", help="Unit of the scales; default cm.")
@click.option(
    "--dim", "dims", type=Setting(), multiple=True, help="Another setting, such as bar=60% or bar/red=0.5."
)
@click.option(
    "--front-white",
    type=click.Choice(["adapted", "D65"]),
    default="adapted",
    help="What looks white in the view from the front: the lamps, to an eye adapted to them (default), or daylight.",
)
@click.option(
    "--front-exposure",
    type=click.FloatRange(0.0, min_open=True),
    metavar="CD/M2",
    help="Luminance drawn as white in the view from the front; default by the light on the soil.",
)
def command(
    result: Path,
    output: Path,
    fmt: str,
    theme: str,
    unit: str,
    dims: tuple[tuple[str, float], ...],
    front_white: str,
    front_exposure: float | None,
) -> None:
    """Draw the pictures of a result: the soil from above, sections, panes, hardscape, the view from the front.

    \b
      underlit figures tank.h5 -o pictures
      underlit figures tank.h5 -o pictures --format svg --theme dark
      underlit figures tank.h5 -o dimmed --dim bar=60%
      underlit figures warm.h5 -o warm --front-white D65 --front-exposure 300

    Nothing is traced again, whatever the settings. To compare lamps by eye, give the views from the front of
    both results D65 and one exposure.
    """
    from underlit.figures import save_all
    from underlit.results.result import Result

    drawn = save_all(
        Result.open(result), output, fmt, theme, unit, dims=dict(dims), front_white=front_white,
        front_exposure_cd_m2=front_exposure,
    )  # fmt: skip
    for path in drawn:
        click.echo(f"Drew {path}.")
