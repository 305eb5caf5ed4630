"""The command group, and the one place where errors become messages and exit statuses.

Status 0: done. 1: a fault of the program itself. 2: something the user can put right. 130: Ctrl-C.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from difflib import get_close_matches
from importlib import import_module

import click

import underlit
from underlit.errors import UnderlitError

COMMANDS = (
    "new",
    "check",
    "trace",
    "show",
    "spot",
    "depth",
    "shade",
    "dim",
    "weeks",
    "years",
    "buy",
    "figures",
    "journal",
    "compare",
    "sweep",
    "place",
    "meter",
    "schema",
)
DONE, BROKEN, WRONG, STOPPED = 0, 1, 2, 130

APOLOGY = """\
This should not have happened, and the fault is underlit's: {kind}: {text}
Please report it with the command you gave and, if you can, the scene file.
UNDERLIT_DEBUG=1 before the command shows where it broke."""


class Commands(click.Group):
    """The commands in the order of work; each is loaded only when it is called or described."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        return import_module(f"underlit.cli.{name}").command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            near = get_close_matches(args[0], COMMANDS, 1)
            ctx.fail(f"No such command '{args[0]}'." + (f" Did you mean '{near[0]}'?" if near else ""))
        return super().resolve_command(ctx, args)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(underlit.__version__, prog_name="underlit")
def group() -> None:
    """What light reaches a leaf behind a rock, under water, beside a glass wall.

    \b
    A first tank, from nothing to a map:
      underlit new tank.toml                         write a scene file to start from
      underlit check tank.toml                       find its faults, draw it
      underlit trace tank.toml -o tank.h5 --precision 3%
      underlit show tank.h5                          tables: plant zones, dimming, where light ends
      underlit figures tank.h5 -o pictures
      underlit journal tank.h5                       one page with maps, sliders and a 3-D tank

    Each command explains itself: underlit trace --help
    """


def run(arguments: Sequence[str]) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str
        Without the program's name.

    Returns
    -------
    int
        Exit status.
    """
    try:
        status = group.main(list(arguments), prog_name="underlit", standalone_mode=False)
        sys.stdout.flush()
        return status if isinstance(status, int) else DONE
    except UnderlitError as error:
        click.echo(f"{error}", err=True)
        return WRONG
    except click.ClickException as error:
        error.show()
        return WRONG
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped.", err=True)
        return STOPPED
    except BrokenPipeError:  # the reader of our output has gone, as with `| head`
        sys.stdout = open(os.devnull, "w")  # noqa: SIM115 - so that the flush at exit finds no broken pipe
        return DONE
    except Exception as error:
        if os.environ.get("UNDERLIT_DEBUG"):
            raise
        click.echo(APOLOGY.format(kind=type(error).__name__, text=error), err=True)
        return BROKEN
