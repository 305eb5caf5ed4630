"""Outlines and the rasteriser against closed forms and against matplotlib's own point-in-polygon test."""

import numpy as np
import pytest
from matplotlib.path import Path as Curve

from underlit.figures import outline, raster
from underlit.figures.camera import FINE, Camera, Painted

BOX = (0.0, 0.4, 0.0, 0.3)


def sphere(centre=(0.2, 0.15, 0.1), radius=0.08, n=96):
    """Closed latitude-longitude sphere."""
    polar, around = np.meshgrid(
        np.linspace(0, np.pi, n + 1), np.linspace(0, 2 * np.pi, 2 * n + 1), indexing="ij"
    )
    unit = np.stack([np.sin(polar) * np.cos(around), np.sin(polar) * np.sin(around), np.cos(polar)], -1)
    j, i = (a.ravel() for a in np.mgrid[:n, : 2 * n])
    a, b = j * (2 * n + 1) + i, (j + 1) * (2 * n + 1) + i
    faces = np.concatenate([np.column_stack([a, b, b + 1]), np.column_stack([a, b + 1, a + 1])])
    return np.asarray(centre) + radius * unit.reshape(-1, 3), faces


def ring(inner=0.05, outer=0.1, n=200):
    """Flat annulus in the plane z = 0.1."""
    around = np.linspace(0, 2 * np.pi, n, endpoint=False)
    circle = np.column_stack([np.cos(around), np.sin(around), 0 * around])
    vertices = np.concatenate([inner * circle, outer * circle]) + np.array([0.2, 0.15, 0.1])
    i = np.arange(n)
    j = (i + 1) % n
    return vertices, np.concatenate([np.column_stack([i, i + n, j + n]), np.column_stack([i, j + n, j])])


def polygon_area(line):
    x, y = line.T
    return 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


@pytest.mark.parametrize("axes", [(0, 1), (0, 2), (1, 2)])
def test_a_sphere_is_seen_as_a_disc(axes):
    vertices, faces = sphere()
    (seen,) = outline.seen_parts([(vertices, faces)], axes, (0.0, 0.4, 0.0, 0.3), 0.001)
    assert seen.area_m2 == pytest.approx(np.pi * 0.08**2, rel=2e-3)
    (line,) = seen.lines()
    centre = np.array([0.2, 0.15, 0.1])[list(axes)]
    radius = np.linalg.norm(line - centre, axis=1)
    assert polygon_area(line) == pytest.approx(np.pi * 0.08**2, rel=2e-3)
    assert np.abs(radius - 0.08).max() < 0.0004  # a tenth of a cell is claimed on average; half is the worst


@pytest.mark.parametrize(
    ("axes", "towards_the_eye"),
    [
        (outline.FROM_ABOVE, (0, 0, 1)),
        (outline.FROM_THE_FRONT, (0, -1, 0)),
        (outline.FROM_THE_RIGHT, (1, 0, 0)),
    ],
)
def test_of_two_spheres_the_farther_lacks_what_the_nearer_hides(axes, towards_the_eye):
    """Lens of two circles of radius r whose centres lie r apart: r^2 (2 pi / 3 - sqrt(3) / 2)."""
    radius, centre = 0.06, np.array([0.15, 0.15, 0.15])
    lens = radius**2 * (2 * np.pi / 3 - np.sqrt(3) / 2)
    nearer = sphere(centre + 0.2 * np.array(towards_the_eye) + radius * np.eye(3)[axes[0]], radius)
    meshes = [nearer, sphere(centre, radius)]
    for order in (1, -1):
        seen = outline.seen_parts(meshes[::order], axes, BOX, 0.001)
        near, far = (part.area_m2 for part in seen[::order])
        assert near == pytest.approx(np.pi * radius**2, rel=2e-3)
        assert far == pytest.approx(np.pi * radius**2 - lens, rel=3e-3)
        assert np.sum([part.share for part in seen], axis=0).max() <= 1.0
    assert outline.seen_parts([], axes, BOX, 0.001) == []


def test_a_hole_stays_a_hole():
    vertices, faces = ring()
    (seen,) = outline.seen_parts([(vertices, faces)], outline.FROM_ABOVE, BOX, 0.001)
    assert seen.area_m2 == pytest.approx(np.pi * (0.1**2 - 0.05**2), rel=3e-3)
    assert sorted(polygon_area(line) for line in seen.lines()) == pytest.approx(
        [np.pi * 0.05**2, np.pi * 0.1**2], rel=3e-3
    )


def test_footprint_is_the_circle_in_which_the_soil_cuts_the_sphere():
    vertices, faces = sphere()
    stands = outline.footprint(vertices, faces, lambda x, y: 0 * x + 0.06, BOX, 0.001)
    assert stands.area_m2 == pytest.approx(np.pi * (0.08**2 - 0.04**2), rel=3e-3)


