"""`underlit journal`: a result as one page to play with, or as Markdown."""

from __future__ import annotations

from pathlib import Path

import click

from underlit.cli.values import Setting


@click.command("journal", short_help="Make the page of a result: maps, sliders, a 3-D tank.")
@click.argument("result", type=click.Path(path_type=Path))
@click.argument("other", required=False, type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Page; default RESULT.html, here.")
@click.option(
    "--markdown",
    type=click.Path(path_type=Path),
    help="Write Markdown and pictures into this folder instead.",
)
@click.option(
    "--unit",
    type=click.Choice(["cm", "in"]),
    default="cm",
    help="Unit of the Markdown's pictures; default cm.",
)
@click.option(
    "--dim",
    "dims",
    type=Setting(),
    multiple=True,
    help="Start from this setting, such as bar=60% or bar/red=0.5.",
)
def command(
    result: Path,
    other: Path | None,
    output: Path | None,
    markdown: Path | None,
    unit: str,
    dims: tuple[tuple[str, float], ...],
) -> None:
    """Make one HTML page that holds everything of a result and needs nothing else.

    \b
      underlit journal tank.h5 -o tank.html
      underlit journal one-bar.h5 two-bars.h5 -o bars.html     two results, A and B
      underlit journal tank.h5 --markdown journal              for forums and repositories

    On the page, sliders for channels and hours change maps, verdicts and cost at once, without a new trace.
    It opens in any browser of 2023 or later, with no network.
    """
    from underlit.journal import save_markdown, save_page
    from underlit.results.result import Result

    results = [Result.open(path) for path in (result, other) if path is not None]
    if markdown is not None:
        for path in save_markdown(results, markdown, dims=dict(dims), unit=unit):
            click.echo(f"Wrote {path}.")
    if output is not None or markdown is None:
        target = output or Path(f"{result.stem}.html")
        save_page(results, target, dims=dict(dims))
        click.echo(f"Wrote {target} ({target.stat().st_size / 1e6:.1f} MB). Open it in a browser.")
