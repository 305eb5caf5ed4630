"""Light passed between surfaces, against form factors and the law of the integrating sphere.

Sources: J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors, C-11 (parallel rectangles) and C-14
(rectangles with a common edge); the sphere's multiplier rho / (1 - rho (1 - f)), any textbook of photometry.
"""

import numpy as np
import pytest
import trimesh

from bench import NO_GLASS, layout, paint, rectangle, shine, tank_text
from underlit.geometry import make_mesh
from zcheck import agree, disagree

pytestmark = [pytest.mark.validation, pytest.mark.statistical]


def parallel(a, b, c):
    """Form factor between equal rectangles a x b, c apart."""
    x, y = a / c, b / c
    root = np.sqrt((1 + x**2) * (1 + y**2) / (1 + x**2 + y**2))
    p, q = np.sqrt(1 + y**2), np.sqrt(1 + x**2)
    arcs = x * p * np.arctan(x / p) + y * q * np.arctan(y / q) - x * np.arctan(x) - y * np.arctan(y)
    return 2.0 / (np.pi * x * y) * (np.log(root) + arcs)


def upright(edge, deep, high):
    """Form factor from a rectangle edge x deep to the one edge x high that stands on its edge."""
    h, w = high / edge, deep / edge
    s, t = h**2 + w**2, np.sqrt(h**2 + w**2)
    arcs = w * np.arctan(1 / w) + h * np.arctan(1 / h) - t * np.arctan(1 / t)
    logs = np.log((1 + w**2) * (1 + h**2) / (1 + s))
    logs += w**2 * np.log(w**2 * (1 + s) / ((1 + w**2) * s)) + h**2 * np.log(
        h**2 * (1 + s) / ((1 + h**2) * s)
    )
    return (arcs + 0.25 * logs) / (np.pi * w)


LX, LY, LZ = 0.6, 0.3, 0.36


def test_closed_forms_give_the_reference_values():
    """GE-03, GE-04, GE-05."""
    assert parallel(1, 1, 1) == pytest.approx(0.199825, abs=1e-6)
    assert upright(1, 1, 1) == pytest.approx(0.200044, abs=1e-6)
    top, long, short = parallel(LX, LY, LZ), upright(LX, LY, LZ), upright(LY, LX, LZ)
    assert (top, long, short) == pytest.approx((0.233054, 0.257341, 0.126132), abs=1e-6)
    assert top + 2 * long + 2 * short == pytest.approx(1.0, abs=1e-12)


@pytest.fixture(scope="module")
def black_tank():
    """Dry, all faces black, floor 1 mm up and the rim LZ above it."""
    packed = layout(tank_text("60 cm", "30 cm", "361 mm", "0 cm", depth="1 mm", cell="6 cm"), tank=NO_GLASS)
    paint(packed, packed.arrays.soil.surface, 0.0)
    return packed


def faces_reached(shone):
    """Shares on left, right, front, back, soil and out of the top, shape (K, 6)."""
    panes = [shone.on(f"pane {name}").sum(axis=1)[:, 0] for name in ("left", "right", "front", "back")]
    return np.stack(
        [*panes, shone.on("soil").sum(axis=1)[:, 0], shone.ended("reflected above")[:, 0]], axis=1
    )


def test_from_the_floor(black_tank):
    source = rectangle((LX / 2, LY / 2, 0.001 + 1e-9), (LX, LY), facing=(0, 0, 1))
    top, long, short = parallel(LX, LY, LZ), upright(LX, LY, LZ), upright(LY, LX, LZ)
    got = faces_reached(shine(black_tank, source, 1 << 15))[:, [0, 1, 2, 3, 5]]
    agree(got, [short, short, long, long, top], resolves=0.002)
    disagree(got, np.array([short, short, long, long, top]) * [1.002, 1, 1, 1, 1])


def test_from_a_short_wall(black_tank):
    source = rectangle((1e-9, LY / 2, 0.001 + LZ / 2), (LY, LZ), facing=(1, 0, 0))
    across, side, floor = parallel(LY, LZ, LX), upright(LZ, LY, LX), upright(LY, LZ, LX)
    assert floor == pytest.approx(upright(LY, LX, LZ) * LX / LZ)  # reciprocity of the closed forms
    got = faces_reached(shine(black_tank, source, 1 << 15))[:, 1:]
    agree(got, [across, side, side, floor, floor], resolves=0.002)
    disagree(got, [across, side, side, floor, 1.002 * floor])


RHO = np.array([0.0, 0.1, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.97, 0.98] + [0.5] * 6)


def sphere(port):
    """A ball of 10 cm radius without its top, made of triangles, and the share of its area that is missing."""
    ball = trimesh.creation.icosphere(subdivisions=5, radius=0.1)
    kept = ball.triangles_center[:, 2] / 0.1 <= 1.0 - 2.0 * port
    missing = ball.area_faces[~kept].sum() / ball.area
    return make_mesh("ball", ball.vertices + [0.15, 0.15, 0.15], ball.faces[kept]), missing


@pytest.mark.parametrize("port", [0.0, 0.02])
def test_integrating_sphere(port):
    """GE-07: what lands on the wall in all, over what lands there first, is 1 / (1 - rho (1 - f))."""
    mesh, f = sphere(port)
    packed = layout(tank_text("30 cm", "30 cm", "30 cm", "0 cm", cell="5 cm"), meshes=[mesh], tank=NO_GLASS)
    paint(packed, packed.arrays.soil.surface, 0.0)
    paint(packed, packed.arrays.mesh.surface[0], RHO)
    got = shine(packed, rectangle((0.15, 0.15, 0.15), (0, 0)), 1 << 14).on("hardscape mesh 0").sum(axis=1)
    expected = 1.0 / (1.0 - RHO * (1.0 - f))
    agree(got, expected, resolves=0.01)
    disagree(got, 1.0 / (1.0 - RHO * (0.999 - f)))
    assert RHO[7] / (1.0 - RHO[7] * 0.98) == pytest.approx(13.7681, abs=1e-4)
