"""Twelve heights of the bar on scene B: time of the sweep, and what common random numbers are worth."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

import underlit
from benchmarks.study_parts import SCENES_FOLDER, Clock, add_row, markdown, rows_of
from underlit.studies.measures import SURE, Measure, difference, measures
from underlit.studies.ranges import read_axis
from underlit.studies.store import Job, Store, run_all
from underlit.studies.sweep import sweep

RANGE, PHOTONS, CHEAP = "fixture.bar.height=10 cm to 32 cm in 12", 4_000_000, 250_000
_NAMES = ("carpet median", "carpet P10", "fine grass median", "fine grass P10", "spill")


def measure(folder: Path, options: Any) -> str:
    """Sweep with one seed and with a seed for each height, at equal photons; a table of both."""
    scene = underlit.load_scene(SCENES_FOLDER / "b-rock-slope" / "scene.toml")
    underlit.trace(scene, photons=2_000)  # compiled, and in memory
    path = folder / "times.jsonl"
    if not rows_of(path):
        clock = Clock()
        sweep(scene, [read_axis(RANGE)], folder / "4M", photons=PHOTONS)
        add_row(path, clock.read())
    taken = rows_of(path)[0]
    print(
        f"12 heights of {PHOTONS:,} photons: {taken['wall_s']:.0f} s, processors {taken['cpu_s']:.0f} s",
        flush=True,
    )
    common = sweep(scene, [read_axis(RANGE)], folder / "cheap", photons=CHEAP).measures
    own = _own_seeds(scene, folder / "cheap")
    rows = []
    for name in _NAMES:
        one, other = (_steps(each, name) for each in (common, own))
        gain = np.sqrt(np.mean(other[:, 1] ** 2) / np.mean(one[:, 1] ** 2))
        sure = [int((np.abs(each[:, 0]) >= SURE * each[:, 1]).sum()) for each in (one, other)]
        middle = [np.median(np.abs(each[:, 0]) / each[:, 1]) for each in (one, other)]
        rows.append(
            [
                name,
                f"{middle[0]:.1f}",
                f"{middle[1]:.1f}",
                f"{sure[0]} of 11",
                f"{sure[1]} of 11",
                f"{gain:.2f}",
            ]
        )
    return markdown(["step of 2 cm", "errors, one seed", "errors, own seeds", "sure, one seed", "sure, own seeds",
                     "error of a step, own over one"], rows)  # fmt: skip


def _own_seeds(scene: underlit.Scene, folder: Path) -> list[dict[str, Measure]]:
    from underlit.scene.edit import change

    axis = read_axis(RANGE)
    jobs = [Job(change(scene, {axis.path: value}), CHEAP, 500 + i) for i, value in enumerate(axis.values)]
    return [measures(result) for _, result in run_all(jobs, Store(folder))]


def _steps(found: list[dict[str, Measure]], name: str) -> np.ndarray:
    """Differences of neighbours with their errors, (11, 2)."""
    changes = [difference(one[name].value, other[name].value) for one, other in pairwise(found)]
    return np.array([[float(change.value), float(change.std_err)] for change in changes])
