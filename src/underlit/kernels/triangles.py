"""Triangle lists: their edges, and how large each triangle is and which way it faces."""

from __future__ import annotations

import math

from underlit.kernels.graph import link
from underlit.kernels.jit import exact_kernel, inlined_exact_kernel


@exact_kernel
def number_edges(faces, bucket, scratch, sides, ends, of_face, n_faces, balance):
    """Number the undirected edges of a triangle list, by their lower and then their higher vertex.

    Parameters
    ----------
    faces : ndarray, shape (F, 3), int64
    bucket, scratch : ndarray, shapes (V + 1,) and (3 F,), int64
    sides : ndarray, shape (3 F,), int64
        Filled with the sides 01, 12, 20 of all faces, numbered through, in the order of their edges.
    ends : ndarray, shape (3 F, 2), int64
        Filled with both vertices of each edge, the lower one first.
    of_face : ndarray, shape (F, 3), int64
        Filled with the edge of each side.
    n_faces, balance : ndarray, shape (3 F,), int64
        Filled for each edge: its faces; those that run along it upwards less those that run downwards.

    Returns
    -------
    int
        Number of edges.
    """
    for side in range(len(sides)):
        sides[side] = side
    _sort(faces, 1, bucket, sides, scratch)
    _sort(faces, 0, bucket, scratch, sides)
    n, last_low, last_high = 0, -1, -1
    for side in sides:
        low, high = _ends(faces, side)
        if low != last_low or high != last_high:
            ends[n, 0], ends[n, 1], n_faces[n], balance[n] = low, high, 0, 0
            n, last_low, last_high = n + 1, low, high
        f, k = side // 3, side % 3
        of_face[f, k] = n - 1
        n_faces[n - 1] += 1
        balance[n - 1] += 1 if faces[f, k] < high else -1
    return n


@inlined_exact_kernel
def _ends(faces, side):
    f, k = side // 3, side % 3
    a, b = faces[f, k], faces[f, k + 1 if k < 2 else 0]
    return min(a, b), max(a, b)


@exact_kernel
def _sort(faces, end, bucket, sides, into):
    """Sides by their lower (end 0) or higher vertex (1), equals as they were: a counting sort."""
    for v in range(len(bucket)):
        bucket[v] = 0
    for side in sides:
        bucket[_ends(faces, side)[end] + 1] += 1
    for v in range(1, len(bucket)):
        bucket[v] += bucket[v - 1]
    for side in sides:
        v = _ends(faces, side)[end]
        into[bucket[v]] = side
        bucket[v] += 1


@exact_kernel
def face_vectors(vertices, faces, doubled):
    """Fill `doubled` (F, 3) with the normal of each face, twice as long as the face is large.

    Parameters
    ----------
    vertices : ndarray, shape (V, 3), float64
        [m]
    faces : ndarray, shape (F, 3), int64
    doubled : ndarray, shape (F, 3), float64
        [m²]
    """
    for f in range(len(faces)):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ux, uy, uz = _between(vertices, a, b)
        vx, vy, vz = _between(vertices, a, c)
        doubled[f, 0], doubled[f, 1], doubled[f, 2] = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx


@inlined_exact_kernel
def _between(vertices, a, b):
    return vertices[b, 0] - vertices[a, 0], vertices[b, 1] - vertices[a, 1], vertices[b, 2] - vertices[a, 2]


@exact_kernel
def link_faces(a, b, middle, normal, crease, apart, first, linked, length):
    """Link faces to their neighbours, by how far apart their middles are.

    Parameters
    ----------
    a, b : ndarray, shape (P,), int64
        Faces that are neighbours.
    middle, normal : ndarray, shape (F, 3), float64
        Of each face; the normals are unit vectors. [m]
    crease : float
        By how much of itself a way over a right-angled edge counts longer.
    apart : ndarray, shape (P,), float64
        Scratch.
    first, linked, length : ndarray
        Filled, see `graph.link`. [m]
    """
    for k in range(len(a)):
        i, j = a[k], b[k]
        x, y, z = _between(middle, i, j)
        straight = normal[i, 0] * normal[j, 0] + normal[i, 1] * normal[j, 1] + normal[i, 2] * normal[j, 2]
        apart[k] = max(math.sqrt(x * x + y * y + z * z), 1e-9) * (1.0 + crease * (1.0 - straight))
    link(a, b, apart, first, linked, length)
