"""Cutting a mesh into patches of roughly even area: the cells in which light on a stone is counted."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from underlit.errors import MeshError
from underlit.geometry import topology
from underlit.geometry.mesh import MAX_TRIANGLES, Mesh, make_mesh
from underlit.kernels.graph import centre, spread
from underlit.kernels.triangles import link_faces

ROUNDS = 6  # of moving each patch's seed to its middle; the spread of areas hardly shrinks after these
CREASE = 1.5  # a step over a right-angled edge counts 1 + CREASE times: patches keep to one side of it

# Ways to cut a triangle 0 1 2 whose sides 01, 12, 20 may have a new corner 3, 4, 5 in their middle; by the
# bits of the sides that have one.
_CUTS = (
    ((0, 1, 2),),
    ((0, 3, 2), (3, 1, 2)),
    ((0, 1, 4), (0, 4, 2)),
    ((3, 1, 4), (0, 3, 4), (0, 4, 2)),
    ((0, 1, 5), (5, 1, 2)),
    ((0, 3, 5), (3, 1, 2), (3, 2, 5)),
    ((4, 2, 5), (0, 1, 4), (0, 4, 5)),
    ((0, 3, 5), (3, 1, 4), (5, 4, 2), (3, 4, 5)),
)


def refine(mesh: Mesh, longest_m: float) -> Mesh:
    """The same surface in smaller triangles: no edge longer than `longest_m`.

    Patches are made of whole triangles, so a coarse mesh has to be cut first if its light is to be seen in
    detail. Edges are halved, at both their triangles alike, so a closed mesh stays closed.

    Parameters
    ----------
    mesh : Mesh
    longest_m : float
        Half the size of the patches to come is a good choice. [m]

    Raises
    ------
    MeshError
        Many millions of triangles would come of it.
    """
    _check_fineness(mesh, longest_m)
    vertices, faces = mesh.vertices_m, mesh.faces.astype(np.int64)
    while True:
        edges = topology.edges_of(faces)
        a, b = vertices[edges.ends[:, 0]], vertices[edges.ends[:, 1]]
        halved = np.linalg.norm(b - a, axis=1) > longest_m
        if not halved.any():
            break
        middle = np.where(halved, len(vertices) + np.cumsum(halved) - 1, -1)
        vertices = np.concatenate([vertices, 0.5 * (a + b)[halved]])
        faces = _cut(faces, middle[edges.of_face])
    return make_mesh(mesh.name, vertices, faces, mesh.report.notes)


def patches(mesh: Mesh, size_m: float) -> tuple[np.ndarray, int]:
    """Connected patches of roughly even area `size_m`².

    Seeds are spread evenly over the area, each face goes to the seed that is nearest along the surface,
    seeds move to the middle of their patch, and so on for a few rounds: Lloyd's method on the graph of
    neighbouring faces. A patch is connected because every face on the shortest way to a seed belongs to
    that seed too.

    Parameters
    ----------
    mesh : Mesh
    size_m : float
        Side of a square of the wanted area. [m] A face larger than that is a patch of its own.

    Returns
    -------
    patch_of_face : ndarray, shape (F,), int32
    n_patches : int
    """
    normal, area = topology.face_normals_areas(mesh.vertices_m, mesh.faces)
    middle = topology.face_middles(mesh.vertices_m, mesh.faces)
    pairs = topology.neighbours(topology.edges_of(mesh.faces))
    alone = area >= size_m**2
    pairs = pairs[~(alone[pairs[:, 0]] | alone[pairs[:, 1]])]
    graph = _graph(pairs, middle, normal)
    _, piece = topology.pieces(pairs, len(area))
    seeds = _seeds(piece, _along_curve(middle), area, size_m**2)
    owner = graph.owners(seeds)
    total, place = np.empty(len(seeds)), np.empty((len(seeds), 3))
    for _ in range(ROUNDS):
        centre(owner, middle, area, total, place, seeds)
        owner = graph.owners(seeds)
    return owner.astype(np.int32), len(seeds)


def _check_fineness(mesh: Mesh, longest_m: float) -> None:
    """Refuse what would come out vast: no triangle of these edges is larger than the equilateral one."""
    fewest = mesh.area_m2 / (0.433 * longest_m**2)
    if fewest > MAX_TRIANGLES:
        raise MeshError(
            f"triangles of {longest_m * 1e3:.3g} mm would be more than {fewest:.2g}.",
            where=mesh.name,
            hint="Ask for larger patches.",
        )


def _cut(faces: np.ndarray, middle: np.ndarray) -> np.ndarray:
    """Faces (F, 3) cut at the new corners on their sides 01, 12, 20, given as (F, 3), -1 for none."""
    code = (middle >= 0) @ np.array([1, 2, 4])
    corner = np.concatenate([faces, middle], axis=1)
    parts = [
        corner[code == kind][:, cut].reshape(-1, 3) for kind, cut in enumerate(np.array(c) for c in _CUTS)
    ]
    return np.concatenate(parts)


class _Graph(NamedTuple):
    """Faces and what separates neighbours, as `kernels.graph.spread` takes it."""

    first: np.ndarray
    linked: np.ndarray
    length: np.ndarray

    def owners(self, seeds: np.ndarray) -> np.ndarray:
        """Number of the seed that each face is nearest to along the surface."""
        n = len(self.first) - 1
        owner = np.empty(n, np.int64)
        spread(*self, seeds, np.empty(n), owner, np.empty(n, np.int64), np.empty(n, bool))
        return owner


def _graph(pairs: np.ndarray, middle: np.ndarray, normal: np.ndarray) -> _Graph:
    """Distances between the middles of neighbouring faces, longer across a crease."""
    a, b = np.ascontiguousarray(pairs.T)
    n = len(pairs)
    graph = _Graph(np.empty(len(middle) + 1, np.int64), np.empty(2 * n, np.int64), np.empty(2 * n))
    link_faces(a, b, middle, normal, CREASE, np.empty(n), *graph)
    return graph


def _along_curve(middle: np.ndarray) -> np.ndarray:
    """Place of each face along a Z-order curve: faces close on it are close in space."""
    low, span = middle.min(axis=0), float(np.ptp(middle, axis=0).max()) or 1.0
    key = ((middle - low) / span * 1023.0).astype(np.int64)
    # Two places free after each of the ten bits, for those of the other axes.
    for shift, kept in ((16, 0x030000FF), (8, 0x0300F00F), (4, 0x030C30C3), (2, 0x09249249)):
        key = (key | key << shift) & kept
    return key[:, 0] | key[:, 1] << 1 | key[:, 2] << 2


def _seeds(piece: np.ndarray, key: np.ndarray, area: np.ndarray, wanted: float) -> np.ndarray:
    """Faces at even steps of area along the curve; in each piece as many as its area asks for, or one."""
    order = np.lexsort((key, piece))
    piece_area = np.bincount(piece, area)
    count = np.maximum(1, np.rint(piece_area / wanted)).astype(np.int64)
    until = np.cumsum(area[order])
    start = np.concatenate([[0.0], np.cumsum(piece_area)[:-1]])
    k = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    at = np.repeat(start, count) + (k + 0.5) * np.repeat(piece_area / count, count)
    first = np.concatenate([[0], np.cumsum(np.bincount(piece))])
    i = np.clip(np.searchsorted(until, at), np.repeat(first[:-1], count), np.repeat(first[1:] - 1, count))
    return np.unique(order[i])
