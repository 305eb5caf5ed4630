"""The BVH against Embree, an independent ray tracer, and against what must hold for closed meshes."""

from __future__ import annotations

from typing import NamedTuple

import numba
import numpy as np
import pytest
import trimesh
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene

from underlit.constants import SURFACE_OFFSET_M
from underlit.kernels.bvh import any_hit, build_bvh, closest_hit, new_stack

pytestmark = pytest.mark.validation

N_RAYS = 100_000


class Mesh(NamedTuple):
    vertices: np.ndarray
    faces: np.ndarray


def _bumpy(subdivisions, size, seed):
    """Closed stone-like mesh: a sphere with waves on it."""
    sphere = trimesh.creation.icosphere(subdivisions)
    rng = np.random.default_rng(seed)
    waves = np.sin(sphere.vertices @ rng.normal(size=(3, 20)) * 4 + rng.random(20) * 6).mean(1)
    vertices = sphere.vertices * (1 + 0.6 * waves)[:, None] * size + [0.3, 0.15, 0.1]
    return Mesh(vertices.astype(np.float32).astype(float), sphere.faces)


MESHES = {
    "box": Mesh(trimesh.creation.box().vertices * 0.25 + 0.5, trimesh.creation.box().faces),
    "stone": _bumpy(4, [0.1, 0.08, 0.06], 1),
    "fine stone": _bumpy(6, [0.1, 0.08, 0.06], 2),
    "slab": _bumpy(4, [0.3, 0.2, 0.0005], 3),
    "stone far off": Mesh(_bumpy(4, [0.1, 0.08, 0.06], 1).vertices + [2.0, 4.0, -1.0], _bumpy(4, 1, 1).faces),
}


@pytest.fixture(params=["scalar", "wide"])
def layout(request):
    return request.param


@pytest.fixture(params=MESHES)
def mesh(request):
    return MESHES[request.param]


@numba.njit(cache=False)
def trace(bvh, origins, directions, t_max, skip, stack):
    n = origins.shape[0]
    t, i_face, blocked = np.empty(n), np.empty(n, np.int64), np.empty(n, np.bool_)
    for i in range(n):
        o, d = origins[i], directions[i]
        t[i], i_face[i] = closest_hit(bvh, o[0], o[1], o[2], d[0], d[1], d[2], t_max[i], skip[i], stack)
        blocked[i] = any_hit(bvh, o[0], o[1], o[2], d[0], d[1], d[2], t_max[i], skip[i], stack)
    return t, i_face, blocked


def shoot(mesh, layout, origins, directions, t_max=np.inf, skip=-1):
    n = len(origins)
    t_max, skip = np.full(n, t_max, float), np.full(n, skip, np.int64)
    return trace(build_bvh(*mesh, layout), origins, directions, t_max, skip, new_stack())


def embree(mesh, origins, directions, t_max=1e30):
    """Distances (t_max when missed), faces, and whether anything is in the way; Embree's robust mode."""
    scene = EmbreeScene(robust=True)
    TriangleMesh(scene, mesh.vertices.astype(np.float32), mesh.faces.astype(np.int32))
    o, d = origins.astype(np.float32), directions.astype(np.float32)
    reach = np.full(len(o), t_max, np.float32)
    hit = scene.run(o, d, dists=reach.copy(), output=True)
    return hit["tfar"].astype(float), hit["primID"], scene.run(o, d, dists=reach, query="OCCLUDED") == 0


def unit(vectors):
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)


def as_float32(*arrays):
    """Rays that float32 holds exactly, so that both sides trace the same ones."""
    return tuple(a.astype(np.float32).astype(float) for a in arrays)


def random_rays(mesh, rng, n=N_RAYS):
    low, high = mesh.vertices.min(0), mesh.vertices.max(0)
    margin = 0.5 * (high - low).max()
    return as_float32(rng.uniform(low - margin, high + margin, (n, 3)), unit(rng.normal(size=(n, 3))))


def size_of(mesh):
    return np.ptp(mesh.vertices, axis=0).max()


def normal_of(mesh, face):
    a, b, c = (mesh.vertices[mesh.faces[face, k]] for k in range(3))
    return unit(np.cross(b - a, c - a))


