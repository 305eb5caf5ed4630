"""How light is spread over an area: quantiles, shares and evenness of noisy maps, weighted by area."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.metrics.estimate import Estimate


@dataclass(frozen=True, eq=False)
class Area:
    """Cells of a map, each with the area that counts.

    Parameters
    ----------
    cells : Estimate, samples of shape (K, C)
        Light in each cell. [umol m-2 s-1]
    area_m2 : ndarray, shape (C,)
        [m2]

    Notes
    -----
    Noise widens the distribution of a map: the tenth percentile of a noisy map is too low, its ninetieth too
    high. The variance that noise adds to the cells is known from the replicates, so the cells are drawn
    towards their mean until only the other variance is left (`kept`). The mean stays, and so does the median
    of an even distribution.
    """

    cells: Estimate
    area_m2: np.ndarray

    @property
    def share(self) -> np.ndarray:
        """Share of the area that each cell has."""
        return self.area_m2 / self.area_m2.sum()

    @property
    def kept(self) -> float:
        """Standard deviation over the cells without noise, over that with noise, 0 to 1."""
        samples = self.cells.samples
        around = samples - (samples @ self.share)[:, None]
        observed = self.share @ around.mean(axis=0) ** 2
        if len(samples) < 2 or observed == 0.0:
            return 1.0
        noise = self.share @ around.var(axis=0, ddof=1) / len(samples)
        return float(np.sqrt(max(0.0, 1.0 - noise / observed)))

    def mean(self) -> Estimate:
        """Mean over the area."""
        return self.cells.dot(self.share)

    def quantiles(self, *levels: float) -> Estimate:
        """Light that the given shares of the area stay below, samples of shape (K, number of levels)."""
        kept, share = self.kept, self.share
        return Estimate.of(lambda cells: quantiles(cells, share, levels, kept), self.cells)

    def between(self, low: float, high: float) -> Estimate:
        """Share of the area whose light lies between two values."""
        kept, share = self.kept, self.share

        def within(cells: np.ndarray) -> float:
            drawn = _drawn(cells, share, kept)
            return float(share @ ((drawn >= low) & (drawn <= high)))

        return Estimate.of(within, self.cells)

    def variation(self) -> Estimate:
        """Coefficient of variation over the area: standard deviation over mean."""
        kept, share = self.kept, self.share

        def ratio(cells: np.ndarray) -> float:
            mean = share @ cells
            return float(kept * np.sqrt(share @ (cells - mean) ** 2) / mean) if mean > 0 else np.nan

        return Estimate.of(ratio, self.cells)

    def min_over_mean(self) -> Estimate:
        """Darkest cell over the mean; for smoothed cells, as the least of noisy ones is always too low."""
        kept, share = self.kept, self.share

        def ratio(cells: np.ndarray) -> float:
            mean = share @ cells
            return float(_drawn(cells, share, kept).min() / mean) if mean > 0 else np.nan

        return Estimate.of(ratio, self.cells)


def quantiles(
    cells: np.ndarray, share: np.ndarray, levels: tuple[float, ...], kept: float = 1.0
) -> np.ndarray:
    """Quantiles over an area.

    Parameters
    ----------
    cells, share : ndarray, shape (C,)
        Values, and the share of the area that each stands for.
    levels : tuple of float
        0 to 1.
    kept : float
        Spread to keep, see `Area`.

    Returns
    -------
    ndarray, shape (number of levels,)
    """
    order = np.argsort(cells)
    middle = np.cumsum(share[order]) - share[order] / 2
    found = np.interp(levels, middle, cells[order])
    mean = share @ cells
    return mean + kept * (found - mean)


def _drawn(cells: np.ndarray, share: np.ndarray, kept: float) -> np.ndarray:
    mean = share @ cells
    return mean + kept * (cells - mean)
