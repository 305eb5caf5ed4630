"""`python -m benchmarks`: measure, print, and write the page and the plot.

The other programs are optional (`pip install underlit[test,peers]`, and an LLVM library for Mitsuba and Dr.Jit); one
that is missing is named and skipped.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path


def arguments(argv: list[str] | None = None) -> argparse.Namespace:
    """What to measure."""
    from benchmarks.contenders import ENTRIES

    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a few seconds of each: figures are rough")
    parser.add_argument("--only", nargs="+", choices=list(ENTRIES), default=list(ENTRIES), metavar="NAME",
                        help=f"contenders, of: {', '.join(ENTRIES)}")  # fmt: skip
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=list(PARTS), help="parts to measure")
    parser.add_argument("--seconds", type=float, help="of one run; default 3, quick 0.5")
    parser.add_argument("--rounds", type=int, help="runs of each; default 5, quick 3")
    parser.add_argument("--threads", type=int, default=os.cpu_count() or 1, help="default all")
    parser.add_argument("--clock", choices=("wall", "cpu"), default="wall",
                        help="cpu: processor time over threads, for a machine busy with other things")  # fmt: skip
    parser.add_argument("--out", type=Path, help="folder for page and plot; default docs, quick none")
    return parser.parse_args(argv)


PARTS = ("start", "contenders", "rays", "scenes", "scaling", "memory")


def main() -> int:
    """Run the benchmarks; exit status."""
    options = arguments()
    start, load = time.perf_counter(), os.getloadavg()[0]

    def say(text: str) -> None:
        print(f"[{time.perf_counter() - start:5.0f} s] {text}", flush=True)

    say(f"load of the machine before: {load:.2f} on {os.cpu_count()} cores")
    found = measure(options, load, say)
    out = options.out or (None if options.quick else Path(__file__).parents[1] / "docs")
    show(found)
    if out is not None:
        write(found, out)
        say(f"wrote {out / 'benchmarks.md'} and {out / 'benchmarks.png'}")
    return 0


def measure(options: argparse.Namespace, load: float, say):
    """All parts asked for, one after the other, so that none disturbs another."""
    from benchmarks.comparison import Plan, compare
    from benchmarks.merit import open_cells
    from benchmarks.report import Measured
    from benchmarks.tank import prepare, scene_text
    from underlit.scene.loader import from_text

    quick = options.quick
    plan = Plan(
        seconds=options.seconds or (0.5 if quick else 3.0),
        rounds=options.rounds or (3 if quick else 5),
        threads=options.threads,
        cold=not quick,
        clock=options.clock,
    )
    tank = prepare(from_text(scene_text())).numbers()
    starts = []
    if "start" in options.parts:
        from benchmarks.startup import measure_start

        starts = measure_start(rounds=1 if quick else 3)
        say("start done")
    rows = compare(options.only, plan, say) if "contenders" in options.parts else {}
    found = Measured(plan, open_cells(tank), len(tank.faces), rows, load_before=load, starts=starts)
    if "rays" in options.parts:
        _rays(found, quick, say)
    if "scenes" in options.parts:
        from benchmarks.shipped import measure_scenes

        found.scenes = measure_scenes("ab" if quick else "abcdef", rounds=1 if quick else 3)
        say("shipped scenes done")
    if "scaling" in options.parts:
        _scaling(found, quick, say)
    if "memory" in options.parts:
        _memory(found, quick, say)
    return found


def _rays(found, quick: bool, say) -> None:
    from benchmarks.embree import measure_rays

    triangles = [20_000] if quick else [20_000, 100_000, 1_000_000]
    size = (200_000, 200_000, 3) if quick else (2_000_000, 4_000_000, 7)
    try:
        found.rays = measure_rays(triangles, *size, found.plan.threads, say)
    except ImportError as error:
        found.missing.append(f"Embree: not measured, {error}.")
        say(found.missing[-1])


def _scaling(found, quick: bool, say) -> None:
    from benchmarks import scaling

    n, rounds = (200_000, 3) if quick else (1_000_000, 5)
    axes = (
        lambda: scaling.triangles(100_000 if quick else 1_000_000),
        scaling.emitters,
        scaling.cells,
        scaling.bands,
        scaling.planes,
    )
    for axis in axes:
        found.series.append(scaling.measure(*axis(), n, rounds))
        say(f"scaling with {found.series[-1].axis} done")
    found.series.append(scaling.measure(*scaling.cells_gathered(), n, rounds, gathers=True))
    found.series.append(scaling.threads(found.plan.threads, 4 * n, rounds))
    most = 2**18 if quick else 2**25
    found.photons, found.errors = scaling.error_by_photons(most, found.plan.threads)
    say("scaling with threads and photons done")


def _memory(found, quick: bool, say) -> None:
    from benchmarks.scaling import memory_mb

    triangles = 20_000 if quick else 1_000_000
    peak, seconds = memory_mb(triangles, 8, 100_000)
    found.memory = (f"{triangles:,} triangles, 8 lamps mapped apart, 16 bands, 16 replicates", peak, seconds)
    say("memory done")


def show(found) -> None:
    """Print all tables."""
    from benchmarks import report

    if found.starts:
        print("", report.start_table(found), sep="\n")
    if found.rows:
        for table in (report.speed_table, report.merit_table, report.agreement_table, report.ratios_table):
            print("", table(found), sep="\n")
    if found.rays:
        print("", report.rays_table(found), sep="\n")
    if found.scenes:
        print("", report.scenes_table(found), sep="\n")
    if found.series:
        print("", report.series_tables(found), "", report.errors_table(found), sep="\n")
    if found.memory:
        print("", "{}: {:,.0f} MB, {:.0f} s".format(*found.memory), sep="\n")


def write(found, folder: Path) -> None:
    """Write the page and the plot, each under another name first so that none is ever half there."""
    from benchmarks import plot, report

    folder.mkdir(parents=True, exist_ok=True)
    text, picture = folder / "benchmarks.md", folder / "benchmarks.png"
    text.with_suffix(".part").write_text(report.page(found), encoding="utf-8")
    plot.draw(found, picture.with_suffix(".part.png"))
    os.replace(text.with_suffix(".part"), text)
    os.replace(picture.with_suffix(".part.png"), picture)


if __name__ == "__main__":
    sys.exit(main())
