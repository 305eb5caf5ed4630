"""Edges, areas and normals of triangle lists, against numpy and trimesh."""

import numpy as np
import pytest
import trimesh

from underlit.geometry import stone
from underlit.geometry.topology import area_vectors, edges_of, face_middles, neighbours

FAN = np.array(
    [[0, 1, 2], [0, 2, 3], [2, 0, 4], [5, 6, 7], [7, 6, 5]]
)  # three faces at edge 02; two back to back


def by_numpy(faces):
    sides = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    ends, number, count = np.unique(np.sort(sides, axis=1), axis=0, return_inverse=True, return_counts=True)
    upwards = np.where(sides[:, 0] < sides[:, 1], 1, -1)
    return ends, number.reshape(-1, 3), count, np.bincount(number.ravel(), upwards, len(ends))


@pytest.mark.parametrize(
    "faces", [FAN, stone((0.1, 0.1, 0.1), triangles=2000).faces, np.random.default_rng(4).permuted(FAN)]
)
def test_edges_are_those_of_numpy(faces):
    ends, of_face, count, balance = by_numpy(np.asarray(faces, np.int64))
    found = edges_of(faces)
    for mine, expected in (
        (found.ends, ends), (found.of_face, of_face), (found.n_faces, count), (found.balance, balance)
    ):  # fmt: skip
        np.testing.assert_array_equal(mine, expected)
    np.testing.assert_array_equal(found.sides, np.argsort(of_face, axis=None, kind="stable"))


def test_faces_at_one_edge_are_a_chain():
    assert neighbours(edges_of(FAN)).tolist() == [[0, 1], [1, 2], [3, 4], [3, 4], [3, 4]]


def test_normals_areas_and_middles_are_those_of_trimesh():
    mesh = stone((0.14, 0.10, 0.18), triangles=5000)
    solid = trimesh.Trimesh(mesh.vertices_m, mesh.faces, process=False)
    expected = solid.face_normals * solid.area_faces[:, None]
    np.testing.assert_allclose(area_vectors(mesh.vertices_m, mesh.faces), expected, atol=1e-15)
    np.testing.assert_allclose(face_middles(mesh.vertices_m, mesh.faces), solid.triangles_center, atol=1e-15)
