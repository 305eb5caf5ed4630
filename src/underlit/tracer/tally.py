"""Sums of a trace under way, and how well they are known."""

from __future__ import annotations

import numpy as np

from underlit import spectra
from underlit.tracer.pack import Packed
from underlit.tracer.sources import Lamps

# Weights are summed in 1/SCALE: an error of 2^-31 per entry and batch, so that the light budget closes to 1e-9 in
# batches of a few photons too; the most photons of a stream, 2^32, still fit in 63 bits.
SCALE = float(2**30)


class Tally:
    """Sums of a trace under way: one row of sums for each source in each replicate."""

    def __init__(self, packed: Packed, lamps: Lamps, replicates: int, seed: int) -> None:
        self.packed, self.lamps, self.seed = packed, lamps, np.uint64(seed)
        n_sources, n_bands = len(lamps.sources), packed.arrays.n_bands
        self.cells = np.zeros((replicates, n_sources, packed.layout.n_cells, n_bands), np.int64)
        self.sinks = np.zeros((replicates, n_sources, len(packed.sinks), n_bands), np.int64)
        self.done = np.zeros(n_sources, np.int64)
        flux = np.sqrt(lamps.flux_umol_s())
        # Sources share the photons by the root of their light: best for the sum, and still fair to each alone.
        self.share = np.maximum(flux / max(flux.sum(), 1e-300), 0.02)
        self.share /= self.share.max()

    @property
    def replicates(self) -> int:
        return self.cells.shape[0]

    @property
    def photons(self) -> int:
        """Traced so far, all sources and replicates."""
        return int(self.replicates * self.done.sum())

    def soil_ppfd(self) -> np.ndarray:
        """PPFD of the soil cells with all channels at their usual setting, shape (K, C). [umol m-2 s-1]"""
        layout, soil = self.packed.layout, self.packed.layout.surfaces["soil"]
        first = layout.first["soil"]
        landed = self.cells[:, :, first : first + soil.n_cells]
        weight = np.zeros(landed.shape[1:2] + landed.shape[3:])
        par = spectra.weighting("PAR")
        for channel in self.lamps.channels:
            weight[channel.source] += channel.dim * spectra.hat_weights(
                self.packed.wavelength_nm, channel.spectrum * par
            )
        weight /= SCALE * self.done[:, None]
        return np.einsum("kscb,sb->kc", landed, weight, optimize=True) / soil.cell_area_m2

    def rel_err(self) -> tuple[float, float]:
        """Relative standard error of the median soil cell, and the median PPFD. [-, umol m-2 s-1]"""
        ppfd = self.soil_ppfd()
        mean = ppfd.mean(axis=0)
        lit = mean > 0.0
        if not lit.any():
            return np.inf, 0.0
        std_err = ppfd.std(axis=0, ddof=1)[lit] / np.sqrt(self.replicates)
        return float(np.median(std_err / mean[lit])), float(np.median(mean))
