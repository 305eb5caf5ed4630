"""The soil against scipy's own interpolators, and its triangles against the heights that it tells."""

import numpy as np
import pytest
import trimesh
from scipy.interpolate import LinearNDInterpolator, PchipInterpolator, RegularGridInterpolator

from underlit.errors import DataError
from underlit.geometry import mapped_soil, profile_soil, read_height_map, sloped_soil

L, W = 0.6, 0.3


@pytest.fixture
def points():
    rng = np.random.default_rng(3)
    return rng.uniform(0.0, L, 2000), rng.uniform(0.0, W, 2000)


def test_slope_is_a_plane_through_the_given_depths(points):
    soil = sloped_soil(L, W, front=0.04, back=0.12)
    x, y = points
    np.testing.assert_allclose(soil.height(x, y), 0.04 + 0.08 * y / W, rtol=1e-12)
    assert soil.plane == pytest.approx((0.04, 0.0, 0.08 / W))
    assert soil.z_m.shape == (31, 61)


def test_tilt_to_both_sides(points):
    soil = sloped_soil(L, W, front=0.04, back=0.08, left=0.03)
    assert soil.height(0.0, W / 2) == pytest.approx(0.03)
    assert soil.height(L, W / 2) == pytest.approx(0.09)
    assert soil.height(L / 2, 0.0) == pytest.approx(0.04)
    assert soil.height(L / 2, W) == pytest.approx(0.08)
    a, b, c = soil.plane
    x, y = points
    np.testing.assert_allclose(soil.height(x, y), a + b * x + c * y, rtol=1e-12)


def test_single_depth_is_flat():
    soil = sloped_soil(L, W, front=0.04)
    assert soil.plane == pytest.approx((0.04, 0.0, 0.0))
    assert sloped_soil(L, W, left=0.03, right=0.14).height(L, 0.1) == pytest.approx(0.14)


def test_depths_off_one_plane_are_refused():
    with pytest.raises(DataError, match="do not lie on one plane"):
        sloped_soil(L, W, front=0.04, back=0.04, left=0.05, right=0.09)


def test_negative_depth_is_refused():
    with pytest.raises(DataError, match="goes down to -2 cm"):
        sloped_soil(L, W, front=0.04, back=-0.02)


@pytest.mark.parametrize("along", ["y", "x"])
def test_profile_is_the_monotone_cubic_at_the_nodes(along):
    side = W if along == "y" else L
    table = np.array([[0.0, 0.04], [0.3 * side, 0.05], [0.6 * side, 0.05], [side, 0.12]])
    soil = profile_soil(L, W, table, along=along)
    curve = PchipInterpolator(*table.T)
    nodes = soil.y_m if along == "y" else soil.x_m
    z = soil.z_m[:, 5] if along == "y" else soil.z_m[5]
    np.testing.assert_allclose(z, curve(nodes), rtol=1e-12)
    assert soil.plane is None
    assert np.all(np.diff(z) >= -1e-15)  # no dip between rising points


def test_profile_holds_its_end_depths_beyond_its_points():
    soil = profile_soil(L, W, [(0.1, 0.02), (0.2, 0.08)])
    np.testing.assert_allclose(soil.height(0.3, [0.0, 0.05, 0.25, W]), [0.02, 0.02, 0.08, 0.08])


def test_straight_profile_is_known_as_a_plane():
    soil = profile_soil(L, W, [(0.0, 0.03), (0.1, 0.05), (W, 0.09)])
    assert soil.plane == pytest.approx((0.03, 0.0, 0.2))


@pytest.mark.parametrize("bad", [[(0, 0.1)], [(0, 0.1), (0, 0.2)], [(0.2, 0.1), (0.1, 0.2)], [0.1, 0.2]])
def test_bad_profile(bad):
    with pytest.raises(DataError, match="two or more points whose distances increase"):
        profile_soil(L, W, bad)


def test_map_is_linear_between_its_values():
    rng = np.random.default_rng(1)
    table = rng.uniform(0.02, 0.1, (7, 13))
    soil = mapped_soil(L, W, table)
    outside = RegularGridInterpolator((np.linspace(0, W, 7), np.linspace(0, L, 13)), table)
    y, x = np.meshgrid(soil.y_m, soil.x_m, indexing="ij")
    np.testing.assert_allclose(soil.z_m, outside((y, x)), rtol=1e-12)
    assert soil.height(0.0, 0.0) == pytest.approx(table[0, 0])
    assert soil.height(L, W) == pytest.approx(table[-1, -1])


