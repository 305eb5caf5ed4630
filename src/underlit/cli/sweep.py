"""`underlit sweep`: values of a scene moved step by step."""

from __future__ import annotations

from pathlib import Path

import click

from underlit.cli.values import Count


@click.command("sweep", short_help="Move values of a scene step by step.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.argument("ranges", nargs=-1, required=True)
@click.option("-o", "--output", type=click.Path(path_type=Path), default=Path("sweep"),
              help="Folder for pictures, tables and traces; default sweep.")  # fmt: skip
@click.option("--photons", type=Count(), help="Of each trace; default that of the scene, or 4M.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), help="Of all traces; default that of the scene.")
@click.option("--threads", type=click.IntRange(1, 1024), help="Number of threads; default all cores.")
@click.option(
    "--workers", type=click.IntRange(1, 1024), help="Trace through Dask, with so many workers here."
)
@click.option("--scheduler", help="Trace through the Dask scheduler at this address.")
@click.option("--format", "fmt", type=click.Choice(["png", "svg", "pdf"]), default="png", help="Default png.")
@click.option("--theme", type=click.Choice(["light", "dark"]), default="light", help="Default light.")
@click.option("--json", "form", flag_value="json", help="Print JSON, with all digits and errors.")
@click.option("--csv", "form", flag_value="csv", help="Print CSV, one number a line.")
@click.option("-q", "--quiet", is_flag=True, help="Print no progress.")
def command(
    scene: Path, ranges: tuple[str, ...], output: Path, photons: int | None, seed: int | None, threads: int | None,
    workers: int | None, scheduler: str | None, fmt: str, theme: str, form: str | None, quiet: bool,
) -> None:  # fmt: skip
    """Set values of a scene to all combinations of their ranges and see what that does to the light.

    \b
      underlit sweep tank.toml "fixture.bar.height=10 cm to 32 cm in 12"
      underlit sweep tank.toml "water.type=clear, straw, tea" "tank.panes.back=clean, dry film"
      underlit sweep tank.toml "fixture.bar.channel.red.dim=0 to 1 in 5"      one trace does for all
      underlit sweep tank.toml "fixture.bar.height=10 cm to 32 cm in 12" --scheduler tcp://big-machine:8786

    All scenes get the same random numbers, so they differ by less noise than each has. A sweep that was cut short
    goes on where it stopped: give the same command again.
    """
    from functools import partial

    from underlit.cli import tables
    from underlit.scene import load_scene
    from underlit.studies import spread, sweep_figures
    from underlit.studies.ranges import read_axis
    from underlit.studies.store import run_all
    from underlit.studies.sweep import sweep

    if workers and scheduler:
        raise click.UsageError("Give --workers or --scheduler, not both.")
    loaded = load_scene(scene)
    axes = [read_axis(each) for each in ranges]
    if workers or scheduler:
        run = partial(spread.run_all, address=scheduler, workers=workers)
    else:
        run = partial(run_all, threads=threads)
    found = sweep(
        loaded, axes, output / "traces", photons=photons, seed=seed, run=run,
        done=None if quiet else lambda number, of: click.echo(f"{number} of {of} traces", err=True),
    )  # fmt: skip
    found.write_csv(output / "sweep.csv")
    if form:
        summary = found.tables()
        click.echo(tables.as_json(summary) if form == "json" else tables.as_csv(summary), nl=form == "json")
    else:
        tables.show(found.brief(), tables.console())
    for path in sweep_figures.draw(found, loaded.plant, output, fmt, theme, loaded.title):
        click.echo(f"Drew {path}.", err=bool(form))
