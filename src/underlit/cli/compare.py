"""`underlit compare`: results or scenes side by side."""

from __future__ import annotations

from pathlib import Path

import click

from underlit.cli.values import Count, Setting


@click.command("compare", short_help="Set results or scenes side by side.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), default=Path("comparison"),
              help="Folder for pictures, and for the traces of scenes; default comparison.")  # fmt: skip
@click.option("--name", "names", multiple=True, help="What to call each, in order; default the file names.")
@click.option("--photons", type=Count(), help="Photons of each scene that has to be traced; default 4M.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=1, help="Of those traces; default 1.")
@click.option("--dim", "dims", type=Setting(), multiple=True, help="A setting for all, such as bar=60%.")
@click.option("--format", "fmt", type=click.Choice(["png", "svg", "pdf"]), default="png", help="Default png.")
@click.option("--theme", type=click.Choice(["light", "dark"]), default="light", help="Default light.")
@click.option("--unit", type=click.Choice(["cm", "in"]), default="cm", help="Unit of the scales; default cm.")
@click.option("--json", "form", flag_value="json", help="Print JSON, with all digits and errors.")
@click.option("--csv", "form", flag_value="csv", help="Print CSV, one number a line.")
def command(
    files: tuple[Path, ...], output: Path, names: tuple[str, ...], photons: int | None, seed: int,
    dims: tuple[tuple[str, float], ...], fmt: str, theme: str, unit: str, form: str | None,
) -> None:  # fmt: skip
    """Set two or more results or scenes side by side: tables, maps in one scale, and what differs for sure.

    \b
      underlit compare low.h5 high.h5 -o low-and-high
      underlit compare one-bar.toml two-bars.toml --photons 4M --name "one bar" --name "two bars"

    Scenes are traced first, with the same photons and seed: what they share in luck drops out of the differences.
    The first one is what the others are held against.
    """
    from underlit.cli import tables
    from underlit.studies.compare import compare, draw

    if names and len(names) != len(files):
        raise click.UsageError(f"{len(names)} names for {len(files)} files.")
    if len(set(names)) < len(names):
        raise click.UsageError("Two of the names are the same.")
    results = _opened(files, names or _short_names(files), output, photons, seed)
    settings = dict(dims)
    summary = compare(results, settings)
    if form:
        click.echo(tables.as_json(summary) if form == "json" else tables.as_csv(summary), nl=form == "json")
    else:
        tables.show(summary, tables.console())
    for path in draw(results, output, fmt, theme, unit, settings):
        click.echo(f"Drew {path}.", err=bool(form))


def _short_names(files: tuple[Path, ...]) -> list[str]:
    """File names without their ending; with their folders where they would be alike."""
    short = [file.resolve().parent.name if file.name == "scene.toml" else file.stem for file in files]
    if len(set(short)) == len(short):
        return short
    long = [str(file) for file in files]
    return [name if long.count(name) == 1 else f"{name} ({i})" for i, name in enumerate(long, start=1)]


def _opened(files, names, output: Path, photons: int | None, seed: int):
    """Results by name; scenes are traced, or taken from the folder if that has been done."""
    from underlit.results.result import Result
    from underlit.scene import load_scene
    from underlit.studies.store import PHOTONS, Job, Store, run_all

    found = {}
    for name, file in zip(names, files, strict=True):
        if file.suffix == ".h5":
            found[name] = Result.open(file)
        else:
            job = Job(load_scene(file), photons or PHOTONS, seed)
            click.echo(f"{name}: {job.photons:,} photons", err=True)
            ((_, found[name]),) = run_all([job], Store(output / "traces"))
    return found
