"""`underlit new`: a scene file to start from."""

from __future__ import annotations

from pathlib import Path

import click

KINDS = ("planted", "small", "dry start")


@click.command("new", short_help="Write a scene file to start from.")
@click.argument("name", default="tank.toml", type=click.Path(path_type=Path))
@click.option("--kind", default=KINDS[0], help=f"One of: {', '.join(KINDS)}. Default {KINDS[0]}.")
def command(name: Path, kind: str) -> None:
    """Write a scene file, complete and with comments, to change into your own tank.

    \b
      underlit new                       tank.toml: a planted tank with stones
      underlit new kitchen               kitchen.toml
      underlit new --kind small          the ten lines that are enough
      underlit new --kind "dry start"

    A file that is there already is left alone.
    """
    from underlit.errors import UnderlitError
    from underlit.scene.templates import template

    path = name if name.suffix == ".toml" else name.with_name(f"{name.name}.toml")
    text = template(kind)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        what = "is there already, and is left as it is."
        raise UnderlitError(what, where=str(path), hint="Give another name.") from None
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise UnderlitError(
            f"cannot be written: {reason}.", where=str(path), hint="Write to another folder."
        ) from None
    click.echo(f"Wrote {path}. Look at it: underlit check {path}")