def assert_same_hits(mesh, directions, ours, theirs):
    """Equal answers; where rounding decides, at the rim of a face, all but one in 1000 or 10 000."""
    t, i_face, blocked = ours
    t_embree, i_embree, blocked_embree = theirs
    assert np.mean(i_face != i_embree) < 1e-3
    assert np.mean((i_face >= 0) != (i_embree >= 0)) < 1e-4
    assert np.array_equal(blocked, i_face >= 0)
    assert np.mean(blocked != blocked_embree) < 1e-4
    same = (i_face >= 0) & (i_face == i_embree)
    # along a grazing ray a hit is uncertain, across the face it is not: the caller's offset relies on that
    across = (t - t_embree)[same] * np.einsum("ij,ij->i", directions[same], normal_of(mesh, i_face[same]))
    assert np.abs(across).max() < 1e-6 * np.abs(mesh.vertices).max()


def edge_points(mesh, rng, n):
    edge = mesh.faces[rng.integers(len(mesh.faces), size=n)]
    share = rng.random((n, 1))
    return share * mesh.vertices[edge[:, 0]] + (1 - share) * mesh.vertices[edge[:, 1]]


def vertex_points(mesh, rng, n):
    return mesh.vertices[rng.integers(len(mesh.vertices), size=n)]


def inner_points(mesh, rng, n):
    """Points near the centre, inside all the meshes here."""
    low, high = mesh.vertices.min(0), mesh.vertices.max(0)
    return (low + high) / 2 + rng.uniform(-0.02, 0.02, (n, 3)) * (high - low)


def test_random_rays(mesh, layout):
    rays = random_rays(mesh, np.random.default_rng(1))
    assert_same_hits(mesh, rays[1], shoot(mesh, layout, *rays), embree(mesh, *rays))


def test_short_rays(mesh, layout):
    rays = random_rays(mesh, np.random.default_rng(2))
    t_max = 0.4 * size_of(mesh)
    ours, theirs = shoot(mesh, layout, *rays, t_max=t_max), embree(mesh, *rays, t_max=t_max)
    assert 0.02 < np.mean(ours[1] >= 0) < 0.5
    assert_same_hits(mesh, rays[1], ours, theirs)


def test_directions_of_any_length(mesh, layout):
    origins, directions = random_rays(mesh, np.random.default_rng(3))
    t, i_face, _ = shoot(mesh, layout, origins, directions)
    t_scaled, i_scaled, _ = shoot(mesh, layout, origins, directions * 64.0)
    assert np.array_equal(i_face, i_scaled)
    hit = i_face >= 0
    assert np.array_equal(t[hit], 64.0 * t_scaled[hit])


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_rays_along_an_axis(mesh, layout, axis):
    rng = np.random.default_rng(4)
    origins, _ = random_rays(mesh, rng)
    directions = np.zeros_like(origins)
    directions[:, axis] = rng.choice([-1.0, 1.0], N_RAYS)
    ours = shoot(mesh, layout, origins, directions)
    assert_same_hits(mesh, directions, ours, embree(mesh, origins, directions))
    assert np.array_equal(
        shoot(mesh, layout, origins, np.where(directions == 0, -0.0, directions))[1], ours[1]
    )


@pytest.mark.parametrize("target", [edge_points, vertex_points])
def test_no_ray_from_inside_gets_out(mesh, layout, target):
    rng = np.random.default_rng(5)
    origins, aims = inner_points(mesh, rng, N_RAYS), target(mesh, rng, N_RAYS)
    for directions in (aims - origins, unit(aims - origins)):
        assert np.all(shoot(mesh, layout, origins, directions)[1] >= 0)


@pytest.mark.parametrize("target", [edge_points, vertex_points])
def test_no_ray_from_inside_gets_out_in_a_plane_of_its_target(layout, target):
    """One or two components of the direction are zero, and the origin shares those coordinates with the aim."""
    mesh, rng = MESHES["fine stone"], np.random.default_rng(11)
    aims = target(mesh, rng, 10 * N_RAYS)
    origins = inner_points(mesh, rng, len(aims))
    is_near = np.abs(aims - origins) < 0.1 * np.ptp(mesh.vertices, axis=0)
    origins = np.where(is_near, aims, origins)[is_near.any(1)]
    aims = aims[is_near.any(1)]
    assert len(aims) > N_RAYS
    assert np.all(shoot(mesh, layout, origins, aims - origins)[1] >= 0)


