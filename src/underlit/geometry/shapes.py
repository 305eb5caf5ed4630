"""Simple closed shapes: slab, disc, ellipsoid, and tubes along a line.

Each stands on z = 0 above its origin.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from underlit.geometry.mesh import Mesh, make_mesh
from underlit.kernels.limb import carry_along


def slab(size: Sequence[float], *, name: str = "slab") -> Mesh:
    """A box of size x, y, z. [m] Twelve triangles."""
    x, y, z = size
    corner = np.array([[i, j, k] for k in (0, 1) for j in (0, 1) for i in (0, 1)], np.float64)
    vertices = (corner - (0.5, 0.5, 0.0)) * (x, y, z)
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (1, 3, 7, 5), (3, 2, 6, 7), (2, 0, 4, 6)]
    faces = np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])
    return make_mesh(name, vertices, faces)


def disc(radius: float, thickness: float, *, sides: int = 48, name: str = "disc") -> Mesh:
    """A flat round plate of radius and thickness. [m]"""
    return cylinder(radius, thickness, sides=sides, name=name)


def cylinder(
    radius: float, length: float, *, bend: float = 0.0, sides: int = 32, name: str = "cylinder"
) -> Mesh:
    """A round rod of radius and length along its axis [m], upright, or bent to the right along an arc.

    `bend` is the angle between the directions of its two ends. [rad] Its triangles are about as long as wide, so
    that patches of them are too.
    """
    around = 2.0 * math.pi * radius / sides
    n = max(math.ceil(length / around), math.ceil(abs(bend) / math.radians(4.0)))
    share = np.linspace(0.0, 1.0, n + 1)
    slope = 0.5 * bend * share  # a chord of an arc runs half as steep as the arc at its end
    chord = length * share * np.sinc(slope / math.pi)
    axis = np.stack([chord * np.sin(slope), np.zeros(n + 1), chord * np.cos(slope)], axis=1)
    return tube(axis, radius, sides=sides, name=name)


def ellipsoid(size: Sequence[float], *, triangles: int = 2000, name: str = "ellipsoid") -> Mesh:
    """An ellipsoid of diameters x, y, z [m] with about so many triangles, its corners on the true surface."""
    direction, faces = sphere(triangles)
    return make_mesh(name, (direction + np.array([0.0, 0.0, 1.0])) * (0.5 * np.asarray(size)), faces)


def tube(points, radius, *, sides: int = 16, name: str = "tube") -> Mesh:
    """A round tube along a line of points, with flat ends.

    Parameters
    ----------
    points : array_like, shape (n, 3)
        The axis; at least two points, no two neighbours equal. [m]
    radius : float or array_like, shape (n,)
        At each point. [m]
    sides : int
        Corners of the cross-section, at least 3. They lie on the circle, so the tube is slightly inscribed.
    """
    points = np.asarray(points, np.float64)
    radius = np.broadcast_to(np.asarray(radius, np.float64), len(points))
    _, u, v = frames(points)
    angle = np.arange(sides) * (2.0 * math.pi / sides)
    circle = np.cos(angle)[None, :, None] * u[:, None] + np.sin(angle)[None, :, None] * v[:, None]
    ring = points[:, None] + radius[:, None, None] * circle
    vertices = np.concatenate([ring.reshape(-1, 3), points[:1], points[-1:]])
    return make_mesh(name, vertices, _tube_faces(len(points), sides))


def frames(points: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Unit tangent and two cross directions at each point (n, 3) of a line, carried along without twist."""
    step = np.diff(points, axis=0)
    step /= np.linalg.norm(step, axis=1)[:, None]
    tangent = np.concatenate([step[:1], step[:-1] + step[1:], step[-1:]])
    hairpin = np.linalg.norm(tangent, axis=1) < 1e-6
    tangent[hairpin] = np.append(step, step[-1:], axis=0)[hairpin]
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    u = np.zeros_like(tangent)
    u[0] = np.cross(tangent[0], np.eye(3)[np.argmin(np.abs(tangent[0]))])
    carry_along(tangent, u)
    return tangent, u, np.cross(tangent, u)


def sphere(triangles: int) -> tuple[np.ndarray, np.ndarray]:
    """Unit directions (V, 3) and faces (F, 3) of a finely cut icosahedron: F = 20 n², near that asked."""
    direction, faces = _cut_icosahedron(max(2, round(math.sqrt(triangles / 20.0))))
    return direction.copy(), faces.copy()


@lru_cache(4)  # stones of one tank have as many triangles more often than not
def _cut_icosahedron(n: int) -> tuple[np.ndarray, np.ndarray]:
    corner, face = _icosahedron()
    i, j = (a.ravel() for a in np.meshgrid(np.arange(n + 1), np.arange(n + 1), indexing="ij"))
    i, j = i[i + j <= n], j[i + j <= n]
    weight = np.stack([n - i - j, i, j], axis=1)
    point = np.einsum("wk,fkc->fwc", weight, corner[face]) / n
    local = _triangle_grid(n, i, j)
    faces = (local[None] + (np.arange(len(face)) * len(i))[:, None, None]).reshape(-1, 3)
    flat = point.reshape(-1, 3)
    _, first, number = np.unique(np.round(flat * 1e7), axis=0, return_index=True, return_inverse=True)
    direction = flat[first] / np.linalg.norm(flat[first], axis=1)[:, None]
    return direction, number.ravel()[faces]


def _tube_faces(n: int, sides: int) -> np.ndarray:
    """Faces of n rings of corners, numbered ring by ring, then the centres of the first and the last ring."""
    k = np.arange(sides)
    after = (k + 1) % sides
    row = np.arange(n - 1)[:, None] * sides
    a, b, c, d = row + k, row + after, row + sides + after, row + sides + k
    wall = np.stack([a, b, c, a, c, d], axis=-1).reshape(-1, 3)
    first, last = np.full(sides, n * sides), np.full(sides, n * sides + 1)
    top = (n - 1) * sides
    return np.concatenate(
        [wall, np.stack([first, after, k], axis=1), np.stack([last, top + k, top + after], axis=1)]
    )


def _triangle_grid(n: int, i: np.ndarray, j: np.ndarray) -> np.ndarray:
    """Faces of the grid i + j <= n of points numbered in the given order."""
    number = np.full((n + 2, n + 2), -1)
    number[i, j] = np.arange(len(i))
    up = i + j < n
    down = i + j < n - 1
    upward = np.stack([number[i, j], number[i + 1, j], number[i, j + 1]], axis=1)[up]
    downward = np.stack([number[i + 1, j], number[i + 1, j + 1], number[i, j + 1]], axis=1)[down]
    return np.concatenate([upward, downward])


def _icosahedron() -> tuple[np.ndarray, np.ndarray]:
    """Two poles and two rings of five: unit corners and faces."""
    angle = np.arange(5) * (0.4 * math.pi)
    z = 1.0 / math.sqrt(5.0)
    ring = 2.0 * z
    low = np.stack([ring * np.cos(angle), ring * np.sin(angle), np.full(5, -z)], axis=1)
    high = np.stack(
        [ring * np.cos(angle + 0.2 * math.pi), ring * np.sin(angle + 0.2 * math.pi), np.full(5, z)], 1
    )
    corner = np.concatenate([[[0.0, 0.0, -1.0]], low, high, [[0.0, 0.0, 1.0]]])
    faces = []
    for k in range(5):
        a, b, c, d = 1 + k, 1 + (k + 1) % 5, 6 + k, 6 + (k + 1) % 5
        faces += [(0, b, a), (a, b, c), (b, d, c), (11, c, d)]
    return corner, np.array(faces)
