"""Simple shapes against closed forms."""

import math

import numpy as np
import pytest
import trimesh
from scipy.integrate import quad

from underlit.geometry import cylinder, disc, ellipsoid, slab, tube
from underlit.geometry.shapes import sphere


def as_trimesh(mesh):
    return trimesh.Trimesh(mesh.vertices_m, mesh.faces, process=False)


def polygon_share(sides):
    """Area of a regular polygon over that of its circle."""
    return sides / (2.0 * math.pi) * math.sin(2.0 * math.pi / sides)


def spheroid_area(equator, polar):
    """Surface of a prolate spheroid of two half-axes."""
    e = math.sqrt(1.0 - (equator / polar) ** 2)
    return 2.0 * math.pi * equator**2 * (1.0 + polar / (equator * e) * math.asin(e))


@pytest.mark.parametrize(
    "mesh",
    [
        slab((0.1, 0.2, 0.3)),
        disc(0.03, 0.001),
        cylinder(0.02, 0.3),
        cylinder(0.02, 0.3, bend=1.0),
        ellipsoid((0.1, 0.2, 0.3)),
        tube([[0, 0, 0], [0.1, 0, 0.1], [0.2, 0.1, 0.1], [0.1, 0.1, 0.3]], [0.02, 0.01, 0.02, 0.005]),
        tube([[0, 0, 0], [0.1, 0, 0], [0.05, 0, 0]], 0.002),
    ],
    ids=lambda m: f"{m.name}-{m.report.triangles}",
)
def test_closed_by_the_verdict_of_trimesh(mesh):
    solid = as_trimesh(mesh)
    assert solid.is_watertight and solid.is_winding_consistent
    assert mesh.report.watertight and mesh.report.components == 1 and mesh.report.open_edges == 0
    assert mesh.volume_m3 == pytest.approx(solid.volume, rel=1e-9)
    assert mesh.area_m2 == pytest.approx(solid.area, rel=1e-9)


def test_slab():
    mesh = slab((0.1, 0.2, 0.3))
    assert mesh.volume_m3 == pytest.approx(0.006)
    assert mesh.area_m2 == pytest.approx(0.22)
    np.testing.assert_allclose(mesh.bounds_m, [[-0.05, -0.1, 0.0], [0.05, 0.1, 0.3]])


@pytest.mark.parametrize("sides", [3, 16, 64])
def test_cylinder(sides):
    mesh = cylinder(0.02, 0.3, sides=sides)
    section = math.pi * 0.02**2 * polygon_share(sides)
    girth = 2.0 * sides * 0.02 * math.sin(math.pi / sides)
    assert mesh.volume_m3 == pytest.approx(0.3 * section)
    assert mesh.area_m2 == pytest.approx(0.3 * girth + 2.0 * section)


@pytest.mark.parametrize("bend", [0.3, -1.0, math.pi])
def test_bent_cylinder_ends_where_its_arc_does(bend):
    """An arc of length s and angle b from the upright ends at s/b (1 - cos b) sideways and s/b sin b up."""
    mesh = cylinder(0.005, 0.3, bend=bend)
    end = mesh.vertices_m[-1]
    r = 0.3 / bend
    np.testing.assert_allclose(end, (r * (1.0 - math.cos(bend)), 0.0, r * math.sin(bend)), atol=1e-12)
    section = math.pi * 0.005**2 * polygon_share(32)
    assert mesh.volume_m3 == pytest.approx(0.3 * section, rel=2e-3)


def test_cone_frustum():
    mesh = tube([[0, 0, 0], [0, 0, 0.3]], [0.03, 0.01], sides=200)
    exact = math.pi * 0.3 / 3.0 * (0.03**2 + 0.03 * 0.01 + 0.01**2)
    assert mesh.volume_m3 == pytest.approx(exact * polygon_share(200), rel=1e-9)


def test_bent_tube_follows_pappus():
    """A ring section swept along an arc: volume is section times the length of the axis (Pappus)."""
    phi = np.linspace(0.0, math.pi, 400)
    axis = np.stack([0.2 * np.cos(phi), np.zeros_like(phi), 0.2 * np.sin(phi)], axis=1)
    mesh = tube(axis, 0.02, sides=100)
    assert mesh.volume_m3 == pytest.approx(math.pi * 0.2 * math.pi * 0.02**2 * polygon_share(100), rel=1e-4)


def test_ellipsoid():
    mesh = ellipsoid((0.1, 0.1, 0.3), triangles=100_000)
    assert mesh.volume_m3 == pytest.approx(4.0 / 3.0 * math.pi * 0.05**2 * 0.15, rel=1e-3)
    assert mesh.area_m2 == pytest.approx(spheroid_area(0.05, 0.15), rel=1e-3)
    np.testing.assert_allclose(mesh.report.size, (0.1, 0.1, 0.3), rtol=2e-3)
    assert mesh.bounds_m[0, 2] == pytest.approx(0.0, abs=1e-12)


def test_spheroid_formula_itself():
    """The closed form used above, against quadrature of the surface of revolution."""
    a, c = 0.05, 0.15
    exact, _ = quad(
        lambda t: 2.0 * math.pi * a * math.sin(t) * math.hypot(a * math.cos(t), c * math.sin(t)), 0, math.pi
    )
    assert spheroid_area(a, c) == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("n", [2, 3, 7, 20, 50])
def test_sphere_counts_follow_euler(n):
    direction, faces = sphere(20 * n * n)
    assert len(faces) == 20 * n * n
    assert len(direction) == 10 * n * n + 2  # V - E + F = 2 with 3 F = 2 E
    np.testing.assert_allclose(np.linalg.norm(direction, axis=1), 1.0, rtol=1e-12)
