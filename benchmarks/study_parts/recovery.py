"""How often the intervals of `meter` hold the truth: trials with noisy readings of scene E, its light traced apart."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np

import underlit
from benchmarks.study_parts import SCENES_FOLDER, markdown
from underlit.scene.edit import change
from underlit.studies import fit, meter, response
from underlit.studies.readings import Head, Spot

TRIALS, PHOTONS, SCALE, COLOUR_PER_M = 200, 1_000_000, 0.85, 3.3
PLACES_M = ((0.1, 0.08), (0.65, 0.08), (0.375, 0.225), (0.1, 0.37), (0.65, 0.37))
DEPTHS_M = (0.15, 0.31, 0.48)
NOISE, PLACING_M = 0.05, 0.01


def measure(folder: Path, options: Any) -> str:
    """Fit readings with 5 % of noise by a hand that is 1 cm off, trial after trial."""
    scene = underlit.load_scene(SCENES_FOLDER / "e-blackwater" / "scene.toml")
    spots = [Spot((x, y, z)) for z in DEPTHS_M for x, y in PLACES_M]
    model = response.trace_response(scene, spots, folder / "traces", Head(), photons=PHOTONS)
    truth = change(scene, {"water.colour_a440": f"{COLOUR_PER_M} 1/m"})
    shown = SCALE * meter.predict(truth, spots, folder / "traces", photons=PHOTONS, seed=77).shown.value
    rng, found = np.random.default_rng(5), []
    for _ in range(TRIALS):
        astray = np.exp((model.slope * PLACING_M * rng.standard_normal(model.slope.shape)).sum(axis=1))
        values = shown * astray * (1 + NOISE * rng.standard_normal(len(shown)))
        read = [dataclasses.replace(s, reading=float(v)) for s, v in zip(spots, values, strict=True)]
        found.append(fit.solve(model, read, scene.water.colour_a440, noise=NOISE, placing_m=PLACING_M))
    pairs = {"output of the lamps": ([f.factors[0] for f in found], SCALE),
             "a440 of the water": ([f.colour_per_m for f in found], COLOUR_PER_M)}  # fmt: skip
    rows = []
    for name, (each, true) in pairs.items():
        held = sum(q.low <= true <= q.high for q in each)
        half = np.median([(q.high - q.low) / 2 for q in each])
        rows.append(
            [name, true, f"{held} of {TRIALS}", f"{half:.2g}", f"{np.mean([q.value for q in each]):.3g}"]
        )
    return markdown(
        ["", "truth", "held by the 95 % interval", "half an interval, median", "mean of the fits"], rows
    )
