"""The BVH against brute force over all triangles in float64, and against what geometry says."""

from __future__ import annotations

import numba
import numpy as np
import pytest

from underlit.kernels.bvh import any_hit, build_bvh, closest_hit, new_stack

TETRAHEDRON = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], float)
TETRAHEDRON_FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])


@numba.njit
def trace(bvh, origins, directions, t_max, skip, stack):
    n = origins.shape[0]
    t, i_face, blocked = np.empty(n), np.empty(n, np.int64), np.empty(n, np.bool_)
    for i in range(n):
        o, d = origins[i], directions[i]
        t[i], i_face[i] = closest_hit(bvh, o[0], o[1], o[2], d[0], d[1], d[2], t_max[i], skip[i], stack)
        blocked[i] = any_hit(bvh, o[0], o[1], o[2], d[0], d[1], d[2], t_max[i], skip[i], stack)
    return t, i_face, blocked


def shoot(bvh, origins, directions, t_max=np.inf, skip=-1):
    origins, directions = np.atleast_2d(origins).astype(float), np.atleast_2d(directions).astype(float)
    n = len(origins)
    return trace(bvh, origins, directions, np.full(n, t_max, float), np.full(n, skip, np.int64), new_stack())


def brute_force(vertices, faces, origins, directions):
    """Distances to all triangles, shape (n_ray, n_tri), infinite where missed: o + t d = a + u e1 + v e2."""
    a, e1, e2 = vertices[faces[:, 0]], *(vertices[faces[:, k]] - vertices[faces[:, 0]] for k in (1, 2))
    d = np.broadcast_to(-directions[:, None, :], (len(origins), len(faces), 3))
    matrix = np.stack([d, *(np.broadcast_to(e, d.shape) for e in (e1, e2))], axis=-1)
    t, u, v = np.moveaxis(np.linalg.solve(matrix, (origins[:, None] - a)[..., None])[..., 0], -1, 0)
    return np.where((u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0), t, np.inf)


def random_triangles(rng, n, size=0.2):
    vertices = (rng.random((n, 1, 3)) + size * rng.normal(size=(n, 3, 3))).reshape(-1, 3)
    return vertices.astype(np.float32).astype(float), np.arange(3 * n).reshape(n, 3)


def random_rays(rng, n):
    return rng.uniform(-0.5, 1.5, (n, 3)), rng.normal(size=(n, 3))


@pytest.mark.parametrize("n_tri", [1, 2, 5, 40, 300])
def test_random_triangles_agree_with_brute_force(n_tri):
    rng = np.random.default_rng(n_tri)
    vertices, faces = random_triangles(rng, n_tri)
    origins, directions = random_rays(rng, 2000)
    expected = brute_force(vertices, faces, origins, directions)
    t, i_face, blocked = shoot(build_bvh(vertices, faces), origins, directions)
    assert np.array_equal(i_face >= 0, np.isfinite(expected.min(1)))
    assert np.array_equal(blocked, i_face >= 0)
    hit = i_face >= 0
    assert np.array_equal(i_face[hit], expected.argmin(1)[hit])
    np.testing.assert_allclose(t[hit], expected.min(1)[hit], rtol=2e-5, atol=2e-6)
    assert np.all(np.isinf(t[~hit]))


def test_no_triangles():
    bvh = build_bvh(np.zeros((0, 3)), np.zeros((0, 3), int))
    t, i_face, blocked = shoot(bvh, [0, 0, 0], [0, 0, 1], t_max=3.0)
    assert (t[0], i_face[0], blocked[0]) == (3.0, -1, False)


def test_skip_and_t_max():
    bvh = build_bvh(TETRAHEDRON, TETRAHEDRON_FACES)
    down = ([0.2, 0.2, 2.0], [0.0, 0.0, -1.0])
    t, i_face, _ = shoot(bvh, *down)
    assert (t[0], i_face[0]) == (pytest.approx(1.4, abs=1e-6), 2)
    t, i_face, blocked = shoot(bvh, *down, skip=2)
    assert (t[0], i_face[0], blocked[0]) == (pytest.approx(2.0, abs=1e-6), 0, True)
    t, i_face, blocked = shoot(bvh, *down, t_max=1.39)
    assert (t[0], i_face[0], blocked[0]) == (1.39, -1, False)
    assert shoot(bvh, *down, t_max=1.41)[1][0] == 2


def test_distance_is_in_units_of_the_direction():
    bvh = build_bvh(TETRAHEDRON, TETRAHEDRON_FACES)
    t, _, _ = shoot(bvh, [0.2, 0.2, 2.0], [0.0, 0.0, -0.5])
    assert t[0] == pytest.approx(2.8, abs=1e-6)


@pytest.mark.parametrize(
    ("vertices", "faces", "message"),
    [
        (TETRAHEDRON, [[0, 1, 4]], "vertex that is not there"),
        (TETRAHEDRON, [[0, 1, -1]], "vertex that is not there"),
        (np.full((3, 3), np.nan), [[0, 1, 2]], "not a finite number"),
    ],
)
def test_bad_mesh_is_refused(vertices, faces, message):
    with pytest.raises(ValueError, match=message):
        build_bvh(vertices, faces)
