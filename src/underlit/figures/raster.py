"""A small software rasteriser: which triangle is seen at which pixel, by depth buffer, in plain numpy.

Used for silhouettes and for the painted view; quick enough for meshes of a few hundred thousand triangles.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

_CANDIDATES = 2_000_000  # pixel-triangle pairs looked at in one go: bounds memory to some 100 MB
_OVERLAP = 1e-9  # in barycentric coordinates


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


def rasterise(
    pixel: np.ndarray, nearness: np.ndarray, faces: np.ndarray, shape: tuple[int, int]
) -> Fragments:
    """Find the nearest triangle at every pixel centre.

    Parameters
    ----------
    pixel : ndarray, shape (V, 2)
        Vertex positions; pixel (row, column) has its centre at x = column + 0.5, y = row + 0.5.
    nearness : ndarray, shape (V,)
        Larger is nearer, and linear across the screen: minus the depth for a parallel view, one over the
        depth for a perspective one.
    faces : ndarray, shape (F, 3)
    shape : (height, width)

    Returns
    -------
    Fragments
    """
    height, width = shape
    best = np.full(height * width, -np.inf)
    owner = np.full(height * width, -1, np.int32)
    faces = np.asarray(faces)
    corners = pixel[faces]
    a, ab, ac = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    near = nearness[faces]
    for face, column, row in _candidates(corners, area != 0, shape):
        x, y = column + 0.5 - a[face, 0], row + 0.5 - a[face, 1]
        u = (x * ac[face, 1] - y * ac[face, 0]) / area[face]
        v = (y * ab[face, 0] - x * ab[face, 1]) / area[face]
        # A hair's breadth of overlap, so that no pixel centre on a shared edge falls between two triangles.
        inside = (u >= -_OVERLAP) & (v >= -_OVERLAP) & (u + v <= 1 + _OVERLAP)
        face, u, v = face[inside], u[inside], v[inside]
        at = row[inside] * width + column[inside]
        value = near[face, 0] + u * (near[face, 1] - near[face, 0]) + v * (near[face, 2] - near[face, 0])
        np.maximum.at(best, at, value)
        seen = value == best[at]
        owner[at[seen]] = face[seen]
    return Fragments(owner.reshape(shape), best.reshape(shape))


def _candidates(
    corners: np.ndarray, wanted: np.ndarray, shape: tuple[int, int]
) -> Iterator[tuple[np.ndarray, ...]]:
    """Triangle, column and row of the pixel centres in wanted triangles' bounding boxes, in portions."""
    limit = np.array(shape[::-1])
    first = np.clip(np.ceil(corners.min(1) - 0.5), 0, limit).astype(np.int64)
    last = np.clip(np.floor(corners.max(1) - 0.5) + 1, 0, limit).astype(np.int64)
    size = np.maximum(last - first, 0)
    count = size.prod(1) * wanted
    live = np.flatnonzero(count)
    portion = np.cumsum(count[live]) // _CANDIDATES
    for group in np.split(live, np.flatnonzero(np.diff(portion)) + 1):
        if group.size:
            face = np.repeat(group, count[group])
            start = np.cumsum(count[group]) - count[group]
            i = np.arange(face.size) - np.repeat(start, count[group])
            yield face, first[face, 0] + i % size[face, 0], first[face, 1] + i // size[face, 0]
