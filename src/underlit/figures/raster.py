"""A small software rasteriser: which triangle is seen at which pixel, by depth buffer, in plain numpy.

Used for silhouettes and for the painted view; quick enough for meshes of a few hundred thousand triangles.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

_CANDIDATES = 2_000_000  # pixel-triangle pairs looked at in one go: bounds memory to some 100 MB


@dataclass(frozen=True)
class Fragments:
    """What is seen at each pixel.

    Attributes
    ----------
    face : ndarray, shape (height, width), int32
        Index of the nearest triangle, -1 where there is none.
    nearness : ndarray, shape (height, width)
        Interpolated nearness of that triangle, -inf where there is none.
    """

    face: np.ndarray
    nearness: np.ndarray


def rasterise(pixel: np.ndarray, nearness: np.ndarray, faces: np.ndarray, shape: tuple[int, int]) -> Fragments:
    """Find the nearest triangle at every pixel centre.

    Parameters
    ----------
    pixel : ndarray, shape (V, 2)
        Vertex positions; pixel (row, column) has its centre at x = column + 0.5, y = row + 0.5.
    nearness : ndarray, shape (V,)
        Larger is nearer, and linear across the screen: minus the depth for a parallel view, one over the depth for
        a perspective one.
    faces : ndarray, shape (F, 3)
    shape : (height, width)

    Returns
    -------
    Fragments
    """
    height, width = shape
    best = np.full(height * width, -np.inf)
    owner = np.full(height * width, -1, np.int32)
    corners, near = pixel[faces], nearness[faces]
    for face, column, row in _candidates(corners, shape):
        weight, inside = _barycentric(corners[face], column + 0.5, row + 0.5)
        face, weight = face[inside], weight[inside]
        at = row[inside] * width + column[inside]
        value = np.einsum("nk,nk->n", weight, near[face])
        np.maximum.at(best, at, value)
        seen = value == best[at]
        owner[at[seen]] = face[seen]
    return Fragments(owner.reshape(shape), best.reshape(shape))


def _candidates(corners: np.ndarray, shape: tuple[int, int]) -> Iterator[tuple[np.ndarray, ...]]:
    """Triangle, column and row of all pixel centres in the triangles' bounding boxes, in bounded portions."""
    limit = np.array(shape[::-1])
    first = np.clip(np.ceil(corners.min(1) - 0.5), 0, limit).astype(np.int64)
    last = np.clip(np.floor(corners.max(1) - 0.5) + 1, 0, limit).astype(np.int64)
    size = np.maximum(last - first, 0)
    count = size.prod(1)
    live = np.flatnonzero(count)
    portion = np.cumsum(count[live]) // _CANDIDATES
    for group in np.split(live, np.flatnonzero(np.diff(portion)) + 1):
        if group.size:
            face = np.repeat(group, count[group])
            start = np.cumsum(count[group]) - count[group]
            i = np.arange(face.size) - np.repeat(start, count[group])
            yield face, first[face, 0] + i % size[face, 0], first[face, 1] + i // size[face, 0]


def _barycentric(corner: np.ndarray, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Barycentric weights (n, 3) of points in their triangles, and which points lie inside (edges count)."""
    (ax, ay), (bx, by), (cx, cy) = corner[:, 0].T, corner[:, 1].T, corner[:, 2].T
    area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = ((x - ax) * (cy - ay) - (cx - ax) * (y - ay)) / area
        v = ((bx - ax) * (y - ay) - (x - ax) * (by - ay)) / area
    weight = np.column_stack([1.0 - u - v, u, v])
    return weight, (area != 0) & (np.nan_to_num(weight, nan=-1.0).min(1) >= 0.0)
