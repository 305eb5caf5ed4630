"""The command line: parses, calls the library, prints; it has no logic of its own."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line and end the process with its status."""
    from underlit.cli.app import run

    sys.exit(run(sys.argv[1:]))
