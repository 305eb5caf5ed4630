"""Figure of merit: one over the mean relative variance of an area's light times the seconds that it took."""

from __future__ import annotations

import numpy as np

from benchmarks.tank import Tank
from underlit.kernels.bvh import any_hit, build_bvh, new_stack

AREAS_CM = (1, 4, 12)
CAMERA_BELOW_WATER_M = 0.001


def camera_point(tank: Tank) -> np.ndarray:
    """Where the camera hangs that a particle tracer needs: in the water, so that nothing refracts its view."""
    lx, ly, _ = tank.size
    return np.array([0.5 * lx, 0.5 * ly, tank.water - CAMERA_BELOW_WATER_M / tank.unit_m])


def open_cells(tank: Tank, per_side: int = 7) -> np.ndarray:
    """Soil cells that the camera sees whole; all figures are of these, for every contender.

    Returns
    -------
    ndarray of bool, shape (ny, nx)
    """
    bvh, stack = build_bvh(tank.vertices, tank.faces), new_stack()
    eye = camera_point(tank)
    ny, nx = tank.cells
    inside = (np.arange(per_side) + 0.5) / per_side
    seen = np.ones(tank.cells, bool)
    for j, i in np.ndindex(ny, nx):
        for v in inside:
            for u in inside:
                target = np.array([(i + u) * tank.cell, (j + v) * tank.cell, tank.soil])
                if any_hit(bvh, *eye, *(target - eye), 1.0, -1, stack):
                    seen[j, i] = False
    return seen


def by_area(maps: np.ndarray, mask: np.ndarray, side: int) -> np.ndarray:
    """Sums over square blocks of cells, of those blocks of which at least half is open.

    Parameters
    ----------
    maps : ndarray, shape (..., ny, nx)
    mask : ndarray of bool, shape (ny, nx)
        Cells that count.
    side : int
        Cells along a block.

    Returns
    -------
    ndarray, shape (..., n_blocks)
    """
    ny, nx = (n // side for n in mask.shape)
    blocks = (ny, side, nx, side)
    cut = (slice(ny * side), slice(nx * side))
    used = mask[cut].reshape(blocks).sum(axis=(1, 3)) >= 0.5 * side * side
    seen = (np.asarray(maps, np.float64) * mask)[..., *cut]
    return seen.reshape(*maps.shape[:-2], *blocks).sum(axis=(-3, -1))[..., used]


def merits(maps, mask, streams_per_run: int, seconds_per_run: float, mean=None) -> dict[int, float]:
    """Figure of merit on each of `AREAS_CM`, from the maps of all streams of all runs.

    Parameters
    ----------
    maps : ndarray, shape (n, bands, ny, nx)
        Independent estimates.
    mask : ndarray of bool, shape (ny, nx)
        Cells that count.
    streams_per_run : int
        A run's estimate is the mean of this many.
    seconds_per_run : float
    mean : ndarray, shape (bands, ny, nx), optional
        What variances are relative to; default the mean of `maps`.

    Returns
    -------
    dict of area [cm] to float
        [1/s]
    """
    mean = np.asarray(maps, np.float64).mean(axis=0) if mean is None else mean
    merit = {}
    for side in AREAS_CM:
        variance = by_area(maps, mask, side).var(axis=0, ddof=1) / streams_per_run
        relative = np.mean(variance / by_area(mean, mask, side) ** 2)
        merit[side] = float(1.0 / (relative * seconds_per_run))
    return merit
