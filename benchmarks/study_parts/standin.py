"""Error of the stand-in of `place`: lamps of several sizes at random places on scene B, against traces."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

import underlit
from benchmarks.study_parts import SCENES_FOLDER, add_row, markdown, rows_of
from underlit.metrics import maps
from underlit.metrics.spread import quantiles
from underlit.metrics.zones import find_zones
from underlit.scene.edit import change
from underlit.studies.finalist import spill_by_channel
from underlit.studies.hang import hang
from underlit.studies.lattice_store import kept_lattice
from underlit.studies.search import room_over

SIZES_CM = ((3, 3), (15, 7), (54, 7))
HEIGHTS_M = (0.1, 0.2, 0.3)
PLACES, PHOTONS, SEED = 50, 250_000, 11
_LEVELS = (0.1, 0.5, 0.9)


def measure(folder: Path, options: Any) -> str:
    """Trace each lamp at random places and heights; a table of how far the stand-in is off."""
    scene = underlit.load_scene(SCENES_FOLDER / "b-rock-slope" / "scene.toml")
    table = []
    for a, b in SIZES_CM:
        path = folder / f"{a}x{b}.jsonl"
        sized = change(scene, {"fixture.bar.size": [f"{a} cm", f"{b} cm"]})
        _trace(sized, folder, path)
        table.append([f"{a} x {b} cm", *_summary(rows_of(path))])
    columns = [
        "lamp",
        "median, rms",
        "P10, rms",
        "P90, rms",
        "spill, rms",
        "worst median",
        "noise of a traced median",
    ]
    return markdown(columns, table)


def _trace(scene: underlit.Scene, folder: Path, path: Path) -> None:
    rng, lamp = np.random.default_rng(SEED), scene.fixture[0]
    room = np.array(room_over(scene, lamp))
    done = len(rows_of(path))
    for i in range(PLACES):
        height, place = rng.choice(HEIGHTS_M), rng.uniform(room[:, 0], room[:, 1])
        if i < done:
            continue
        at_height = lamp.model_copy(update={"height": float(height)})
        lattice, _ = kept_lattice(scene, at_height, folder, seed=SEED)
        hung = hang(scene, lamp, [place], np.ones((1, len(lamp.channel))), height, 0.0)
        res = underlit.trace(hung, photons=PHOTONS, seed=100 + i)
        add_row(path, _off(lattice, hung.fixture[0].position, res))
        print(f"{path.stem}: {i + 1} of {PLACES}", flush=True)


def _off(lattice, place, res) -> dict[str, Any]:
    """Stand-in over trace, less one, for each zone."""
    light, spill = lattice.at(np.array([place]))
    zones, errors = [], []
    for zone, one, kept in zip(find_zones(res), light, lattice.kept, strict=True):
        true = zone.light(maps.ppfd(res, zone.surface)).quantiles(*_LEVELS)
        own = lattice.zones[len(zones)].share
        zones.append((quantiles(one[0], own, _LEVELS, kept) / true.value - 1).tolist())
        errors.append(float(true.std_err[1] / true.value[1]))
    room = float(spill_by_channel(res).value.sum())
    return {"zones": zones, "spill": float(spill[0]) / room - 1, "noise": errors}


def _summary(rows: list[dict[str, Any]]) -> list[str]:
    off = np.array([row["zones"] for row in rows])  # places, zones, levels
    spill, noise = (np.array([row[key] for row in rows]) for key in ("spill", "noise"))
    p10, median, p90 = np.sqrt((off**2).mean(axis=(0, 1)))
    numbers = (
        median,
        p10,
        p90,
        np.sqrt((spill**2).mean()),
        np.abs(off[:, :, 1]).max(),
        np.sqrt((noise**2).mean()),
    )
    return [f"{100 * value:.1f} %" for value in numbers]
