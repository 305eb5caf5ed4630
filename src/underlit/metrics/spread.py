"""How light is spread over an area: quantiles, shares and evenness of noisy maps, weighted by area."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from underlit.metrics.estimate import Estimate

FEW = 1 / 3  # noise over light of a cell with about nine photons; quantiles of darker ones say little
_CLEARLY = 1.3  # errors between two values for the same; less may be chance, and would add little
_WINDOW = 0.08  # share of the area to either side of a level, over which cells of like light are read


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

    That is exact where light and noise are normal and every cell is as noisy as the next. In a skew distribution, or
    where dark cells have a few photons each, quantiles may stay off by more than they vary. So the noise is taken
    off in a second way as well (`otherwise`); where the two differ by more than the error, that is part of it.
    """

    cells: Estimate
    area_m2: np.ndarray

    @property
    def share(self) -> np.ndarray:
        """Share of the area that each cell has."""
        return self.area_m2 / self.area_m2.sum()

    @cached_property
    def kept(self) -> float:
        """Standard deviation over the cells without noise, over that with noise, 0 to 1."""
        samples = self.cells.samples
        around = samples - (samples @ self.share)[:, None]
        observed = self.share @ around.mean(axis=0) ** 2
        if len(samples) < 2 or observed == 0.0:
            return 1.0
        noise = self.share @ around.var(axis=0, ddof=1) / len(samples)
        return float(np.sqrt(max(0.0, 1.0 - noise / observed)))

    @cached_property
    def otherwise(self) -> np.ndarray:
        """Light in each cell with the noise taken off in another way, shape (C,). [umol m-2 s-1]

        Notes
        -----
        Half of the replicates have twice the variance of all. By what all quantiles move from the whole to a half,
        they are moved back once more: right to the first order in the variance, for any distribution. Where cells
        have too few photons for that (`few`), one photon more is as likely as what was seen.
        """
        value, share = self.cells.value, self.share
        order = np.argsort(value, kind="stable")
        ranked = _Ranked(self.cells, order, share)
        found = np.array(value)
        found[order] = 2.0 * value[order] - ranked.in_halves()
        sparse = order[ranked.few(ranked.middle)]
        found[sparse] = np.maximum(found[sparse], value[sparse] + self._one_photon(sparse))
        return found

    def _one_photon(self, cells: np.ndarray) -> float:
        """Light that one photon brings to cells with few: their variance over their mean, as counts have it."""
        light = self.cells.value[cells].sum()
        return float((self.cells.std_err[cells] ** 2).sum() / light) if light > 0 else 0.0

    def of(self, function: Callable[[np.ndarray, float], np.ndarray | float]) -> Estimate:
        """What follows from the light of all cells, with an error that covers the noise left in it.

        Parameters
        ----------
        function : callable
            Takes cells, shape (C,), and the spread to keep of them; gives a number or an array.
        """
        kept = self.kept
        found = Estimate.of(lambda cells: function(cells, kept), self.cells)
        return covering(found, function(self.otherwise, 1.0))

    def few(self, *levels: float) -> np.ndarray:
        """Whether the cells about each level have too few photons for its quantile, shape (number of levels,)."""
        order = np.argsort(self.cells.value, kind="stable")
        return _Ranked(self.cells, order, self.share).few(np.array(levels))

    def mean(self) -> Estimate:
        """Mean over the area."""
        return self.cells.dot(self.share)

    def quantiles(self, *levels: float) -> Estimate:
        """Light that the given shares of the area stay below, samples of shape (K, number of levels)."""
        share = self.share
        return self.of(lambda cells, kept: quantiles(cells, share, levels, kept))

    def between(self, low: float, high: float) -> Estimate:
        """Share of the area whose light lies between two values."""
        share = self.share

        def within(cells: np.ndarray, kept: float) -> float:
            drawn = _drawn(cells, share, kept)
            return float(share @ ((drawn >= low) & (drawn <= high)))

        value, offsets = self.cells.value, self.cells.half_offsets
        halves = [within(value + sign * offset, 1.0) for offset in offsets for sign in (1.0, -1.0)]
        return (
            covering(self.of(within), 2.0 * within(value, 1.0) - float(np.mean(halves)))
            if halves
            else self.of(within)
        )

    def variation(self) -> Estimate:
        """Coefficient of variation over the area: standard deviation over mean."""
        kept, share = self.kept, self.share

        def ratio(cells: np.ndarray) -> float:
            mean = share @ cells
            return float(kept * np.sqrt(share @ (cells - mean) ** 2) / mean) if mean > 0 else np.nan

        return Estimate.of(ratio, self.cells)

    def min_over_mean(self) -> Estimate:
        """Darkest cell over the mean; for smoothed cells, as the least of noisy ones is always too low."""
        share = self.share

        def ratio(cells: np.ndarray, kept: float) -> float:
            mean = share @ cells
            return float(_drawn(cells, share, kept).min() / mean) if mean > 0 else np.nan

        return self.of(ratio)


def covering(found: Estimate, other: np.ndarray | float) -> Estimate:
    """An estimate with its error widened to hold a second value for the same that is clearly apart."""
    with np.errstate(invalid="ignore"):  # of two that are infinite
        apart = np.abs(other - found.value)
    return found.widened(np.where(apart > _CLEARLY * found.std_err, apart, 0.0))


def quantiles(
    cells: np.ndarray, share: np.ndarray, levels: Sequence[float] | np.ndarray, kept: float = 1.0
) -> np.ndarray:
    """Quantiles over an area.

    Parameters
    ----------
    cells, share : ndarray, shape (C,)
        Values, and the share of the area that each stands for.
    levels : sequence of float
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


class _Ranked:
    """The cells of an area in order of their light."""

    def __init__(self, cells: Estimate, order: np.ndarray, share: np.ndarray) -> None:
        self._cells, self._order, self._share = cells, order, share
        self.middle = np.cumsum(share[order]) - share[order] / 2

    def in_halves(self) -> np.ndarray:
        """Light at each rank, had there been half the replicates: the mean over halves, shape (C,)."""
        value, share, offsets = self._cells.value, self._share, self._cells.half_offsets
        if not len(offsets):
            return np.array(value[self._order])
        halves = [value + sign * offset for offset in offsets for sign in (1.0, -1.0)]
        return np.mean([quantiles(half, share, self.middle) for half in halves], axis=0)

    def few(self, levels: np.ndarray) -> np.ndarray:
        """Whether the noise of the cells about each level is over `FEW` of their light."""
        if self._cells.replicates < 3 or not self._cells.value.any():
            return np.zeros(len(levels), bool)
        light, noise = (self._about(levels, part) for part in (self._cells.value, self._cells.std_err**2))
        return (light <= 0.0) | (np.sqrt(noise) > FEW * light)

    def _about(self, levels: np.ndarray, values: np.ndarray) -> np.ndarray:
        """Mean of values over the cells about each level, as far to either side as the ends of the area allow."""
        order, share = self._order, self._share
        at = np.append(0.0, np.cumsum(share[order]))
        total = np.append(0.0, np.cumsum(share[order] * values[order]))
        low, high = np.clip(levels - _WINDOW, 0.0, 1.0), np.clip(levels + _WINDOW, 0.0, 1.0)
        return (np.interp(high, at, total) - np.interp(low, at, total)) / (high - low)


def _drawn(cells: np.ndarray, share: np.ndarray, kept: float) -> np.ndarray:
    mean = share @ cells
    return mean + kept * (cells - mean)