def test_height_between_nodes_is_that_of_the_two_triangles(points):
    rng = np.random.default_rng(2)
    soil = mapped_soil(L, W, rng.uniform(0.02, 0.1, (9, 9)), cell=0.05)
    x, y = points
    dx, dy = soil.x_m[1], soil.y_m[1]
    i, j = (x // dx).astype(int), (y // dy).astype(int)
    lower = x / dx - i >= y / dy - j
    for k in range(0, len(x), 20):  # each point in its own triangle, by scipy's barycentric interpolation
        corner = [(0, 0), (1, 0), (1, 1)] if lower[k] else [(0, 0), (1, 1), (0, 1)]
        node = [(i[k] + a, j[k] + b) for a, b in corner]
        flat = LinearNDInterpolator([(p * dx, q * dy) for p, q in node], [soil.z_m[q, p] for p, q in node])
        assert soil.height(x[k], y[k]) == pytest.approx(float(flat(x[k], y[k])), rel=1e-9)


def test_triangles_are_the_same_surface(points):
    rng = np.random.default_rng(4)
    soil = mapped_soil(L, W, rng.uniform(0.02, 0.1, (5, 5)), cell=0.03)
    vertices, faces = soil.triangles()
    solid = trimesh.Trimesh(vertices, faces, process=False)
    assert np.all(solid.face_normals[:, 2] > 0.0)
    assert len(faces) == 2 * (len(soil.x_m) - 1) * (len(soil.y_m) - 1)
    middle = vertices[faces].mean(axis=1)
    np.testing.assert_allclose(soil.height(middle[:, 0], middle[:, 1]), middle[:, 2], rtol=1e-12)


def test_height_outside_is_that_of_the_edge():
    soil = sloped_soil(L, W, front=0.04, back=0.12)
    assert soil.height(-1.0, 2.0) == pytest.approx(0.12)
    assert soil.height(0.1, -0.5) == pytest.approx(0.04)


def test_height_map_file(tmp_path):
    path = tmp_path / "soil.csv"
    path.write_text("# dug on a Sunday\nmm\n30, 30, 40\n60,60.5,80\n\n")
    table = read_height_map(path)
    np.testing.assert_allclose(table, [[0.03, 0.03, 0.04], [0.06, 0.0605, 0.08]])
    soil = mapped_soil(L, W, table)
    assert soil.height(0.0, 0.0) == pytest.approx(0.03)  # first row is the front
    assert soil.height(L, W) == pytest.approx(0.08)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1,2\n3,4\n", "first line must name the unit"),
        ("", "first line must name the unit"),
        ("furlong\n1,2\n3,4\n", "first line must name the unit"),
        ("mm\n", "missing or of unequal length"),
        ("mm\n1,2\n3\n", "missing or of unequal length"),
        ("mm\n1,2\n3,x\n", "got `x`, expected a depth"),
        ("mm\n1,2\n3,\n", "got ``, expected a depth"),
    ],
)
def test_bad_height_map_file(tmp_path, text, message):
    path = tmp_path / "soil.csv"
    path.write_text(text)
    with pytest.raises(DataError, match=message) as caught:
        read_height_map(path)
    assert caught.value.where.startswith(str(path))
    assert caught.value.hint


def test_height_map_file_missing_binary_or_vast(tmp_path):
    with pytest.raises(DataError, match="cannot be read: No such file"):
        read_height_map(tmp_path / "gone.csv")
    (tmp_path / "bin.csv").write_bytes(b"\xff\xfe\x00\x81" * 9)
    with pytest.raises(DataError, match="is not a CSV text file"):
        read_height_map(tmp_path / "bin.csv")
    with (tmp_path / "vast.csv").open("wb") as file:
        file.truncate(5_000_000_000)
    with pytest.raises(DataError, match="5000 MB is not read"):
        read_height_map(tmp_path / "vast.csv")


@pytest.mark.parametrize("table", [[[0.1, 0.2]], [0.1, 0.2], [[0.1], [0.2]]])
def test_map_too_small(table):
    with pytest.raises(DataError, match="height map of shape"):
        mapped_soil(L, W, table)


def test_map_with_holes():
    with pytest.raises(DataError, match=r"goes down to nan|not a number"):
        mapped_soil(L, W, [[0.1, float("nan")], [0.1, 0.1]])
