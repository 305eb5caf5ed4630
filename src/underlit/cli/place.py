"""`underlit place`: where to hang lamps."""

from __future__ import annotations

from pathlib import Path

import click

from underlit.cli.dim import Kelvins
from underlit.cli.options import form_options
from underlit.cli.values import Count


class Lengths(click.ParamType):
    """Lengths or angles, written `10 cm, 15 cm, 20 cm`."""

    def __init__(self, kind: str) -> None:
        self.name, self._kind = f"{kind}s", kind

    def convert(self, value, param, ctx) -> tuple[float, ...]:
        from underlit import units

        if isinstance(value, tuple):
            return value
        try:
            return tuple(units.parse(each.strip(), self._kind) for each in str(value).split(","))
        except units.QuantityError as fault:
            self.fail(f"got {value!r}: {fault.what}", param, ctx)


@click.command("place", short_help="Search where to hang lamps, how many, and how to set them.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--lamp", help="The fixture to hang, one or several of it; default the only one.")
@click.option("--heights", type=Lengths("length"), default=(), help="To choose from: '10 cm, 20 cm'.")
@click.option("--tilts", type=Lengths("angle"), default=(), help="To choose from: '0 deg, 10 deg'.")
@click.option("--most", type=click.IntRange(1, 6), default=2, help="Most lamps; default 2.")
@click.option(
    "--goal", type=click.Choice(["watts", "price", "spill"]), default="watts", help="What is to be least."
)
@click.option("--zone", "zones", multiple=True, help="Only this plant zone, by its name; default all.")
@click.option("--free", is_flag=True, help="Set each channel of each lamp by itself, whatever the colour.")
@click.option("--kelvin", type=Kelvins(), help="Colour temperature of all lamps together, such as 5500-7500; "
              "frees the channels.")  # fmt: skip
@click.option(
    "--duv", type=float, default=0.01, help="With --kelvin: largest Duv, to either side; default 0.01."
)
@click.option("-o", "--output", type=click.Path(path_type=Path), default=Path("place"),
              help="Folder for the scene found, pictures and traces; default place.")  # fmt: skip
@click.option("--photons", type=Count(), help="Of each real trace; default that of the scene, or 4M.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), help="Default that of the scene.")
@click.option("--format", "fmt", type=click.Choice(["png", "svg", "pdf"]), default="png", help="Default png.")
@click.option("--theme", type=click.Choice(["light", "dark"]), default="light", help="Default light.")
@click.option("-q", "--quiet", is_flag=True, help="Print no progress.")
@form_options
def command(
    scene: Path, lamp: str | None, heights: tuple[float, ...], tilts: tuple[float, ...], most: int, goal: str,
    zones: tuple[str, ...], free: bool, kelvin: tuple[float, float] | None, duv: float, output: Path,
    photons: int | None, seed: int | None, fmt: str, theme: str, quiet: bool, form: str | None,
) -> None:  # fmt: skip
    """Search where to hang one lamp or several, how high, and how to set them, for all plant zones at once.

    \b
      underlit place tank.toml                                 half to one and a half times its height
      underlit place tank.toml --heights "10 cm, 15 cm, 20 cm" --most 3
      underlit place tank.toml --heights "20 cm, 30 cm" --tilts "0 deg, 15 deg" --goal spill
      underlit place tank.toml --kelvin 5500-7500              channels free, the light within that colour

    Every zone is to get its target with nine tenths of its area under its ceiling; of all ways to do that, the one
    with the fewest watts (or lowest price, or least light into the room) is sought. The search uses a quick stand-in
    for the tracer; the best are traced, and the answer is traced once more with other random numbers. It is written
    as a scene, ready to trace. What has been traced is kept: another search over the same tank is quicker.
    """
    from underlit.cli.options import put_out
    from underlit.metrics.colour_window import ColourWindow
    from underlit.scene import load_scene
    from underlit.studies import place_figures
    from underlit.studies.place import place
    from underlit.studies.store import write_scene

    loaded = load_scene(scene)
    window = None if kelvin is None else ColourWindow(*kelvin, duv)
    found = place(
        loaded, output / "traces", fixture=lamp, heights_m=heights, tilts_rad=tilts, most=most, goal=goal,
        zones=zones, free=free, window=window, photons=photons, seed=seed,
        done=None if quiet else _tell,
    )  # fmt: skip
    put_out(found.tables(), form)
    write_scene(found.best.scene, output / "placed.toml")
    click.echo(f"Wrote {output / 'placed.toml'}, ready for `underlit trace`.", err=bool(form))
    for path in place_figures.draw(found, output, fmt, theme, loaded.title):
        click.echo(f"Drew {path}.", err=bool(form))


def _tell(number: int, steps: int, text: str) -> None:
    click.echo(f"{number} of {steps}: {text}", err=True)
