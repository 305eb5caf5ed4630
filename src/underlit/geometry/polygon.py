"""Outlines seen from above."""

from __future__ import annotations

import numpy as np


def grid_in_outline(outline_m, x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
    """Which points of a rectangular grid lie in a closed outline (even-odd rule).

    Parameters
    ----------
    outline_m : array_like, shape (n, 2)
        Corners in order. [m]
    x_m, y_m : ndarray, shape (nx,), (ny,)
        Columns and rows of the grid. [m]

    Returns
    -------
    ndarray of bool, shape (ny, nx)
    """
    inside = np.zeros((len(y_m), len(x_m)), bool)
    corners = np.asarray(outline_m, float)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        rows = (y0 > y_m) != (y1 > y_m)
        if rows.any():
            crossing = x0 + (y_m[rows] - y0) * (x1 - x0) / (y1 - y0)
            inside[rows] ^= x_m[None, :] < crossing[:, None]
    return inside
