"""Shipped scenes, from the scene in memory to a map that can be trusted: seconds."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from underlit.metrics import zones
from underlit.scene import load_scene
from underlit.tracer import trace

SCENES = Path(__file__).resolve().parents[1] / "scenes"
MAP_ERR, ZONE_ERR = 0.03, 0.01
_PRECISIONS = (0.03, 0.02, 0.014, 0.01, 0.007, 0.005, 0.0035)


@dataclass(frozen=True)
class Timed:
    """Median seconds of whole traces of one scene, kernels compiled already.

    Parameters
    ----------
    scene : str
    map_s, map_photons : float, int
        To a standard error of `MAP_ERR` in the median soil cell.
    zones_s, zones_photons : float, int
        To `ZONE_ERR` in the mean of every plant zone.
    """

    scene: str
    map_s: float
    map_photons: int
    zones_s: float
    zones_photons: int


def measure_scenes(letters: str, rounds: int) -> list[Timed]:
    """Time the scenes whose folders begin with these letters."""
    return [_timed(next(SCENES.glob(f"{letter}-*")), rounds) for letter in letters]


def _timed(folder: Path, rounds: int) -> Timed:
    scene = load_scene(folder / "scene.toml")
    trace(scene, photons=1000)  # compiles and loads
    precision = next(p for p in _PRECISIONS if _zone_error(trace(scene, precision=p)) <= ZONE_ERR)
    return Timed(folder.name, *_median_time(scene, MAP_ERR, rounds), *_median_time(scene, precision, rounds))


def _zone_error(res) -> float:
    """Greatest relative standard error of the light on a plant zone."""
    means = [zones.report(res, zone).mean for zone in zones.find_zones(res)]
    return max(float(mean.std_err / mean.value) for mean in means)


def _median_time(scene, precision: float, rounds: int) -> tuple[float, int]:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        res = trace(scene, precision=precision)
        times.append(time.perf_counter() - start)
    return sorted(times)[rounds // 2], int(scene.run.replicates * res.photons.sum())
