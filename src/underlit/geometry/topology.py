"""Facts and repairs of a triangle list: plain index arithmetic."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.kernels.graph import number_pieces
from underlit.kernels.triangles import face_vectors, number_edges

# A mesh is welded on a grid of this many steps along its longest side: finer than the float32 of an STL
# file of ordinary size, so that corners written twice meet again and nothing else does.
WELD_STEPS = 1 << 21


class Edges(NamedTuple):
    """Undirected edges of a triangle list.

    ends (E, 2), lower vertex first; n_faces (E,) faces at each edge; of_face (F, 3) edge number of the sides 01, 12,
    20; balance (E,) faces that run along it upwards less those that run downwards (0 when consistent); sides (3 F,)
    all sides, numbered through, in the order of their edges. All int64.
    """

    ends: np.ndarray
    n_faces: np.ndarray
    of_face: np.ndarray
    balance: np.ndarray
    sides: np.ndarray


def area_vectors(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Normals of the faces, each as long as its face is large, shape (F, 3)."""
    vectors = np.empty((len(faces), 3))
    face_vectors(np.ascontiguousarray(vertices, np.float64), np.ascontiguousarray(faces, np.int64), vectors)
    return 0.5 * vectors


def face_normals_areas(vertices: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Unit normals (F, 3), zero where a face has no area, and areas (F,) of the faces."""
    vectors = area_vectors(vertices, faces)
    area = np.linalg.norm(vectors, axis=1)
    return vectors / np.where(area > 0.0, area, 1.0)[:, None], area


def face_middles(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Mean of the corners of each face, shape (F, 3)."""
    a, b, c = faces.T
    return (vertices[a] + vertices[b] + vertices[c]) / 3.0


def edges_of(faces: np.ndarray) -> Edges:
    """All edges of the faces (F, 3), each once."""
    faces = np.ascontiguousarray(faces, np.int64)
    n = faces.size
    sides, ends, of_face = np.empty(n, np.int64), np.empty((n, 2), np.int64), np.empty_like(faces)
    n_faces, balance = np.empty((2, n), np.int64)
    bucket = np.empty(int(faces.max()) + 2, np.int64)
    n = number_edges(faces, bucket, np.empty(n, np.int64), sides, ends, of_face, n_faces, balance)
    return Edges(ends[:n], n_faces[:n], of_face, balance[:n], sides)


def neighbours(edges: Edges) -> np.ndarray:
    """Pairs of faces that share an edge (P, 2); k faces at one edge make a chain of k - 1 pairs."""
    edge = edges.of_face.ravel()[edges.sides]
    same = edge[1:] == edge[:-1]
    return np.stack([edges.sides[:-1][same], edges.sides[1:][same]], axis=1) // 3


def pieces(pairs: np.ndarray, n: int) -> tuple[int, np.ndarray]:
    """Number of connected pieces of n things linked by pairs (P, 2), and the piece of each (n,)."""
    piece = np.empty(n, np.int64)
    a, b = np.ascontiguousarray(pairs.T, np.int64)
    return number_pieces(a, b, piece), piece


def weld(vertices: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Join corners that lie at the same place and drop vertices that no face uses."""
    used = np.zeros(len(vertices), bool)
    used[faces.ravel()] = True
    low = vertices[used].min(axis=0)
    span = float(np.ptp(vertices[used], axis=0).max()) or 1.0
    step = np.rint((vertices - low) * ((WELD_STEPS - 1) / span))
    step = np.clip(step, 0, WELD_STEPS - 1).astype(np.int64)
    key = np.where(used, (step[:, 0] * WELD_STEPS + step[:, 1]) * WELD_STEPS + step[:, 2], -1)
    _, first, number = np.unique(key, return_index=True, return_inverse=True)
    if not used.all():  # the unused share key -1, which sorts to the front
        first, number = first[1:], number - 1
    return vertices[first], number[faces]


def drop_collapsed(faces: np.ndarray) -> np.ndarray:
    """Without the faces that name one vertex twice."""
    a, b, c = faces.T
    return faces[(a != b) & (b != c) & (c != a)]


def drop_repeated(faces: np.ndarray) -> np.ndarray:
    """Each set of three corners once, whichever way round it was listed; the first one stays."""
    a, b, c = np.sort(faces.astype(np.int64), axis=1).T
    order = np.lexsort((c, b, a))
    new = np.ones(len(faces), bool)
    new[1:] = (np.diff(a[order]) != 0) | (np.diff(b[order]) != 0) | (np.diff(c[order]) != 0)
    return faces[np.sort(order[new])]


def drop_flat(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Without the faces that have no area: three corners on one line."""
    _, area = face_normals_areas(vertices, faces)
    longest = float(np.ptp(vertices, axis=0).max())
    return faces[area > 1e-16 * longest**2]


def turn_outwards(vertices: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, int]:
    """Closed pieces with their faces pointing out, and how many pieces were turned.

    Only meaningful where every edge is shared by two faces that agree on their direction.
    """
    n, piece = pieces(faces[:, [0, 1, 1, 2]].reshape(-1, 2), len(vertices))
    piece_of_face = piece[faces[:, 0]]
    a, b, c = np.moveaxis(vertices[faces] - vertices.mean(axis=0), 1, 0)
    volume = np.bincount(piece_of_face, np.einsum("ij,ij->i", a, np.cross(b, c)), n)
    inside_out = volume < 0.0
    flip = inside_out[piece_of_face]
    faces = np.where(flip[:, None], faces[:, ::-1], faces)
    return faces, int(inside_out.sum())
