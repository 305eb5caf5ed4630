"""This project's engine, as `underlit.trace` drives it: independent streams, spread over threads."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from benchmarks.tank import Setup, prepare, scene_text
from underlit import spectra
from underlit.scene.loader import from_text
from underlit.tracer.cores import Cores
from underlit.tracer.run import run_layers
from underlit.tracer.tally import SCALE, Tally

# Peers count light on the soil alone, so no horizontal planes here; `scaling` shows what those cost.
SOIL_ONLY = "[run]\nplanes = []\n"
ONE_NM = np.array([550.0])


class Tallied:
    """The benchmark tank in the engine's arrays."""

    unit = "photons"
    streams = 16  # as `underlit.trace` has by default

    def __init__(self, bands: int) -> None:
        nodes = {1: ONE_NM, len(spectra.NODES_NM): spectra.NODES_NM}[bands]
        self.bands = bands  # wavelength bands of a map
        self.setup = prepare(from_text(scene_text(extra=SOIL_ONLY)), nodes, clear=bands == 1)
        self.shape = self.setup.packed.layout.surfaces["soil"].shape


class Engine(Tallied):
    """The engine; `gathers` as in `Tracer`."""

    def __init__(self, bands: int, gathers: bool | None = None) -> None:
        super().__init__(bands)
        self.tracer = Tracer(self.setup, gathers)

    def run(self, n: int, threads: int, seed: int) -> np.ndarray:
        cells = self.tracer.cells(n, threads, seed, self.streams)
        ny, nx = self.shape
        return np.moveaxis(cells[:, : ny * nx].reshape(self.streams, ny, nx, -1), -1, 1)


class Tracer:
    """`underlit.trace` for scenes that no file can say: clear water, one wavelength, other shapes.

    Parameters
    ----------
    setup : Setup
    gathers : bool, optional
        Whether first light on the soil is solved for instead of traced; default as the engine chooses.
    """

    def __init__(self, setup: Setup, gathers: bool | None = None) -> None:
        self.packed, self.lamps = setup.packed, setup.lamps
        if gathers is not None:
            self.packed = replace(self.packed, arrays=self.packed.arrays._replace(gathers=gathers))

    def cells(self, n: int, threads: int, seed: int, streams: int = Tallied.streams) -> np.ndarray:
        """Light per cell and band over light emitted, shape (streams, C, B)."""
        tally = Tally(self.packed, self.lamps, streams, seed)
        with Cores(tally, threads) as engine:
            run_layers(tally, engine, None, n, None, 0.0)
        tally.settle()
        return tally.cells[:, 0] / (SCALE * tally.done[0])
