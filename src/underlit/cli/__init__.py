"""The command line: parses, calls the library, prints; it has no logic of its own."""

from __future__ import annotations

import gc
import sys


def main() -> None:
    """Run the command line and end the process with its status."""
    # Imports make many objects and free few: gone through as often as by default, they take a fifth longer.
    gc.set_threshold(100_000)
    from underlit.cli.app import run

    sys.exit(run(sys.argv[1:]))
