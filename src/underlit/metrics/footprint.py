"""A fine lattice of points over a horizontal grid: which share of a cell lies in an outline or in a stone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.results.result import Result, Surface

PER_CELL = 5  # points per cell and direction: 2 mm for cells of 1 cm
NUDGE = 1.234e-7  # of a cell: keeps points off the edges of meshes that lie exactly on the lattice


@dataclass(frozen=True)
class Lattice:
    """Points spread evenly over the cells of a horizontal grid.

    Parameters
    ----------
    x_m, y_m : ndarray, shape (nx * PER_CELL,), (ny * PER_CELL,)
        [m]
    z_m : ndarray, shape (ny * PER_CELL, nx * PER_CELL)
        On the surface; within a cell it is taken as flat, with the slope of its neighbours. [m]
    """

    x_m: np.ndarray
    y_m: np.ndarray
    z_m: np.ndarray

    @classmethod
    def over(cls, surface: Surface) -> Lattice:
        """The lattice of a horizontal grid such as `soil`."""
        if surface.shape is None or surface.x_edges_m is None or surface.y_edges_m is None:
            raise ValueError(f"`{surface.name}` is no grid")
        x, y = _subdivide(surface.x_edges_m), _subdivide(surface.y_edges_m)
        within = (np.arange(PER_CELL) + 0.5) / PER_CELL - 0.5
        height = surface.cell_centre_m[:, 2].reshape(surface.shape)
        z = _fine(height, 1.0, 1.0)
        z = z + _fine(_rise(height, 1), 1.0, within) + _fine(_rise(height, 0), within, 1.0)
        return cls(x, y, z)

    def around(self, x_m: float, y_m: float, radius_m: float) -> tuple[Lattice, np.ndarray]:
        """The part over the cells that a circle touches, and the numbers of these cells in the whole grid."""
        rows, columns = (_touched(axis, at, radius_m) for axis, at in ((self.y_m, y_m), (self.x_m, x_m)))
        nx = len(self.x_m) // PER_CELL
        numbers = (np.arange(*rows)[:, None] * nx + np.arange(*columns)).ravel()
        y, x = (slice(first * PER_CELL, end * PER_CELL) for first, end in (rows, columns))
        return Lattice(self.x_m[x], self.y_m[y], self.z_m[y, x]), numbers

    def shares(self, inside: np.ndarray) -> np.ndarray:
        """Share of the points of each cell that are marked: (ny * n, nx * n) booleans to (C,)."""
        ny, nx = (size // PER_CELL for size in inside.shape)
        return inside.reshape(ny, PER_CELL, nx, PER_CELL).mean(axis=(1, 3)).ravel()

    def in_outline(self, outline_m: np.ndarray) -> np.ndarray:
        """Which points lie in a closed outline, shape (n, 2), seen from above (even-odd rule)."""
        inside = np.zeros(self.z_m.shape, bool)
        corners = np.asarray(outline_m, float)
        for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            rows = (y0 > self.y_m) != (y1 > self.y_m)
            if rows.any():
                crossing = x0 + (self.y_m[rows] - y0) * (x1 - x0) / (y1 - y0)
                inside[rows] ^= self.x_m[None, :] < crossing[:, None]
        return inside

    def in_hardscape(self, res: Result) -> np.ndarray:
        """Which points lie inside a piece of hardscape.

        A vertical ray from inside a closed mesh leaves it once more often than it enters: an odd number of
        triangles above a point means that it lies inside. Pieces are counted one by one, as they may overlap.
        """
        inside = np.zeros(self.z_m.shape, bool)
        for name, surface in res.surfaces.items():
            if name.startswith("hardscape "):
                inside |= self._triangles_above(surface.vertices_m[surface.faces]) % 2 == 1
        return inside

    def _triangles_above(self, triangles: np.ndarray) -> np.ndarray:
        """Number of triangles, shape (F, 3, 3), above each point."""
        count = np.zeros(self.z_m.size, np.int64)
        low, high = triangles.min(axis=1), triangles.max(axis=1)
        first_x, last_x = np.searchsorted(self.x_m, low[:, 0]), np.searchsorted(self.x_m, high[:, 0])
        first_y, last_y = np.searchsorted(self.y_m, low[:, 1]), np.searchsorted(self.y_m, high[:, 1])
        n_y = last_y - first_y
        n_points = (last_x - first_x) * n_y
        for chunk in _chunks(n_points):
            face = np.repeat(chunk, n_points[chunk])
            rank = _ranks(n_points[chunk])
            i, j = first_x[face] + rank // n_y[face], first_y[face] + rank % n_y[face]
            points = np.column_stack([self.x_m[i], self.y_m[j], self.z_m[j, i]])
            hit = _is_above(points, triangles[face])
            count += np.bincount(j[hit] * len(self.x_m) + i[hit], minlength=len(count))
        return count.reshape(self.z_m.shape)


def _subdivide(edges: np.ndarray) -> np.ndarray:
    within = (np.arange(PER_CELL) + 0.5 + NUDGE) / PER_CELL
    return (edges[:-1, None] + np.diff(edges)[:, None] * within).ravel()


def _touched(points: np.ndarray, at: float, radius: float) -> tuple[int, int]:
    """First cell and the one after the last that lie within a radius along one axis; one at least."""
    low, high = np.searchsorted(points, (at - radius, at + radius))
    last = len(points) // PER_CELL - 1
    first = min(low // PER_CELL, last)
    return first, max(first, min((high - 1) // PER_CELL, last)) + 1


def _fine(cells: np.ndarray, along_y: np.ndarray | float, along_x: np.ndarray | float) -> np.ndarray:
    """Values of cells (ny, nx) on the lattice, times a profile within each cell."""
    y, x = (np.broadcast_to(profile, PER_CELL) for profile in (along_y, along_x))
    ny, nx = cells.shape
    return (cells[:, None, :, None] * y[:, None, None] * x).reshape(ny * PER_CELL, nx * PER_CELL)


def _rise(height: np.ndarray, axis: int) -> np.ndarray:
    """Height gained across one cell."""
    return np.gradient(height, axis=axis) if height.shape[axis] > 1 else np.zeros_like(height)


def _chunks(n_points: np.ndarray, limit: int = 1_000_000) -> list[np.ndarray]:
    """Triangles that have points below or above them, in groups of about `limit` pairs."""
    some = np.flatnonzero(n_points)
    group = np.cumsum(n_points[some]) // limit
    return np.split(some, np.flatnonzero(np.diff(group)) + 1) if len(some) else []


def _ranks(counts: np.ndarray) -> np.ndarray:
    """0 .. n - 1 for each n of `counts`, one after the other."""
    ends = np.cumsum(counts)
    return np.arange(ends[-1]) - np.repeat(ends - counts, counts)


def _is_above(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Whether the vertical through each point meets its triangle at a greater height."""
    a, b, c = (triangles[:, corner] - points for corner in range(3))
    weights = np.stack([_cross(b, c), _cross(c, a), _cross(a, b)])
    within = np.all(weights > 0, axis=0) | np.all(weights < 0, axis=0)
    height = weights[0] * a[:, 2] + weights[1] * b[:, 2] + weights[2] * c[:, 2]
    return within & (height * weights.sum(axis=0) > 0)


def _cross(p: np.ndarray, q: np.ndarray) -> np.ndarray:
    return p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