def test_a_stone_in_the_air_stands_nowhere():
    vertices, faces = sphere()
    stands = outline.footprint(vertices, faces, lambda x, y: 0 * x, BOX, 0.001)
    assert stands.area_m2 == 0.0


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("off", [0.0, 0.05])
def test_cut_of_a_sphere_is_a_disc(axis, off):
    vertices, faces = sphere()
    at = (0.2, 0.15, 0.1)[axis] + off
    solid = outline.cut(vertices, faces, axis, at, (0.0, 0.4, 0.0, 0.3), 0.001)
    assert solid.area_m2 == pytest.approx(np.pi * (0.08**2 - off**2), rel=4e-3)


def test_cut_of_a_hollow_sphere_leaves_the_hollow():
    outer, inner = sphere(radius=0.08), sphere(radius=0.04)
    vertices = np.concatenate([outer[0], inner[0]])
    faces = np.concatenate([outer[1], inner[1] + len(outer[0])])
    solid = outline.cut(vertices, faces, 1, 0.15, (0.0, 0.4, 0.0, 0.3), 0.001)
    assert solid.area_m2 == pytest.approx(np.pi * (0.08**2 - 0.04**2), rel=5e-3)


def test_an_open_dome_is_solid_below():
    vertices, faces = sphere()
    dome = faces[vertices[faces][:, :, 2].min(1) >= 0.1 - 1e-9]
    solid = outline.cut(vertices, dome, 1, 0.15, (0.0, 0.4, 0.0, 0.3), 0.001)
    expected = np.pi * 0.08**2 / 2 + 2 * 0.08 * 0.1
    assert solid.area_m2 == pytest.approx(expected, rel=0.01)


def test_rasteriser_agrees_with_point_in_polygon_and_planes():
    rng = np.random.default_rng(3)
    pixel, nearness = rng.uniform(-5, 45, (60, 2)), rng.uniform(0, 1, 60)
    faces = rng.permutation(60).reshape(-1, 3)
    seen = raster.rasterise(pixel, nearness, faces, (40, 40))
    y, x = (a.ravel() + 0.5 for a in np.mgrid[:40, :40])
    best, owner = np.full(1600, -np.inf), np.full(1600, -1)
    for i, face in enumerate(faces):
        inside = Curve(pixel[face]).contains_points(np.column_stack([x, y]))
        plane = np.linalg.solve(np.column_stack([pixel[face], np.ones(3)]), nearness[face])
        value = plane[0] * x + plane[1] * y + plane[2]
        nearer = inside & (value > best)
        best[nearer], owner[nearer] = value[nearer], i
    assert np.array_equal(seen.face.ravel(), owner)
    covered = owner >= 0
    assert covered.sum() > 800
    assert np.allclose(seen.nearness.ravel()[covered], best[covered])


def test_rasteriser_leaves_no_pinholes_and_bounds_its_portions(monkeypatch):
    monkeypatch.setattr(raster, "_CANDIDATES", 500)
    rng = np.random.default_rng(0)
    n = 24
    grid = np.stack(np.meshgrid(np.arange(n + 1.0), np.arange(n + 1.0)), -1)
    grid[1:-1, 1:-1] += rng.uniform(-0.4, 0.4, (n - 1, n - 1, 2))
    j, i = (a.ravel() for a in np.mgrid[:n, :n])
    a = j * (n + 1) + i
    faces = np.concatenate(
        [np.column_stack([a, a + 1, a + n + 2]), np.column_stack([a, a + n + 2, a + n + 1])]
    )
    seen = raster.rasterise(grid.reshape(-1, 2) * 7.0, np.zeros((n + 1) ** 2), faces, (n * 7, n * 7))
    assert (seen.face >= 0).all()


def test_degenerate_triangles_draw_nothing():
    pixel = np.array([[1.0, 1.0], [5.0, 5.0], [9.0, 9.0]])
    seen = raster.rasterise(pixel, np.zeros(3), np.array([[0, 1, 2], [0, 0, 0]]), (10, 10))
    assert (seen.face == -1).all()


def test_camera_holds_the_box_and_keeps_the_nearer_square():
    camera = Camera.on_box((0, 0, 0), (0.6, 0.3, 0.36), 400)
    corners = np.stack(np.meshgrid((0, 0.6), (0, 0.3), (0, 0.36)), -1).reshape(-1, 3)
    pixel, _ = camera.project(corners)
    assert (pixel >= 0).all()
    assert (pixel <= camera.size).all()

    def square(y, rgb):
        vertices = np.array([[0.1, y, 0.1], [0.5, y, 0.1], [0.5, y, 0.3], [0.1, y, 0.3]])
        return Painted(vertices, np.array([[0, 1, 2], [0, 2, 3]]), np.tile(rgb, (2, 1)))

    picture, seen = camera.render([square(0.25, (0.0, 0.0, 1.0)), square(0.05, (1.0, 0.0, 0.0))], (0, 0, 0))
    (column, row), _ = camera.project(np.array([[0.3, 0.05, 0.2]]))[0][0].astype(int), None
    assert picture[row, column] == pytest.approx([1, 0, 0, 1])
    assert picture[0, 0, 3] == 0.0
    assert seen.face.shape == (camera.size[1] * FINE, camera.size[0] * FINE)
    hidden, shown = camera.visible(np.array([[0.3, 0.25, 0.2], [0.3, 0.01, 0.2]]), seen)
    assert not hidden
    assert shown
