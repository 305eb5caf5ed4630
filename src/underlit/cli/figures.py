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
def command(
    result: Path, output: Path, fmt: str, theme: str, unit: str, dims: tuple[tuple[str, float], ...]
) -> None:
    """Draw the pictures of a result: the soil from above, sections, panes, hardscape, the view from the front.

    \b
      underlit figures tank.h5 -o pictures
      underlit figures tank.h5 -o pictures --format svg --theme dark
      underlit figures tank.h5 -o dimmed --dim bar=60%

    Nothing is traced again, whatever the settings.
    """
    from underlit.figures import save_all
    from underlit.results.result import Result

    for path in save_all(Result.open(result), output, fmt, theme, unit, dims=dict(dims)):
        click.echo(f"Drew {path}.")
