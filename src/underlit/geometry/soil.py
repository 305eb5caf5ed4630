"""The soil: a height field over the tank's floor."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from underlit.errors import DataError
from underlit.geometry.mesh import UNIT_M

PLANE_TOLERANCE_M = 1e-9  # nodes this close to one plane are that plane: rounding, far below any ripple
MAX_MAP_BYTES = 50_000_000


@dataclass(frozen=True, eq=False)
class Soil:
    """Soil surface on a regular grid of nodes; each grid cell is two triangles.

    ::

        01 ---- 11      y
        | upper/ |      ^      one diagonal, from the node at low x and y to the one at high x and y:
        |    /   |      |      lower triangle 00, 10, 11; upper triangle 00, 11, 01
        | / lower|      |
        00 ---- 10      +--> x

    Parameters
    ----------
    x_m : ndarray, shape (nx,)
        Nodes from the left pane to the right one, evenly spaced. [m]
    y_m : ndarray, shape (ny,)
        Nodes from the front pane to the back one, evenly spaced. [m]
    z_m : ndarray, shape (ny, nx)
        Height of the surface above the inside bottom. [m]
    plane : tuple of 3 floats, or None
        a, b, c with z = a + b x + c y where the whole surface is one plane.
    """

    x_m: np.ndarray
    y_m: np.ndarray
    z_m: np.ndarray
    plane: tuple[float, float, float] | None

    def height(self, x, y) -> np.ndarray:
        """Height of the surface at points x, y of any shape; outside the tank, that of its edge. [m]"""
        u, i = _cell(self.x_m, x)
        v, j = _cell(self.y_m, y)
        z00, z10 = self.z_m[j, i], self.z_m[j, i + 1]
        z01, z11 = self.z_m[j + 1, i], self.z_m[j + 1, i + 1]
        lower = z00 + u * (z10 - z00) + v * (z11 - z10)
        upper = z00 + v * (z01 - z00) + u * (z11 - z01)
        return np.where(u >= v, lower, upper)

    def triangles(self) -> tuple[np.ndarray, np.ndarray]:
        """Vertices (ny * nx, 3) [m] and faces (2 (ny-1) (nx-1), 3) facing up: exactly what `height` reads."""
        x, y = np.meshgrid(self.x_m, self.y_m)
        vertices = np.stack([x, y, self.z_m], axis=-1).reshape(-1, 3)
        node = np.arange(self.z_m.size, dtype=np.int32).reshape(self.z_m.shape)
        n00, n10, n01, n11 = (a.ravel() for a in (node[:-1, :-1], node[:-1, 1:], node[1:, :-1], node[1:, 1:]))
        faces = np.stack([n00, n10, n11, n00, n11, n01], axis=1).reshape(-1, 3)
        return vertices, faces


def sloped_soil(
    length: float,
    width: float,
    *,
    front: float | None = None,
    back: float | None = None,
    left: float | None = None,
    right: float | None = None,
    cell: float = 0.01,
) -> Soil:
    """One plane through given depths at the middles of the panes.

    Parameters
    ----------
    length, width : float
        Inside size of the tank along x and y. [m]
    front, back, left, right : float, optional
        Soil depth at the middle of that pane. [m] One of a pair alone: the opposite one follows from the
        other pair, or is equal.
    cell : float
        Wanted spacing of the nodes. [m]

    Raises
    ------
    DataError
        No depth given, a depth below zero, or four depths that no plane goes through.
    """
    front, back, left, right = _complete(front, back, left, right)
    middle = 0.5 * (front + back)
    if abs(middle - 0.5 * (left + right)) > 1e-6:
        raise DataError(
            "the depths at front, back, left and right do not lie on one plane.",
            where="substrate",
            hint="Front and back together must make the same sum as left and right; or give a profile.",
        )
    b, c = (right - left) / length, (back - front) / width
    x, y = _nodes(length, width, cell)
    z = left + b * x[None, :] + (front - middle) + c * y[:, None]
    return _soil(x, y, z)


def profile_soil(
    length: float,
    width: float,
    points: Sequence[tuple[float, float]],
    *,
    along: str = "y",
    cell: float = 0.01,
) -> Soil:
    """A profile drawn across the tank, the same on every parallel line.

    Between the points the surface follows a monotone cubic: smooth, and never above or below its neighbours.

    Parameters
    ----------
    length, width : float
        Inside size of the tank along x and y. [m]
    points : sequence of (distance, depth)
        Distance from the front pane (`along="y"`) or the left pane (`along="x"`), increasing; and soil
        depth there. [m]
    along : {"y", "x"}
        The axis that the profile runs along.
    cell : float
        Wanted spacing of the nodes. [m]

    Raises
    ------
    DataError
        Fewer than two points, distances that do not increase, or a depth below zero.
    """
    from scipy.interpolate import PchipInterpolator

    table = np.asarray(points, np.float64)
    if table.ndim != 2 or table.shape[0] < 2 or table.shape[1] != 2 or not np.all(np.diff(table[:, 0]) > 0.0):
        raise DataError(
            "a soil profile needs two or more points whose distances increase.",
            where="substrate.profile",
            hint='Write [["0 cm", "4 cm"], ["30 cm", "8 cm"]]: distance from the pane, then depth.',
        )
    x, y = _nodes(length, width, cell)
    along_m = y if along == "y" else x
    curve = PchipInterpolator(table[:, 0], table[:, 1])
    depth = curve(np.clip(along_m, table[0, 0], table[-1, 0]))
    z = np.broadcast_to(depth[:, None] if along == "y" else depth[None, :], (len(y), len(x)))
    return _soil(x, y, z.copy())


def mapped_soil(length: float, width: float, heights, *, cell: float = 0.01) -> Soil:
    """A height map stretched over the floor, straight between its values.

    Parameters
    ----------
    length, width : float
        Inside size of the tank along x and y. [m]
    heights : array_like, shape (rows, columns)
        Depths on an even grid from pane to pane, the panes included. [m] Rows run from the front pane to
        the back one, columns from left to right.
    cell : float
        Wanted spacing of the nodes. [m]

    Raises
    ------
    DataError
        Fewer than two rows or columns, or a depth that is negative or not a number.
    """
    from scipy.interpolate import RegularGridInterpolator

    table = np.asarray(heights, np.float64)
    if table.ndim != 2 or min(table.shape) < 2:
        raise DataError(
            f"a height map of shape {table.shape} cannot be used.",
            where="substrate.height_map",
            hint="It needs at least two rows (front and back) and two columns (left and right).",
        )
    x, y = _nodes(length, width, cell)
    grid = (np.linspace(0.0, width, table.shape[0]), np.linspace(0.0, length, table.shape[1]))
    at = np.stack(np.meshgrid(y, x, indexing="ij"), axis=-1)
    return _soil(x, y, RegularGridInterpolator(grid, table)(at))


def read_height_map(path: str | Path) -> np.ndarray:
    """Depths of a height-map file, shape (rows, columns). [m]

    The file is CSV. Its first line is the unit of the depths: mm, cm, m, in or ft. Every further line is
    one row of depths from the left pane to the right one; the first row lies at the front pane, the last at
    the back pane. Empty lines and lines that start with `#` are skipped.

    Raises
    ------
    DataError
        Missing or unreadable file, no unit, a value that is no number, or rows of unequal length.
    """
    path = Path(path)
    rows = [(line, row) for line, row in _csv_rows(path) if row and not row[0].lstrip().startswith("#")]
    unit = rows[0][1][0].strip() if rows else ""
    if unit not in UNIT_M or any(cell.strip() for cell in rows[0][1][1:]):
        raise DataError(
            "the first line must name the unit of the depths, and nothing else.",
            where=str(path),
            hint=f"Write one of {', '.join(UNIT_M)} on a line above the rows of depths.",
        )
    values = [_numbers(cells, f"{path}:{line}") for line, cells in rows[1:]]
    if len({len(row) for row in values}) != 1:
        raise DataError(
            "the rows of depths are missing or of unequal length.",
            where=str(path),
            hint="Every row runs from the left pane to the right one with the same number of values.",
        )
    return np.array(values) * UNIT_M[unit]


def _csv_rows(path: Path) -> list[tuple[int, list[str]]]:
    try:
        if path.stat().st_size > MAX_MAP_BYTES:
            raise DataError(
                f"a height map of {path.stat().st_size / 1e6:.0f} MB is not read.",
                where=str(path),
                hint="One value per centimetre is plenty.",
            )
        with path.open(newline="", encoding="utf-8") as file:
            reader = csv.reader(file)
            return [(reader.line_num, row) for row in reader]
    except OSError as error:
        raise DataError(
            f"cannot be read: {error.strerror}.",
            where=str(path),
            hint="The path is taken from the folder of the scene file.",
        ) from None
    except (UnicodeDecodeError, csv.Error):
        raise DataError("is not a CSV text file.", where=str(path), hint="Save it as CSV, UTF-8.") from None


def _numbers(cells: list[str], where: str) -> list[float]:
    numbers = [_number(cell) for cell in cells]
    wrong = [
        cell.strip() for cell, number in zip(cells, numbers, strict=True) if not 0.0 <= number < math.inf
    ]
    if wrong:
        hint = "Write plain numbers with a decimal point."
        raise DataError(
            f"got `{wrong[0][:40]}`, expected a depth: a number from 0 up.", where=where, hint=hint
        )
    return numbers


def _number(cell: str) -> float:
    """The number, or NaN where there is none."""
    try:
        return float(cell)
    except ValueError:
        return math.nan


def _complete(front, back, left, right) -> tuple[float, float, float, float]:
    """The missing ones of four depths, so that one plane goes through all."""
    given = [d for d in (front, back, left, right) if d is not None]
    if not given:
        raise DataError("no depth given.", where="substrate", hint='Write depth = "4 cm".')
    if front is not None and back is not None:
        middle = 0.5 * (front + back)
    elif left is not None and right is not None:
        middle = 0.5 * (left + right)
    else:
        middle = given[0]
    return *_pair(front, back, middle), *_pair(left, right, middle)


def _pair(one: float | None, other: float | None, middle: float) -> tuple[float, float]:
    if one is None:
        one = middle if other is None else 2.0 * middle - other
    return one, 2.0 * middle - one if other is None else other


def _nodes(length: float, width: float, cell: float) -> tuple[np.ndarray, np.ndarray]:
    nx, ny = (max(1, round(side / cell)) + 1 for side in (length, width))
    return np.linspace(0.0, length, nx), np.linspace(0.0, width, ny)


def _cell(node_m: np.ndarray, at) -> tuple[np.ndarray, np.ndarray]:
    """Fraction across the cell, and number of the cell, of coordinates along one axis."""
    n = len(node_m) - 1
    s = np.clip((np.asarray(at, np.float64) - node_m[0]) * (n / (node_m[-1] - node_m[0])), 0.0, n)
    i = np.minimum(s.astype(np.int64), n - 1)
    return s - i, i


def _soil(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> Soil:
    if not np.all(np.isfinite(z)) or z.min() < 0.0:
        raise DataError(
            f"soil depth goes down to {z.min() * 100:.3g} cm.",
            where="substrate",
            hint="Depths are measured upwards from the inside bottom and cannot be negative.",
        )
    return Soil(x, y, np.ascontiguousarray(z), _plane(x, y, z))


def _plane(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> tuple[float, float, float] | None:
    """The plane through three corners of the grid, if all nodes lie on it."""
    b = (z[0, -1] - z[0, 0]) / (x[-1] - x[0])
    c = (z[-1, 0] - z[0, 0]) / (y[-1] - y[0])
    a = z[0, 0]
    if np.abs(a + b * x[None, :] + c * y[:, None] - z).max() > PLANE_TOLERANCE_M:
        return None
    return float(a), float(b), float(c)
