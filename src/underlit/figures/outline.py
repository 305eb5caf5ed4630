"""Outlines of meshes: what is seen of each along an axis, what a stone covers of the soil, cuts by a plane.

What is seen is found by rasterising all triangles on a fine grid, the nearest in front, and following the
half-covered line, which needs no clean, closed or manifold mesh.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import contourpy
import numpy as np
from matplotlib.path import Path as Curve

from underlit.figures.raster import rasterise

FROM_ABOVE, FROM_THE_FRONT, FROM_THE_RIGHT = (0, 1), (0, 2), (1, 2)  # what goes right and up in each view
_NEAR = {
    FROM_ABOVE: (2, 1.0),
    FROM_THE_FRONT: (1, -1.0),
    FROM_THE_RIGHT: (0, 1.0),
}  # axis and side of the eye
_FINE = 4  # sub-pixels along each side of a pixel of the coverage


@dataclass(frozen=True)
class Coverage:
    """Share of each cell of a regular grid that something covers.

    Attributes
    ----------
    x_m, y_m : ndarray, shape (nx,), (ny,)
        Cell centres. [m]
    share : ndarray, shape (ny, nx)
    """

    x_m: np.ndarray
    y_m: np.ndarray
    share: np.ndarray

    @property
    def area_m2(self) -> float:
        return float(self.share.sum() * (self.x_m[1] - self.x_m[0]) * (self.y_m[1] - self.y_m[0]))

    def lines(self) -> list[np.ndarray]:
        """Closed outlines, each (n, 2). [m]"""
        padded = np.pad(self.share, 1)
        x, y = _extended(self.x_m), _extended(self.y_m)
        return [np.asarray(line) for line in contourpy.contour_generator(x, y, padded).lines(0.5)]

    def curve(self, unit_m: float = 1.0) -> Curve:
        """All outlines as one curve to fill or stroke, in display units."""
        lines = [line / unit_m for line in self.lines()]
        if not lines:
            return Curve(np.zeros((0, 2)))
        return Curve.make_compound_path(*(Curve(line, closed=len(line) > 2) for line in lines))


def seen_parts(
    meshes: Sequence[tuple[np.ndarray, np.ndarray]], axes: tuple[int, int],
    box_m: tuple[float, float, float, float],
    cell_m: float,
) -> list[Coverage]:  # fmt: skip
    """What is seen of each of several meshes from one side: nothing where another stands before it.

    Parameters
    ----------
    meshes : sequence of (vertices, faces)
        Arrays (V, 3), (F, 3). [m]
    axes : (int, int)
        `FROM_ABOVE`, `FROM_THE_FRONT` or `FROM_THE_RIGHT`.
    box_m : (x0, x1, y0, y1)
        The part of the view that is wanted. [m]
    cell_m : float
        Cell of the coverage; outlines are good to about a tenth of it. [m]
    """
    if not meshes:
        return []
    depth, sign = _NEAR[axes]
    grid = _Grid.over(box_m, cell_m)
    first = np.cumsum([0, *(len(vertices) for vertices, _ in meshes[:-1])])
    vertices = np.concatenate([vertices for vertices, _ in meshes])
    faces = np.concatenate([faces + start for (_, faces), start in zip(meshes, first, strict=True)])
    owner = np.repeat(np.arange(len(meshes)), [len(faces) for _, faces in meshes])
    seen = rasterise(grid.to_pixel(vertices[:, axes]), sign * vertices[:, depth], faces, grid.shape).face
    piece = np.where(seen >= 0, owner[seen], -1)
    found = []
    for number, (corners, _) in enumerate(meshes):
        near = grid.around(corners[:, axes])
        found.append(grid.coverage(piece[near.pixels] == number, near))
    return found


def footprint(
    vertices_m: np.ndarray,
    faces: np.ndarray,
    soil_height,
    box_m: tuple[float, float, float, float],
    cell_m: float,
) -> Coverage:
    """Where a mesh stands in the soil: some of it lies at or under the soil there, and some above.

    Parameters
    ----------
    soil_height : callable (x, y) -> z
        Height of the soil. [m]
    """
    grid = _Grid.over(box_m, cell_m)
    near = grid.around(vertices_m[:, :2])
    pixel, z = near.to_pixel(vertices_m[:, :2]), vertices_m[:, 2]
    top = rasterise(pixel, z, faces, near.shape).nearness
    bottom = -rasterise(pixel, -z, faces, near.shape).nearness
    soil = soil_height(*np.meshgrid(*near.fine_centres()))
    return grid.coverage((bottom <= soil) & (soil <= top), near)


def cut(
    vertices_m: np.ndarray, faces: np.ndarray, axis: int, at_m: float,
    box_m: tuple[float, float, float, float],
    cell_m: float,
) -> Coverage:  # fmt: skip
    """Solid part of a mesh in the plane `axis` = `at_m`: what lies between pairs of crossings going up.

    An open mesh that gives an odd number of crossings is taken as solid below the lowest one.
    """
    grid = _Grid.over(box_m, cell_m)
    axes = tuple(i for i in range(3) if i != axis)
    start, end = _crossings(vertices_m, faces, axis, at_m)
    ends = np.concatenate([start, end])[:, axes]
    near = grid.around(
        np.concatenate([ends, ends * (1.0, 0.0) + (0.0, box_m[2])])
    )  # an open mesh: to the bottom
    start, end = near.to_pixel(start[:, axes]), near.to_pixel(end[:, axes])
    return grid.coverage(_fill_up(start, end, near.shape), near)


def _crossings(
    vertices_m: np.ndarray, faces: np.ndarray, axis: int, at_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Both ends (n, 3) of the segment in which each crossing triangle meets the plane."""
    side = vertices_m[:, axis] - at_m
    # A vertex in the plane belongs to one side, and so do copies that differ by rounding: no segment is lost.
    side = np.where(np.abs(side) < 1e-9, 1e-9, side)
    corner, value = vertices_m[faces], side[faces]
    crossing = (value > 0).any(1) & (value < 0).any(1)
    corner, value = corner[crossing], value[crossing]
    lone_sign = -np.sign(np.sign(value).sum(1))
    lone = np.argmax(np.sign(value) == lone_sign[:, None], axis=1)
    rows = np.arange(len(corner))
    ends = []
    for step in (1, 2):
        other = (lone + step) % 3
        t = value[rows, lone] / (value[rows, lone] - value[rows, other])
        ends.append(corner[rows, lone] + t[:, None] * (corner[rows, other] - corner[rows, lone]))
    return ends[0], ends[1]


