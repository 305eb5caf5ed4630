"""Patches: connected by scipy's verdict, even in area."""

import numpy as np
import pytest
import trimesh
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from underlit.errors import MeshError
from underlit.geometry import cylinder, ellipsoid, make_mesh, patches, refine, slab, stone, wood


def is_connected(mesh, patch, n):
    """Each patch is one piece in trimesh's own graph of adjoining faces."""
    solid = trimesh.Trimesh(mesh.vertices_m, mesh.faces, process=False)
    a, b = solid.face_adjacency.T
    same = patch[a] == patch[b]
    size = len(mesh.faces)
    graph = coo_array((np.ones(same.sum()), (a[same], b[same])), shape=(size, size))
    return connected_components(graph, directed=False)[0] == n


@pytest.mark.parametrize(
    "mesh",
    [
        ellipsoid((0.14, 0.10, 0.18), triangles=20_000),
        stone((0.14, 0.10, 0.18), triangles=50_000, seed=4),
        wood(0.4, triangles=40_000),
    ],
    ids=lambda m: m.name,
)
def test_patches_are_connected_and_even(mesh):
    patch, n = patches(mesh, 0.01)
    assert patch.dtype == np.int32 and patch.shape == (mesh.report.triangles,)
    np.testing.assert_array_equal(np.unique(patch), np.arange(n))
    assert is_connected(mesh, patch, n)
    area = np.bincount(patch, mesh.face_areas_m2)
    assert area.mean() == pytest.approx(1e-4, rel=0.01)
    assert area.std() < 0.25 * area.mean()
    assert np.percentile(area, [1, 99]) == pytest.approx([1e-4, 1e-4], rel=0.65)


def test_patches_are_compact():
    """No patch is a strip: its faces lie within a circle of at most 2.5 times its area."""
    mesh = ellipsoid((0.1, 0.1, 0.1), triangles=20_000)
    patch, n = patches(mesh, 0.01)
    centre = mesh.vertices_m[mesh.faces].mean(axis=1)
    for k in range(0, n, 10):
        mine = centre[patch == k]
        radius = np.linalg.norm(mine - mine.mean(axis=0), axis=1).max()
        assert np.pi * radius**2 < 2.5 * 1e-4


def test_a_large_face_is_its_own_patch():
    patch, n = patches(slab((0.1, 0.2, 0.3)), 0.01)
    assert n == 12
    np.testing.assert_array_equal(np.sort(patch), np.arange(12))


@pytest.mark.parametrize(
    "mesh", [slab((0.1, 0.2, 0.05)), cylinder(0.01, 0.3), stone((0.1, 0.1, 0.1), triangles=100)]
)
def test_refined_mesh_is_the_same_surface(mesh):
    fine = refine(mesh, 0.005)
    solid = trimesh.Trimesh(fine.vertices_m, fine.faces, process=False)
    assert solid.is_watertight and solid.is_winding_consistent
    assert solid.edges_unique_length.max() <= 0.005
    assert fine.volume_m3 == pytest.approx(mesh.volume_m3, rel=1e-9)
    assert fine.area_m2 == pytest.approx(mesh.area_m2, rel=1e-9)
    patch, n = patches(fine, 0.01)
    assert is_connected(fine, patch, n)
    area = np.bincount(patch, fine.face_areas_m2)
    assert area.std() < 0.5 * area.mean()  # thin triangles of the rod make the most uneven patches, 0.42


def test_fine_mesh_is_left_as_it_is():
    mesh = ellipsoid((0.1, 0.1, 0.1), triangles=20_000)
    np.testing.assert_array_equal(refine(mesh, 0.01).faces, mesh.faces)


def test_refining_without_end_is_refused():
    with pytest.raises(MeshError, match=r"triangles of 0.5 mm would be more than 5.5e\+07"):
        refine(slab((1.0, 1.0, 1.0)), 0.0005)


def test_one_patch_for_a_small_thing():
    patch, n = patches(ellipsoid((0.004, 0.004, 0.004), triangles=500), 0.01)
    assert n == 1 and not patch.any()


def test_separate_pieces_never_share_a_patch():
    a = ellipsoid((0.02, 0.02, 0.02), triangles=500)
    v = np.concatenate([a.vertices_m, a.vertices_m + np.array([0.021, 0.0, 0.0])])
    mesh = make_mesh("two", v, np.concatenate([a.faces, a.faces + len(a.vertices_m)]))
    patch, n = patches(mesh, 0.02)
    assert set(patch[:500]) & set(patch[500:]) == set()
    assert is_connected(mesh, patch, n)


def test_patches_are_the_same_each_time():
    mesh = stone((0.14, 0.10, 0.18), triangles=20_000)
    np.testing.assert_array_equal(patches(mesh, 0.01)[0], patches(mesh, 0.01)[0])
