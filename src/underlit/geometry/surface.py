"""A closed triangle surface round the inside of a field: surface nets.

The field is sampled on a cubic grid, negative inside. Each grid cell that the surface crosses gets one
vertex, at the mean of the crossings on its edges; each grid edge that the surface crosses gets one quad,
between the four cells round it [1]_. With no cell face left whose corners alternate in sign, every edge of
the result has two triangles.

References
----------
.. [1] S. F. F. Gibson, "Constrained elastic surface nets", MICCAI 1998.
"""

from __future__ import annotations

import numpy as np

# Round an edge along axis 0, 1 or 2: steps to the four cells that share it, in the order that faces up the
# axis.
_ROUND = (
    ((0, -1, -1), (0, 0, -1), (0, 0, 0), (0, -1, 0)),
    ((-1, 0, -1), (-1, 0, 0), (0, 0, 0), (0, 0, -1)),
    ((-1, -1, 0), (0, -1, 0), (0, 0, 0), (-1, 0, 0)),
)


def surface(field: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (V, 3) in grid steps and faces (F, 3), outwards, of the region where `field` is negative.

    Parameters
    ----------
    field : ndarray, shape (nx, ny, nz)
        Changed in place where signs alternate round a cell face. Its outermost layers must be positive.
    """
    _fill_saddles(field)
    inside = field < 0.0
    cells, points, turned = [], [], []
    for axis in range(3):
        at, crossing, outward = _crossings(field, inside, axis)
        corner = np.stack(
            [np.ravel_multi_index((at + step).T, field.shape) for step in np.array(_ROUND[axis])], 1
        )
        cells.append(corner)
        points.append(crossing)
        turned.append(outward)
    corner, point, outward = np.concatenate(cells), np.concatenate(points), np.concatenate(turned)
    _, number = np.unique(corner, return_inverse=True)
    number = number.reshape(-1, 4)
    count = np.bincount(number.ravel())
    vertices = np.stack([np.bincount(number.ravel(), np.repeat(p, 4)) / count for p in point.T], axis=1)
    quads = np.where(outward[:, None], number, number[:, ::-1])
    return vertices, _split(vertices, quads)


def _fill_saddles(field: np.ndarray) -> None:
    """Make a corner inside wherever the corners of a cell face alternate: two sheets would share an edge."""
    inside = field < 0.0
    found = True
    while found:
        found = False
        for axis in range(3):
            b = np.moveaxis(inside, axis, 2)  # a view: writing to it writes to `inside`
            p, q, r, s = b[:-1, :-1], b[1:, :-1], b[:-1, 1:], b[1:, 1:]
            saddle = (p == s) & (q == r) & (p != q)
            if saddle.any():
                found = True
                fill_p, fill_q = saddle & q, saddle & p
                p |= fill_p
                q |= fill_q
    field[inside & (field >= 0.0)] = -1e-6


def _crossings(field: np.ndarray, inside: np.ndarray, axis: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Grid edges along an axis that the surface crosses: lower ends, crossings (n, 3), facing up (n,)."""
    f, b = np.moveaxis(field, axis, 0), np.moveaxis(inside, axis, 0)
    hit = np.nonzero(b[1:] != b[:-1])
    low, high = f[:-1][hit], f[1:][hit]
    share = low / (low - high)
    order = [hit[1], hit[2]]
    order.insert(axis, hit[0])
    at = np.stack(order, axis=1)
    crossing = at.astype(np.float64)
    crossing[:, axis] += np.clip(share, 0.02, 0.98)
    return at, crossing, b[:-1][hit]


def _split(vertices: np.ndarray, quads: np.ndarray) -> np.ndarray:
    """Two triangles for each quad (Q, 4), cut along its shorter diagonal."""
    a, b, c, d = quads.T
    one = np.linalg.norm(vertices[a] - vertices[c], axis=1)
    other = np.linalg.norm(vertices[b] - vertices[d], axis=1)
    along_ac = np.stack([a, b, c, a, c, d], axis=1)
    along_bd = np.stack([a, b, d, b, c, d], axis=1)
    return np.where((one <= other)[:, None], along_ac, along_bd).reshape(-1, 3)
