"""Colour stripes: how far the mix of red and blue changes from place to place, as under separate LEDs or lenses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.metrics import maps
from underlit.metrics.estimate import Estimate
from underlit.metrics.footprint import Lattice
from underlit.metrics.zones import LEAST_OPEN_SHARE
from underlit.results.result import Result, Surface

CELL_M = 0.01
LEAST_LIGHT = 0.2  # of the median; in deeper shade nobody sees a stripe, and noise would drown it
LEAST_BLUE = 1e-3  # of red: what is less comes from the tails of red LEDs, and is no mixed light


@dataclass(frozen=True, eq=False)
class Stripes:
    """Evenness of colour over the open soil.

    Parameters
    ----------
    index : Estimate
        Coefficient of variation of red:blue over cells of about 1 cm, those in deep shade left out, without the part
        that noise adds. 0 is even;
        NaN where there is next to no blue light.
    cell_m : float
        Size of the cells; larger than asked for where the trace has larger ones. [m]
    """

    index: Estimate
    cell_m: float


def stripes(res: Result, dims: maps.Dims = None, cell_m: float = CELL_M) -> Stripes:
    """Stripe index of the soil.

    Parameters
    ----------
    res : Result
    dims : optional
        Settings of the channels.
    cell_m : float
        Finer cells of the trace are joined up to about this size. [m]

    Returns
    -------
    Stripes

    Notes
    -----
    Photons of 600-700 over those of 400-500 nm. Red and blue of one source land together, so most of their noise
    cancels in the ratio. What is left is known from the replicates and taken off the variance; it is unbiased before
    the root is drawn, and the root of a negative difference is 0.
    """
    soil = res.surface("soil")
    lattice = Lattice.over(soil)
    is_open = lattice.shares(~lattice.in_hardscape(res)) >= LEAST_OPEN_SHARE
    join = _joining(soil, cell_m)
    red, blue = (_joined(soil, maps.ppfd(res, "soil", dims, band), is_open, join) for band in ("red", "blue"))
    if not blue.value.sum() > LEAST_BLUE * red.value.sum():
        return Stripes(Estimate(np.full(res.replicates, np.nan)), _size(soil, join))
    lit = blue.value > LEAST_LIGHT * np.median(blue.value)
    return Stripes(variation_of_ratio(red[lit], blue[lit]), _size(soil, join))


def variation_of_ratio(top: Estimate, bottom: Estimate) -> Estimate:
    """Coefficient of variation over places of the ratio of two noisy maps, samples (K, C); noise taken off."""
    ratio = top.value / bottom.value
    # The ratio of each replicate, straightened around the mean, so that no replicate divides by its own small number.
    samples = ratio + (top.samples - ratio * bottom.samples) / bottom.value
    n_cells = samples.shape[1]
    around = samples - samples.mean(axis=1, keepdims=True)
    noise = float(around.var(axis=0, ddof=1).sum()) / len(samples) / max(n_cells - 1, 1)

    def square(ratios: np.ndarray) -> float:
        return float((ratios.var(ddof=1) - noise) / ratios.mean() ** 2)

    return _root(Estimate.of(square, Estimate(samples)))


def _root(square: Estimate) -> Estimate:
    """Root of a noisy square, 0 where it is below 0; its error is how far the root of one error more is away."""
    value = np.sqrt(max(float(square.value), 0.0))
    if not square.std_err > 0:
        return Estimate(np.full(square.replicates, value))
    error = np.sqrt(value**2 + square.std_err) - value
    return Estimate(value + (square.samples - square.value) * (error / square.std_err))


def _joining(soil: Surface, cell_m: float) -> tuple[int, int]:
    """Cells to join along y and x."""
    assert soil.shape is not None and soil.x_edges_m is not None and soil.y_edges_m is not None
    sizes = np.diff(soil.y_edges_m).mean(), np.diff(soil.x_edges_m).mean()
    ny, nx = (max(1, round(cell_m / size)) for size in sizes)
    return ny, nx


def _size(soil: Surface, join: tuple[int, int]) -> float:
    assert soil.x_edges_m is not None
    return float(np.diff(soil.x_edges_m).mean() * join[1])


def _joined(soil: Surface, density: Estimate, is_open: np.ndarray, join: tuple[int, int]) -> Estimate:
    """Mean of each block of cells over its open ones; blocks without are left out, as is what fills no block."""
    assert soil.shape is not None
    rows, columns = soil.shape
    ny, nx = (size // each for size, each in zip((rows, columns), join, strict=True))

    def total(cells: np.ndarray) -> np.ndarray:
        grid = cells.reshape(-1, rows, columns)[:, : ny * join[0], : nx * join[1]]
        return grid.reshape(-1, ny, join[0], nx, join[1]).sum(axis=(2, 4)).reshape(-1, ny * nx)

    count = total(is_open.astype(float))[0]
    return Estimate(total(density.samples * is_open)[:, count > 0] / count[count > 0])
