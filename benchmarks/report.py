"""The measurements as a page and a plot."""

from __future__ import annotations

import os
import platform
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import numpy as np

import underlit
from benchmarks.comparison import Plan, Row
from benchmarks.contenders import ENTRIES, OURS, OURS_SPECTRAL, PEERS
from benchmarks.embree import RayRow
from benchmarks.merit import AREAS_CM
from benchmarks.scaling import Series
from benchmarks.shipped import MAP_ERR, ZONE_ERR, Timed
from benchmarks.startup import Start

PACKAGES = ("numpy", "numba", "embreex", "mitsuba", "drjit", "raysect")
SPECTRAL_BANDS = 16


@dataclass
class Measured:
    """All that one run of the benchmarks found."""

    plan: Plan
    mask: np.ndarray
    n_triangles: int
    rows: dict[str, Row]
    starts: list[Start] = field(default_factory=list)
    rays: list[RayRow] = field(default_factory=list)
    scenes: list[Timed] = field(default_factory=list)
    series: list[Series] = field(default_factory=list)
    photons: np.ndarray | None = None
    errors: dict[int, np.ndarray] = field(default_factory=dict)
    memory: tuple[str, float, float] | None = None
    load_before: float = float("nan")
    missing: list[str] = field(default_factory=list)

    def present(self) -> list[Row]:
        """Contenders that were measured."""
        return [row for row in self.rows.values() if row.runs]

    def merits(self, row: Row, threads: int) -> dict[int, float]:
        """Figure of merit by area; variances are relative to our map where there is one, as theirs may be rough."""
        ours = self.rows.get(OURS if row.bands == 1 else OURS_SPECTRAL)
        best = ours if ours is not None and ours.runs else row
        return row.merits(self.plan, self.mask, threads, best.mean(self.plan.threads))


def machine() -> str:
    """Processor, system and versions, in a line each."""
    model = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [
            line.split(":", 1)[1].strip() for line in info.read_text().splitlines() if "model name" in line
        ]
        model = names[0] if names else model
    found = []
    for name in PACKAGES:
        try:
            found.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            continue
    found.insert(0, f"underlit {underlit.__version__}")
    cores = os.cpu_count()
    return f"{model}, {cores} cores, {platform.system()}, Python {platform.python_version()}; " + ", ".join(
        found
    )


def short(value: float) -> str:
    """Three digits."""
    if not np.isfinite(value):
        return "–"
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def table(head: list[str], lines: list[list[str]]) -> str:
    """A Markdown table; all columns but the first are numbers."""
    rule = ["---"] + ["---:"] * (len(head) - 1)
    return "\n".join("| " + " | ".join(cells) + " |" for cells in [head, rule, *lines])


def start_table(found: Measured) -> str:
    """Seconds until a command has something to say."""
    lines = [[start.command, *map(short, start.medians())] for start in found.starts]
    return table(["command", "to the first light, s", "to its end, s"], lines)


def _threads(found: Measured) -> list[int]:
    return sorted({1, found.plan.threads})


def speed_table(found: Measured) -> str:
    """Rates, start and memory of each contender."""
    lines = []
    for row in found.present():
        rates = [row.rate(found.plan, t) / 1e6 for t in _threads(found)]
        gain = f"{np.median(row.rates(found.plan, found.plan.threads) / row.rates(found.plan, 1)):.2f}"
        rest = (row.start_cold_s, row.start_warm_s, row.peak_mb)
        lines.append([row.title, row.unit, *map(short, rates), gain, *map(short, rest)])
    head = [f"M/s, {t} thread{'s' if t > 1 else ''}" for t in _threads(found)]
    head += ["gain", "cold start, s", "warm start, s", "peak memory, MB"]
    return table(["contender", "counts", *head], lines)


def merit_table(found: Measured) -> str:
    """Figures of merit of each contender."""
    lines = []
    for row in found.present():
        merit = [found.merits(row, t) for t in _threads(found)]
        lines.append([row.title, *(short(m[side]) for m in merit for side in AREAS_CM)])
    head = [f"{side} cm, {t} thread{'s' if t > 1 else ''}" for t in _threads(found) for side in AREAS_CM]
    return table(["figure of merit, 1/s", *head], lines)


