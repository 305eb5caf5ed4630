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

    def __init__(self, packed: Packed, lamps: Lamps, replicates: int, seed: int, planted=()) -> None:
        self.packed, self.lamps, self.seed = packed, lamps, np.uint64(seed)
        n_sources, n_bands = len(lamps.sources), packed.arrays.n_bands
        self.cells = np.zeros((replicates, n_sources, packed.layout.n_cells, n_bands), np.int64)
        self.sinks = np.zeros((replicates, n_sources, len(packed.sinks), n_bands), np.int64)
        n_soil = packed.layout.surfaces["soil"].n_cells if packed.arrays.gathers else 0
        self.first_light = np.zeros((replicates, n_sources, n_soil, n_bands), np.int64)
        self.done = np.zeros(n_sources, np.int64)  # photons of each stream
        self.gathered = np.zeros(n_sources, np.int64)  # points in each soil cell
        self.soil_known = False  # as well as asked for: no more points are due
        # Variance over the soil of what photons and of what points have brought, by source.
        self.variance = np.zeros(n_sources), np.zeros(n_sources)
        self._weight = _usual_weight(packed, lamps)
        self._planted = tuple(planted)  # names of hardscape with plants on it
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

    def landed(self, name: str) -> np.ndarray:
        """Sums of a surface, shape (K, S, C, B); for the soil without gathered light until `settle`."""
        first, surface = self.packed.layout.first[name], self.packed.layout.surfaces[name]
        return self.cells[:, :, first : first + surface.n_cells]

    def settle(self) -> None:
        """Count gathered light in as if photons had brought it; the last thing to do, when errors are known."""
        soil, worth = self.landed("soil"), self.done / np.maximum(self.gathered, 1)
        if self.gathered.any():
            # One replicate at a time: they are large.
            for sums, light in zip(soil, self.first_light, strict=True):
                sums += np.rint(light * worth[:, None, None]).astype(np.int64)
        self.first_light = self.first_light[:, :, :0].copy()

    def rel_err(self, each=map) -> tuple[float, float]:
        """Relative standard error of the median soil cell, and the median PPFD, at usual settings. [-, umol m-2 s-1]

        `each` is what works out the replicates, one by one as `map` does, or on all threads.
        """
        soil = self.packed.layout.surfaces["soil"]
        first = self.packed.layout.first["soil"]
        traced = self._ppfd(self.cells[:, :, first : first + soil.n_cells], self.done, each)
        ppfd = traced.sum(axis=1)
        if self.first_light.size:
            gathered = self._ppfd(self.first_light, self.gathered, each)
            ppfd += gathered.sum(axis=1)
            self.variance = tuple(part.var(axis=0, ddof=1).sum(axis=1) for part in (traced, gathered))
        mean = ppfd.mean(axis=0)
        lit = mean > 0.0
        if not lit.any():
            return np.inf, 0.0
        std_err = ppfd.std(axis=0, ddof=1)[lit] / np.sqrt(self.replicates)
        return float(np.median(std_err / mean[lit])), float(np.median(mean))

    def planted_err(self) -> float:
        """Relative standard error of the light on hardscape with plants on it, the greatest among the pieces.

        Of the median patch, over the root of how many there are: light on the whole would hide what the shade is like.
        """
        return max((self._patch_err(f"hardscape {piece}") for piece in self._planted), default=0.0)

    def _patch_err(self, name: str) -> float:
        first, n_cells = self.packed.layout.first[name], self.packed.layout.surfaces[name].n_cells
        weight = self._weight / self.done[:, None]
        light = np.einsum("kscb,sb->kc", self.cells[:, :, first : first + n_cells], weight)
        mean = light.mean(axis=0)
        lit = mean > 0.0
        if not lit.any():
            return 0.0
        std_err = light.std(axis=0, ddof=1)[lit] / np.sqrt(self.replicates)
        return float(np.median(std_err / mean[lit]) / np.sqrt(lit.sum()))

    def _ppfd(self, sums: np.ndarray, count: np.ndarray, each) -> np.ndarray:
        """PPFD of soil cells by source from sums of so many photons or points, (K, S, C). [umol m-2 s-1]"""
        weight = self._weight / (SCALE * count[:, None])
        area_m2 = self.packed.layout.surfaces["soil"].cell_area_m2
        # Not `optimize=True`: that calls BLAS, whose threads spin for a while after and take a core from the tracer's.
        return np.stack(list(each(lambda one: np.einsum("scb,sb->sc", one, weight), sums))) / area_m2


def _usual_weight(packed: Packed, lamps: Lamps) -> np.ndarray:
    """PAR per unit of light in each band, channels at their usual setting, shape (S, B). [umol s-1]"""
    weight = np.zeros((len(lamps.sources), packed.arrays.n_bands))
    par = spectra.weighting("PAR")
    for channel in lamps.channels:
        weight[channel.source] += channel.dim * spectra.hat_weights(
            packed.wavelength_nm, channel.spectrum * par
        )
    return weight
