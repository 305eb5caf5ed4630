"""`underlit meter`: what a light meter is to show, and what its readings say."""

from __future__ import annotations

import math
from pathlib import Path

import click

from underlit.cli.values import Count, Percent


class Distance(click.ParamType):
    """A length, written `1 cm`."""

    name = "length"

    def convert(self, value, param, ctx) -> float:
        from underlit import units

        if isinstance(value, float):
            return value
        try:
            return units.parse(str(value), "length")
        except units.QuantityError as fault:
            self.fail(f"got {value!r}: {fault.what}", param, ctx)


@click.command("meter", short_help="What a light meter is to show; what its readings say.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--readings", type=click.Path(path_type=Path), help="Sheet with readings, to fit the scene to.")
@click.option("-o", "--output", type=click.Path(path_type=Path), default=Path("meter"),
              help="Folder for sheet, sketches, traces and the corrected scene; default meter.")  # fmt: skip
@click.option("--immersion", type=click.FloatRange(1.0, 2.0),
              help="Factor for readings under water that the maker of the meter states, such as 1.25.")  # fmt: skip
@click.option("--applied", is_flag=True, help="For the sheet: the meter applies that factor itself.")
@click.option(
    "--response", default="PAR", help="What the meter's head responds to; default PAR, a perfect one."
)
@click.option("--percent", "setting", type=Percent(most=1.0), help="For the sheet: setting of all lamps.")
@click.option("--noise", type=Percent(most=1.0), default=0.05, help="Error of a reading; default 5%.")
@click.option("--placing", type=Distance(), default=0.01, help="Error of the head's place; default 1 cm.")
@click.option(
    "--no-colour", "colour", flag_value=False, default=True, help="Keep the scene's colour of water."
)
@click.option("--photons", type=Count(), help="Of each trace; default that of the scene, or 4M.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), help="Default that of the scene.")
@click.option("--format", "fmt", type=click.Choice(["png", "svg", "pdf"]), default="png", help="Default png.")
@click.option("--theme", type=click.Choice(["light", "dark"]), default="light", help="Default light.")
@click.option("--json", "form", flag_value="json", help="Print JSON, with all digits and errors.")
@click.option("--csv", "form", flag_value="csv", help="Print CSV, one number a line.")
def command(
    scene: Path, readings: Path | None, output: Path, immersion: float | None, applied: bool, response: str,
    setting: float | None, noise: float, placing: float, colour: bool, photons: int | None, seed: int | None,
    fmt: str, theme: str, form: str | None,
) -> None:  # fmt: skip
    """Make a sheet to take to the tank, or fit the scene to the readings on it.

    \b
      underlit meter tank.toml -o sheet --immersion 1.25        what the meter is to show, and where
      underlit meter tank.toml -o fit --readings sheet/sheet.csv --immersion 1.25

    The spots are those of [[meter]] in the scene, or else the usual grid. The sheet has a column `reading` to fill in.
    From the readings, the output of the lamps and the colour of the water are fitted; the corrected scene is written.
    Lamps that were never read alone (column `lamps`) are taken to be off by one factor.
    """
    from underlit.scene import load_scene
    from underlit.studies.readings import Head

    loaded = load_scene(scene)
    head = Head(math.nan if immersion is None else immersion, response)
    if readings is None:
        _sheet(loaded, head, applied, setting, output, photons, seed, fmt, theme, form)
    else:
        _fit(loaded, readings, head, output, colour, photons, seed, noise, placing, fmt, theme, form)


def _sheet(scene, head, applied, setting, output, photons, seed, fmt, theme, form) -> None:
    from dataclasses import replace

    from underlit.cli.options import put_out
    from underlit.metrics.summary import Summary
    from underlit.studies import meter

    known = applied or math.isnan(head.immersion)  # without a factor, what is shown is the light itself
    spots = [
        replace(spot, setting=math.nan if setting is None else setting, immersion_applied=known)
        for spot in meter.usual_spots(scene)
    ]
    found = meter.predict(scene, spots, output / "traces", head, photons=photons, seed=seed)
    found.write_sheet(output / "sheet.csv")
    put_out(Summary([found.table()]), form)
    click.echo(f"Wrote {output / 'sheet.csv'}: fill in the column `reading`.", err=bool(form))
    for path in meter.sketches(found, output, fmt, theme):
        click.echo(f"Drew {path}.", err=bool(form))


def _fit(scene, readings, head, output, colour, photons, seed, noise, placing, fmt, theme, form) -> None:
    from underlit.cli.options import put_out
    from underlit.metrics.summary import Summary
    from underlit.results.result import Result
    from underlit.studies import fit, fit_figures
    from underlit.studies.meter import jobs
    from underlit.studies.readings import read_sheet
    from underlit.studies.store import Store, run_all, write_scene

    spots = read_sheet(readings)
    found = fit.fit(
        scene, spots, output / "traces", head, colour=colour, photons=photons, seed=seed, noise=noise, placing_m=placing
    )  # fmt: skip
    put_out(Summary(found.tables()), form)
    corrected = found.corrected(scene)
    write_scene(corrected, output / "corrected.toml")
    click.echo(f"Wrote {output / 'corrected.toml'}, the scene put right.", err=bool(form))
    wanted = list(jobs(scene, spots, photons, seed).values())
    ((_, res), *_) = run_all(wanted, Store(output / "traces"))
    assert isinstance(res, Result)
    for path in fit_figures.draw(found, res, output, fmt, theme):
        click.echo(f"Drew {path}.", err=bool(form))
