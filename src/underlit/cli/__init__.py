"""The command line: parses, calls the library, prints; it has no logic of its own."""

from __future__ import annotations

import gc
import sys


def main() -> None:
    """Run the command line and end the process with its status."""
    # Imports and scenes make many objects and free few: they need not be gone through for garbage again and again.
    gc.set_threshold(300_000)
    from underlit.cli.app import run

    sys.exit(run(sys.argv[1:]))
