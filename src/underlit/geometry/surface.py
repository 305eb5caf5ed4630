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

from underlit.kernels.nets import fill_saddles, find_crossings

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
    field : ndarray, shape (nx, ny, nz), float32
        In C order. Changed in place where signs alternate round a cell face. Its outermost layers must be positive.
    """
    shape, strides = field.shape, (field.shape[1] * field.shape[2], field.shape[2], 1)
    inside = field < 0.0
    rows = inside.any(axis=2).ravel()
    inside = inside.ravel()
    n = fill_saddles(inside, rows, shape, strides)
    samples = field.ravel()
    samples[inside & (samples >= 0.0)] = -1e-6
    corner, point, outward = np.empty((n, 4), np.int64), np.empty((n, 3)), np.empty(n, bool)
    around = np.array(_ROUND) @ strides
    find_crossings(samples, inside, rows, shape, strides, around, corner, point, outward)
    _, number = np.unique(corner, return_inverse=True)
    number = number.reshape(-1, 4)
    count = np.bincount(number.ravel())
    vertices = np.stack([np.bincount(number.ravel(), np.repeat(p, 4)) / count for p in point.T], axis=1)
    quads = np.where(outward[:, None], number, number[:, ::-1])
    return vertices, _split(vertices, quads)


def _split(vertices: np.ndarray, quads: np.ndarray) -> np.ndarray:
    """Two triangles for each quad (Q, 4), cut along its shorter diagonal."""
    a, b, c, d = quads.T
    one = np.linalg.norm(vertices[a] - vertices[c], axis=1)
    other = np.linalg.norm(vertices[b] - vertices[d], axis=1)
    along_ac = np.stack([a, b, c, a, c, d], axis=1)
    along_bd = np.stack([a, b, d, b, c, d], axis=1)
    return np.where((one <= other)[:, None], along_ac, along_bd).reshape(-1, 3)
