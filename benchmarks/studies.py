"""`python -m benchmarks.studies`: what the figures in docs/studies.md were measured with.

Everything that has been traced is kept in a folder: a run that was cut short goes on when the same command is given
again, and more draws are added to those that are there.
"""

from __future__ import annotations

import argparse
import os
import platform
import time
from pathlib import Path

from benchmarks.study_parts import heights, recovery, search, standin

PARTS = {"standin": standin, "search": search, "recovery": recovery, "heights": heights}


def arguments(argv: list[str] | None = None) -> argparse.Namespace:
    """What to measure."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.studies", description=__doc__.splitlines()[0])
    parser.add_argument("--parts", nargs="+", choices=list(PARTS), default=list(PARTS), help="default all")
    parser.add_argument("--scenes", nargs="+", choices=list(search.SCENES), default=list(search.SCENES),
                        help="of the search; default all")  # fmt: skip
    parser.add_argument("--draws", type=int, default=500, help="of the random search; default 500")
    parser.add_argument("--draw-photons", type=int, default=250_000, help="of each draw; default 250,000")
    parser.add_argument(
        "--folder", type=Path, default=Path("studies-benchmark"), help="for traces and outcomes"
    )
    return parser.parse_args(argv)


def main() -> int:
    """Run the parts asked for; exit status."""
    options = arguments()
    print(f"{platform.machine()}, {os.cpu_count()} cores, load before {os.getloadavg()[0]:.1f}", flush=True)
    for name in options.parts:
        start = time.perf_counter()
        table = PARTS[name].measure(options.folder / name, options)
        print(
            f"\n{table}\n\n{name}: {time.perf_counter() - start:.0f} s, load {os.getloadavg()[0]:.1f}",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
