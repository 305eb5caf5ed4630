"""`underlit place`: where to hang lamps."""

from __future__ import annotations

from pathlib import Path

import click

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
@click.option("-o", "--output", type=click.Path(path_type=Path), default=Path("place"),
              help="Folder for the scene found and the traces; default place.")  # fmt: skip
@click.option("--photons", type=Count(), help="Of each finalist's trace; default that of the scene, or 4M.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), help="Default that of the scene.")
@click.option("-q", "--quiet", is_flag=True, help="Print no progress.")
@form_options
def command(
    scene: Path, lamp: str | None, heights: tuple[float, ...], tilts: tuple[float, ...], most: int, goal: str,
    output: Path, photons: int | None, seed: int | None, quiet: bool, form: str | None,
) -> None:  # fmt: skip
    """Search where to hang one lamp or several, how high, and how to set them, for all plant zones at once.

    \b
      underlit place tank.toml --heights "10 cm, 15 cm, 20 cm" --most 2
      underlit place tank.toml --heights "20 cm, 30 cm" --tilts "0 deg, 15 deg" --goal spill

    Every zone is to get its target with nine tenths of its area under its ceiling; of all ways to do that, the one
    with the fewest watts (or lowest price, or least light into the room) is sought. The search uses a quick stand-in
    for the tracer; the three best are traced. The best is written as a scene.
    """
    from underlit.cli.options import put_out
    from underlit.scene import load_scene
    from underlit.studies.place import place
    from underlit.studies.store import write_text

    loaded = load_scene(scene)
    found = place(
        loaded, output / "traces", fixture=lamp, heights_m=heights, tilts_rad=tilts, most=most, goal=goal,
        photons=photons, seed=seed, done=None if quiet else lambda text: click.echo(text, err=True),
    )  # fmt: skip
    put_out(found.tables(), form)
    write_text(output / "placed.toml", found.best.scene.text)
    if not found.best.balance.possible:
        click.echo("No choice gives every zone its target; the best misses the least.", err=True)
    click.echo(f"Wrote {output / 'placed.toml'}. File names in it count from the folder of the scene: move it there.",
               err=bool(form))  # fmt: skip