def test_no_ray_from_outside_slips_in_at_an_edge(layout):
    """A ray from outside that ends inside must meet the mesh; aimed at edges and vertices of the rounder ones."""
    for name in ("box", "stone", "fine stone"):
        mesh, rng = MESHES[name], np.random.default_rng(6)
        for target in (edge_points, vertex_points):
            aims, inner = target(mesh, rng, N_RAYS), inner_points(mesh, rng, N_RAYS)
            origins = aims + (aims - inner) * rng.uniform(2.0, 200.0, (N_RAYS, 1))
            assert np.all(shoot(mesh, layout, origins, inner - origins, t_max=1.0)[1] >= 0)


def test_rays_that_leave_a_face(layout):
    """From a sphere, lifted as the tracer does: outwards nothing is met; inwards another face."""
    sphere = trimesh.creation.icosphere(5)
    mesh, rng = Mesh(sphere.vertices * 0.1 + 0.2, sphere.faces), np.random.default_rng(7)
    face = rng.integers(len(mesh.faces), size=N_RAYS)
    points = np.einsum("ij,ijk->ik", rng.dirichlet([1, 1, 1], N_RAYS), mesh.vertices[mesh.faces[face]])
    normal = normal_of(mesh, face)
    outwards = unit(normal + 0.999 * unit(rng.normal(size=(N_RAYS, 3))))
    lifted, sunk = points + SURFACE_OFFSET_M * normal, points - SURFACE_OFFSET_M * normal
    assert np.all(shoot(mesh, layout, lifted, outwards, skip=face)[1] == -1)
    ours, theirs = shoot(mesh, layout, sunk, -outwards, skip=face), embree(mesh, sunk, -outwards)
    assert np.all((ours[1] >= 0) & (ours[1] != face))
    assert np.mean(ours[1] != theirs[1]) < 1e-3
    assert np.all(shoot(mesh, layout, points, -outwards, skip=face)[1] != face)


def test_useless_triangles_change_nothing(layout):
    """Triangles without area, and each triangle twice, among the real ones."""
    real, rng = MESHES["stone"], np.random.default_rng(8)
    a, b = rng.integers(len(real.vertices), size=(2, 2000))
    middle = len(real.vertices) + np.arange(2000)
    vertices = np.concatenate([real.vertices, (real.vertices[a] + real.vertices[b]) / 2])
    points, lines = np.stack([a, a, a], axis=1), np.stack([a, a, b], axis=1)
    collinear = np.stack([a, middle, b], axis=1)
    crowd = Mesh(vertices, np.concatenate([real.faces, points, lines, collinear, real.faces]))
    rays = random_rays(real, rng)
    t, i_face, _ = shoot(crowd, layout, *rays)
    t_real, i_real, _ = embree(real, *rays)
    second = len(real.faces) + 6000
    i_face = np.where(i_face >= second, i_face - second, i_face)
    assert np.mean(i_face != i_real) < 1e-3
    hit = (i_face >= 0) & (i_real >= 0)
    assert np.mean(np.abs(t - t_real)[hit] > 1e-6) < 1e-4


@pytest.mark.parametrize("distance", [10.0, 1e3, 1e5])
def test_rays_from_far_away(layout, distance):
    """Distances stay right to the rounding of float64 origins, far beyond what float32 would hold."""
    mesh, rng = MESHES["stone"], np.random.default_rng(9)
    near_origins, directions = random_rays(mesh, rng)
    near_origins -= directions * size_of(mesh) * 3
    t_near, i_near, _ = shoot(mesh, layout, near_origins, directions)
    t, i_face, _ = shoot(mesh, layout, near_origins - distance * directions, directions)
    assert np.mean(i_face != i_near) < 1e-3
    hit = (i_face >= 0) & (i_face == i_near)
    np.testing.assert_allclose(t[hit] - distance, t_near[hit], atol=1e-6)