def agreement_table(found: Measured) -> str:
    """Light on the open soil, of all that model clear water."""
    lines = []
    for row in found.present():
        if row.bands == 1:
            share, std_err = row.soil_share(found.mask, found.plan.threads)
            lines.append([row.title, f"{100 * share:.4f}", f"{100 * std_err:.4f}", f"{row.busy(1):.2f}"])
    return table(
        ["contender", "light on open soil, %", "standard error", "processors in use, 1 thread"], lines
    )


def ratios(found: Measured) -> list[tuple[str, dict[int, float]]]:
    """How often our figure of merit holds that of the others, all threads, by area."""
    merit = {row.name: found.merits(row, found.plan.threads) for row in found.present()}
    pairs = [(f"one wavelength, over {ENTRIES[p].title}", OURS, p, 1.0) for p in (*PEERS, "plain-1")]
    pairs += [
        (f"{SPECTRAL_BANDS} bands, over {ENTRIES[p].title}", OURS_SPECTRAL, p, 1.0 / SPECTRAL_BANDS)
        for p in PEERS
    ]
    pairs.append(("16 bands, over plain photons over 16 bands", OURS_SPECTRAL, "plain-16", 1.0))
    pairs.append(("16 bands, over itself without gathering", OURS_SPECTRAL, "underlit-16-traced", 1.0))
    return [
        (title, {side: merit[ours][side] / (merit[other][side] * share) for side in AREAS_CM})
        for title, ours, other, share in pairs
        if ours in merit and other in merit
    ]


def ratios_table(found: Measured) -> str:
    """`ratios` as a table."""
    lines = [[title, *(short(by_side[side]) for side in AREAS_CM)] for title, by_side in ratios(found)]
    return table(["figure of merit of underlit", *(f"{side} cm" for side in AREAS_CM)], lines)


def rays_table(found: Measured) -> str:
    """Rays beside Embree."""
    lines = [
        [
            row.title,
            f"{row.triangles:,}",
            short(np.median(row.embree) / 1e6),
            short(row.embree_all / 1e6),
            short(np.median(row.ours) / 1e6),
            f"{row.ratio('ours'):.2f}",
            f"{row.ratio('photons'):.2f}",
        ]
        for row in found.rays
    ]
    head = [
        "mesh",
        "triangles",
        "Embree, M rays/s",
        f"Embree, {found.plan.threads} processes",
        "underlit, M rays/s",
    ]
    return table([*head, "rays, ratio", "16-band photons over Embree rays"], lines)


def scenes_table(found: Measured) -> str:
    """Seconds that a keeper waits for a map."""
    lines = [
        [row.scene, short(row.map_s), f"{row.map_photons:,}", short(row.zones_s), f"{row.zones_photons:,}"]
        for row in found.scenes
    ]
    cell, zone = f"{100 * MAP_ERR:g} % in the median cell, s", f"{100 * ZONE_ERR:g} % in every zone, s"
    return table(["scene", cell, "photons", zone, "photons"], lines)


def series_tables(found: Measured) -> str:
    """One small table for each axis."""
    parts = []
    for series in found.series:
        rate, relative = series.median() / 1e6, series.relative()
        lines = [
            [f"{v:,}", short(r), f"{x:.2f}"] for v, r, x in zip(series.values, rate, relative, strict=True)
        ]
        parts.append(table([series.axis, "M photons/s", "ratio"], lines))
    return "\n\n".join(parts)


def errors_table(found: Measured) -> str:
    """Stated error by photons and area."""
    lines = [
        [f"{n:,}", *(f"{100 * found.errors[side][k]:.3g} %" for side in AREAS_CM)]
        for k, n in enumerate(found.photons.tolist())
    ]
    return table(["photons", *(f"{side} cm" for side in AREAS_CM)], lines)