def _fill_up(start: np.ndarray, end: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """Even-odd fill of segments along each pixel column, as a mask."""
    height, width = shape
    flip = np.zeros((height + 1, width), np.int64)
    left, right = np.minimum(start[:, 0], end[:, 0]), np.maximum(start[:, 0], end[:, 0])
    first = np.clip(np.ceil(left - 0.5), 0, width).astype(np.int64)
    last = np.clip(np.ceil(right - 0.5), 0, width).astype(np.int64)
    count = last - first
    segment = np.repeat(np.arange(len(start)), count)
    column = np.arange(segment.size) - np.repeat(np.cumsum(count) - count, count) + first[segment]
    t = (column + 0.5 - start[segment, 0]) / (end[segment, 0] - start[segment, 0])
    y = start[segment, 1] + t * (end[segment, 1] - start[segment, 1])
    np.add.at(flip, (np.clip(np.ceil(y - 0.5), 0, height).astype(np.int64), column), 1)
    crossed = np.cumsum(flip, axis=0)
    # An odd total means that the column left an open mesh: count from the top there instead.
    crossed = np.where(crossed[-1] % 2, crossed[-1] - crossed, crossed)
    return crossed[:-1] % 2 == 1


@dataclass(frozen=True)
class _Grid:
    """Cells of a coverage, each with a fine grid of pixels; or those of them that lie near something."""

    x0_m: float
    y0_m: float
    nx: int
    ny: int
    cell_m: float
    column: int = 0  # of its first cell among those of the whole coverage, and its row
    row: int = 0

    @classmethod
    def over(cls, box_m: tuple[float, float, float, float], cell_m: float) -> _Grid:
        x0, x1, y0, y1 = box_m
        return cls(x0, y0, int(np.ceil((x1 - x0) / cell_m)) + 1, int(np.ceil((y1 - y0) / cell_m)) + 1, cell_m)

    def around(self, points_m: np.ndarray) -> _Grid:
        """The cells round some points (n, 2): a pebble needs no pixels for all the tank."""
        if not len(points_m):
            return replace(self, nx=0, ny=0)
        cell = (points_m - (self.x0_m, self.y0_m)) / self.cell_m
        limit = (self.nx, self.ny)
        first = np.clip(np.floor(cell.min(axis=0)) - 1, 0, limit).astype(int)
        last = np.clip(np.ceil(cell.max(axis=0)) + 1, 0, limit).astype(int)
        x0, y0 = self.x0_m + first[0] * self.cell_m, self.y0_m + first[1] * self.cell_m
        (nx, ny), (column, row) = last - first, first
        return _Grid(x0, y0, int(nx), int(ny), self.cell_m, int(column), int(row))

    @property
    def shape(self) -> tuple[int, int]:
        return self.ny * _FINE, self.nx * _FINE

    @property
    def pixels(self) -> tuple[slice, slice]:
        """Its rows and columns among the pixels of the whole coverage."""
        (row, column), (height, width) = (self.row * _FINE, self.column * _FINE), self.shape
        return slice(row, row + height), slice(column, column + width)

    def to_pixel(self, xy_m: np.ndarray) -> np.ndarray:
        return (xy_m - (self.x0_m, self.y0_m)) / self.cell_m * _FINE

    def fine_centres(self) -> tuple[np.ndarray, np.ndarray]:
        step = self.cell_m / _FINE
        ny, nx = self.shape
        return self.x0_m + (np.arange(nx) + 0.5) * step, self.y0_m + (np.arange(ny) + 0.5) * step

    def coverage(self, mask: np.ndarray, near: _Grid) -> Coverage:
        """Coverage of all cells by a mask on the pixels of those near something."""
        share = np.zeros((self.ny, self.nx))
        rows, columns = slice(near.row, near.row + near.ny), slice(near.column, near.column + near.nx)
        share[rows, columns] = mask.reshape(near.ny, _FINE, near.nx, _FINE).mean((1, 3))
        x = self.x0_m + (np.arange(self.nx) + 0.5) * self.cell_m
        y = self.y0_m + (np.arange(self.ny) + 0.5) * self.cell_m
        return Coverage(x, y, share)


def _extended(centres_m: np.ndarray) -> np.ndarray:
    step = centres_m[1] - centres_m[0]
    return np.concatenate([[centres_m[0] - step], centres_m, [centres_m[-1] + step]])
