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


@pytest.fixture(params=["scalar", "wide"], autouse=True)
def layout(request, monkeypatch):
    if request.param == "wide" and numba.config.DISABLE_JIT:
        pytest.skip("vectors exist in compiled code only")
    monkeypatch.setenv("UNDERLIT_BVH", request.param)
    return request.param


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


def test_coplanar_triangles_are_told_apart():
    side = np.linspace(0.0, 1.0, 8)
    x, y = (a.ravel() for a in np.meshgrid(side, side))
    corner = (np.arange(7)[:, None] * 8 + np.arange(7)).ravel()
    faces = np.stack([corner, corner + 1, corner + 8, corner + 1, corner + 9, corner + 8], axis=1).reshape(
        -1, 3
    )
    bvh = build_bvh(np.stack([x, y, np.full_like(x, 0.25)], axis=1), faces)
    rng = np.random.default_rng(2)
    origins = np.column_stack([rng.random((5000, 2)), np.full(5000, 1.0)])
    t, i_face, _ = shoot(bvh, origins, np.tile([0.0, 0.0, -1.0], (5000, 1)))
    u, v = np.modf(origins[:, 0] * 7)[0], np.modf(origins[:, 1] * 7)[0]
    cell = (origins[:, 1] * 7).astype(int) * 7 + (origins[:, 0] * 7).astype(int)
    clear = np.abs(np.stack([u, v, 1 - u, 1 - v, u + v - 1])).min(0) > 1e-4
    assert np.array_equal(i_face[clear], (2 * cell + (u + v > 1))[clear])
    np.testing.assert_allclose(t, 0.75, rtol=1e-6)


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


def test_unknown_layout_is_refused(monkeypatch):
    monkeypatch.setenv("UNDERLIT_BVH", "square")
    with pytest.raises(ValueError, match="no BVH layout 'square'"):
        build_bvh(TETRAHEDRON, TETRAHEDRON_FACES)


def test_same_mesh_same_tree(layout):
    vertices, faces = random_triangles(np.random.default_rng(0), 3000)
    a, b = build_bvh(vertices, faces), build_bvh(vertices, faces)
    assert all(x.tobytes() == y.tobytes() for x, y in zip(a, b, strict=True))


@pytest.mark.parametrize("n_tri", [1, 8, 9, 64, 65, 5000])
def test_every_face_is_in_the_tree_once(n_tri, layout):
    vertices, faces = random_triangles(np.random.default_rng(1), n_tri)
    bvh = build_bvh(vertices, faces)
    held = bvh.face if layout == "scalar" else bvh.blocks[:, 72:].view(np.int32)
    assert np.array_equal(np.sort(held[held >= 0]), np.arange(n_tri))


def test_many_triangles_in_one_place():
    vertices = np.tile(TETRAHEDRON[1:], (2000, 1))
    bvh = build_bvh(vertices, np.arange(6000).reshape(-1, 3))
    t, i_face, _ = shoot(bvh, [[0, 0, 0], [0, 0, 0]], [[1, 1, 1], [1, 1, -4]])
    assert t[0] == pytest.approx(1 / 3, abs=1e-6)
    assert (i_face[0] >= 0, i_face[1]) == (True, -1)


def test_sizes_from_a_metre_to_a_picometre():
    """Each triangle half as large as the one before: as deep a tree as binning makes."""
    size = 2.0 ** -np.arange(40)
    vertices = (TETRAHEDRON[None, 1:] * size[:, None, None]).reshape(-1, 3)
    bvh = build_bvh(vertices, np.arange(120).reshape(-1, 3))
    t, i_face, _ = shoot(bvh, [0, 0, 0], [1, 1, 1])
    assert i_face[0] == 39
    assert t[0] == pytest.approx(size[-1] / 3, rel=1e-6)
    assert shoot(bvh, [1, 1, 1], [-1, -1, -1])[1][0] == 0


def test_a_lost_ray_ends():
    bvh = build_bvh(*random_triangles(np.random.default_rng(3), 500))
    origins, directions = (
        [[np.nan] * 3, [np.nan, 0.5, 0.5], [0.5] * 3],
        [[1, 0, 0], [1, 0, 0], [np.nan, 1, 0]],
    )
    assert np.all(shoot(bvh, origins, directions)[1] == -1)
