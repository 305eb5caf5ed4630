"""How long `underlit` takes to start: its help, and a trace of a small scene until the first light is counted."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.shipped import SCENES
from benchmarks.worker import empty_caches

SCENE = SCENES / "a-kitchen-cube" / "scene.toml"
_UNDERLIT = [sys.executable, "-m", "underlit"]


@dataclass(frozen=True)
class Start:
    """Seconds from the call of a command, in each round.

    Parameters
    ----------
    command : str
    first_light_s : list of float
        To its first line on the light; none for a command that traces nothing.
    whole_s : list of float
        To its end.
    """

    command: str
    first_light_s: list[float]
    whole_s: list[float]

    def medians(self) -> tuple[float, float]:
        """Of both."""
        return float(np.median(self.first_light_s or [np.nan])), float(np.median(self.whole_s))


def measure_start(rounds: int) -> list[Start]:
    """Time the commands in turn, each trace once with nothing compiled and once with what that has left."""
    told, cold, warm = (
        Start("`underlit --help`", [], []),
        Start("first trace", [], []),
        Start("later trace", [], []),
    )
    for _ in range(rounds):
        start = time.perf_counter()
        subprocess.run([*_UNDERLIT, "--help"], stdout=subprocess.DEVNULL, check=True)
        told.whole_s.append(time.perf_counter() - start)
        with empty_caches():
            _trace(cold)
            _trace(warm)
    return [told, warm, cold]


def _trace(found: Start) -> None:
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        command = [*_UNDERLIT, "trace", str(SCENE), "-o", str(Path(folder, "tank.h5"))]
        with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
            said = [(time.perf_counter() - start, line) for line in process.stderr]
        times = [seconds for seconds, line in said if " photons in " in line]
        if process.returncode != 0 or not times:
            raise RuntimeError("underlit trace failed: " + "".join(line for _, line in said))
        found.first_light_s.append(times[0])
        found.whole_s.append(time.perf_counter() - start)