PAGE = """# Benchmarks

`python -m benchmarks` measured this page and the plot: {machine}. Load of the machine before the run: {load:.1f}.
Clock: {clock}.

![Figures of merit, rays, scaling and error](benchmarks.png)

The other programs come with `pip install underlit[test,peers]`, and an LLVM library (version 19 works) for Mitsuba and
Dr.Jit. `--quick` takes a few minutes and writes nothing; `--clock cpu` is for a machine that is busy otherwise.

## Start

`underlit trace` of scene A, medians of three rounds. A first trace has an empty cache and compiles its kernels, on two
cores where there are two; contenders in the table below compile in one process.

{start}

## The same tank in other programs

A tank of 60 x 30 x 36 cm with real panes, clear water of index 1.333, a flat soil of reflectance 0.05, four stones of
{n_triangles:,} triangles, and a Lambertian lamp of 54 x 7 cm 20 cm above the water. Water and glass absorb nothing,
because not all of these programs can model it. Each contender has a process of its own and runs in turn, {rounds} times
about {seconds:g} s with all threads, and then with as many photons on one; rates are medians, and so are gains, each of
two such runs one after the other. The figure of merit is
1 / (mean relative variance x seconds) over the cells of the soil that a camera under the water surface sees whole
({n_open:,} of {n_cells:,}), in areas of 1, 4 and 12 cm. Quasi-random points make it grow with the length of a run.

{speed}

{merit}
{missing}
All must find the same light:

{agreement}

## Ratios

In the same run, with all threads. A peer maps 16 bands by 16 runs of one wavelength each, so the figure of merit of
its spectral map is a sixteenth.

{ratios}

"Without gathering" leaves all light on the soil to traced photons, where the engine else solves for the light that
comes straight from the lamp. "Plain photons" are this project's own geometry kernels with pseudo-random numbers, one
wavelength per photon, absorbed or not by chance. The settings were the best that we found for each: for Mitsuba's
particle tracer independent samples (its stratified ones were slower than what they gained), for its path tracer
multi-jittered ones, a depth of 300 and roulette from the fifth bounce; for Dr.Jit one compiled loop with Kronecker
points and no plugin calls; for raysect roulette of 5 %.

## Rays

Closest hits of rays from anywhere in the water in any direction, one thread, processor time. Embree is the library
that comes with embreex, one ray a call from compiled code; photons are whole paths through the tank, traced.

{rays}

## Shipped scenes

Whole traces with all threads, from the scene in memory to the result: to a standard error in the median cell of 1 cm,
and in the mean light of every plant zone.

{scenes}

## Scaling

Photons traced a second by one thread, 16 bands, the same tank but for what each table varies; by processor time,
threads by the wall clock. Where light is gathered in the cells, its cost is in the rate.

{series}

Error of the light on the soil as the run itself states it (root mean square over areas), 16 bands summed:

{errors}

{memory}
"""


def page(found: Measured) -> str:
    """The whole page as Markdown."""
    plan = found.plan
    missing = [f"{row.title}: not measured, {row.why_not}." for row in found.rows.values() if row.why_not]
    memory = ""
    if found.memory:
        memory = "{}: peak memory {:,.0f} MB, {:.0f} s from start to finish.".format(*found.memory)
    return PAGE.format(
        machine=machine(),
        load=found.load_before,
        clock="elapsed time" if plan.clock == "wall" else "processor time over threads",
        rounds=plan.rounds,
        seconds=plan.seconds,
        n_open=int(found.mask.sum()),
        n_cells=found.mask.size,
        n_triangles=found.n_triangles,
        start=start_table(found) if found.starts else "Not measured.",
        speed=speed_table(found),
        merit=merit_table(found),
        missing="".join(f"\n{line}\n" for line in missing + found.missing),
        agreement=agreement_table(found),
        ratios=ratios_table(found),
        rays=rays_table(found) if found.rays else "Not measured: embreex is missing.",
        scenes=scenes_table(found),
        series=series_tables(found),
        errors=errors_table(found) if found.photons is not None else "",
        memory=memory,
    )
