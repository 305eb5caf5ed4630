"""`underlit check`: the faults of a scene file, or what it says and a drawing of it."""

from __future__ import annotations

from pathlib import Path

import click

COMPILING = "The first check after an install compiles what shapes are made with, which takes 4 to 8 seconds."


@click.command("check", short_help="Find the faults of a scene file; draw the scene.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--drawing",
    type=click.Path(path_type=Path),
    help="Drawing; default SCENE.png, here. Or .svg, .pdf.",
)
@click.option("--no-drawing", is_flag=True, help="Only check.")
@click.option("--unit", type=click.Choice(["cm", "in"]), default="cm", help="Unit of the drawing's scales.")
def command(scene: Path, drawing: Path | None, no_drawing: bool, unit: str) -> None:
    """Check a scene file without tracing it.

    \b
      underlit check tank.toml
      underlit check tank.toml -o tank.svg --unit in

    All faults are reported together, each with its line and what to write instead. Without faults you
    get what the scene holds, what was assumed, and a drawing from above, from the front and from the side.
    """
    from underlit.cli import tables
    from underlit.cli.describe import describe
    from underlit.kernels import cache_folder
    from underlit.scene import load_scene
    from underlit.scene.world import build_world

    loaded = load_scene(scene)
    if loaded.hardscape and not cache_folder().exists():
        click.echo(COMPILING, err=True)
    world = build_world(loaded)
    screen = tables.console()
    for table in describe(loaded, world):
        tables.print_table(table, screen)
    tables.print_cautions([*loaded.warnings, *world.warnings], screen)
    if not no_drawing:
        from underlit.figures import scene_drawing

        target = drawing or Path(f"{scene.resolve().stem if scene.is_file() else scene.resolve().name}.png")
        click.echo(f"Drew {scene_drawing(loaded, target, world=world, unit=unit)}.")
