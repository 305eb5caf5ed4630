"""Light through a flat water surface, against closed forms and plain quadrature.

n = 1.333 as in the list of reference values; Fresnel's equations here are written anew, in amplitudes.
"""

import numpy as np
import pytest
from scipy import integrate, special

from bench import bands, between_mirrors, layout, paint, rectangle, shine, tank_text
from underlit.geometry import make_mesh
from underlit.kernels.arrays import BONDED
from zcheck import agree, disagree

pytestmark = [pytest.mark.validation, pytest.mark.statistical]

N = 1.333


def reflectance(cos_i, n1, n2):
    """Unpolarised reflectance from n1 to n2."""
    sin_t = n1 / n2 * np.sqrt(np.maximum(1.0 - cos_i**2, 0.0))
    cos_t = np.sqrt(np.maximum(1.0 - sin_t**2, 0.0))
    s = (n1 * cos_i - n2 * cos_t) / (n1 * cos_i + n2 * cos_t)
    p = (n2 * cos_i - n1 * cos_t) / (n2 * cos_i + n1 * cos_t)
    return np.where(sin_t >= 1.0, 1.0, 0.5 * (s**2 + p**2))


def diffuse(n1, n2):
    """Share of Lambertian light that an interface reflects."""
    critical = np.sqrt(max(0.0, 1.0 - (n2 / n1) ** 2))  # cosine below which all is reflected

    def light(t):  # mu = critical + t^2 takes the root out of the integrand
        mu = critical + t * t
        return 4.0 * t * mu * float(reflectance(mu, n1, n2))

    return critical**2 + integrate.quad(light, 0.0, np.sqrt(1.0 - critical), epsabs=1e-12)[0]


def under_surface(theta, h, d, n):
    """Below a point source at height h over water, for launch angles theta: r, E per intensity, path in the water."""
    theta_w = np.arcsin(np.sin(theta) / n)
    r = h * np.tan(theta) + d * np.tan(theta_w)
    dr = h / np.cos(theta) ** 2 + d * np.cos(theta) / (n * np.cos(theta_w) ** 3)
    through = 1.0 - reflectance(np.cos(theta), 1.0, n)
    near_axis = theta < 1e-9
    ratio = np.where(near_axis, 1.0, np.sin(theta)) / np.where(near_axis, (h + d / n) ** 2, r * dr)
    return r, through * ratio, d / np.cos(theta_w)


def test_point_source_gives_the_reference_values():
    """GE-09 and GE-10."""
    r, e, _ = under_surface(np.radians([0, 10, 20, 30, 45, 60]), 0.2, 0.3, N)
    assert r == pytest.approx([0, 0.07468, 0.15243, 0.23686, 0.38773, 0.60279], abs=1e-5)
    assert e == pytest.approx([5.4221, 5.2529, 4.7699, 4.0397, 2.6811, 1.2791], abs=1e-4)


def test_point_source_over_water():
    h, d = 0.2, 0.3
    text = tank_text("4 m", "4 m", "31 cm", "301 mm", depth="1 mm", cell="10 cm")
    absorption = np.linspace(0.0, 6.0, 16)
    packed = layout(
        text,
        tank={
            "lz_m": 0.301,
            "n_water": N,
            "n_glass": N,
            "backing": np.full(5, BONDED),
            "a_water_per_m": bands(absorption),
        },
        soil={"surface": 0},
    )
    packed.arrays.reflectance[:] = 0.0
    surface = packed.layout.surfaces["soil"]
    source = rectangle((2.0, 2.0, 0.301 + h), (0.0, 0.0), power=0.0)
    got = shine(packed, source, 1 << 16).on("soil") / surface.cell_area_m2[:, None]
    theta = np.linspace(0.0, np.radians(89.0), 20001)
    r, e, path = under_surface(theta, h, d, N)
    nodes, weights = np.polynomial.legendre.leggauss(8)
    edge = surface.x_edges_m[:-1, None] - 2.0 + 0.05 * (nodes + 1.0)
    radius = np.hypot(edge[None, :, None, :], edge[:, None, :, None])
    per_flux = np.interp(radius, r, e)[..., None] * np.exp(
        -np.interp(radius, r, path)[..., None] * absorption
    )
    expected = np.einsum("jibak,a,b->jik", per_flux, weights, weights).reshape(-1, 16) / 4.0 / (2.0 * np.pi)
    near = np.hypot(*(surface.cell_centre_m[:, :2] - 2.0).T) < 1.0
    agree(got[:, near], expected[near], resolves=0.003)
    disagree(got[:, near], 1.003 * expected[near])


def endless(depth_m, planes="[]", **tank):
    """Endless water of index N, 3 mm more than `depth_m` deep, over a painted floor 3 mm high."""
    level = depth_m + 0.003
    text = tank_text("20 cm", "30 cm", f"{level + 0.01} m", f"{level} m", "3 mm", planes=planes, cell="5 cm")
    return between_mirrors(layout(text, tank={"lz_m": level} | tank), N)


def sky(packed):
    """Even diffuse light on the whole water surface."""
    tank = packed.arrays.tank
    return rectangle((tank.lx_m / 2, tank.ly_m / 2, tank.lz_m + 1e-9), (tank.lx_m, tank.ly_m))


def below_sky(tau):
    """Irradiance at optical depth tau under a diffuse sky, as a share of it."""

    def light(mu):
        return 2.0 * mu * (1.0 - reflectance(mu, 1.0, N)) * np.exp(-tau / np.sqrt(1.0 - (1.0 - mu**2) / N**2))

    return integrate.quad(light, 0.0, 1.0)[0]


def test_diffuse_sky_reference_values():
    """FR-08, FR-09, WA-11, WA-12."""
    assert diffuse(1.0, N) == pytest.approx(0.06641, abs=1e-5)
    assert diffuse(N, 1.0) == pytest.approx(0.47459, abs=1e-5)
    assert [below_sky(t) for t in (0, 0.05, 0.1, 0.3, 1)] == pytest.approx(
        [0.93359, 0.87955, 0.82868, 0.65326, 0.28576], abs=1e-5
    )


def test_diffuse_sky_under_the_surface_and_at_depth():
    """One run: bands of different absorption on planes at different depths, and on the floor."""
    absorption = np.linspace(0.0, 3.75, 16)
    packed = endless(0.4, '["20.3 cm", "40.2 cm"]', a_water_per_m=bands(absorption))
    paint(packed, packed.arrays.soil.surface, 0.0)
    shone = shine(packed, sky(packed), 1 << 16)
    for surface, depth in (("plane 0.402", 0.001), ("plane 0.203", 0.2), ("soil", 0.4)):
        got = shone.on(surface).sum(axis=1)
        agree(got, [below_sky(a * depth) for a in absorption], resolves=0.004)
        disagree(got, [1.004 * below_sky(a * depth) for a in absorption])


def test_slab_without_surface_follows_the_exponential_integral():
    """WA-13: 2 E3(tau)."""
    tau = np.array([0.05, 0.1, 0.3, 1.0] * 4)
    packed = between_mirrors(endless(0.1, a_water_per_m=bands(tau / 0.1)), 1.0)
    paint(packed, packed.arrays.soil.surface, 0.0)
    got = shine(packed, sky(packed), 1 << 15, gathers=False).on("soil").sum(axis=1)[:, :4]
    expected = 2.0 * special.expn(3, tau[:4])
    assert expected == pytest.approx([0.909838, 0.832583, 0.600084, 0.219384], abs=1e-6)
    agree(got, expected, resolves=0.001)
    disagree(got, 2.0 * special.expn(3, 1.002 * tau[:4]))


def test_lambertian_floor_under_water():
    """GE-11 and GE-12: light returned by the surface again and again."""
    rho = np.array([0.0, 0.1, 0.3, 0.5, 0.9, 0.99] + [0.2] * 10)
    external, internal = diffuse(1.0, N), diffuse(N, 1.0)
    multiplier = 1.0 / (1.0 - rho * internal)
    albedo = external + (1.0 - external) * rho * (1.0 - internal) * multiplier
    assert multiplier[[1, 2, 3, 4]] == pytest.approx([1.04982, 1.16601, 1.31112, 1.74560], abs=2e-5)
    assert albedo[[1, 2, 3, 4]] == pytest.approx([0.11791, 0.23800, 0.38797, 0.83703], abs=2e-5)
    packed = endless(0.1, a_water_per_m=bands(0.0))
    paint(packed, packed.arrays.soil.surface, rho)
    shone = shine(packed, sky(packed), 1 << 17, gathers=False)
    floor, back = (
        shone.on("soil").sum(axis=1),
        shone.ended("reflected above", "back out of the top", "out of the rim"),
    )
    for got, expected in ((floor, 0.93359 * multiplier), (back, albedo)):
        agree(got, expected, resolves=0.002)
        disagree(got, 1.002 * expected)
    disagree(floor, 0.93359 / (1.0 - rho * 1.01 * internal))


def test_light_sent_back_by_the_surface_meets_it_afresh():
    """Between the water and a diffuse ceiling light goes to and fro; each meeting has its own chance."""
    corners = np.array([[0, 0, 0.15], [0.2, 0, 0.15], [0.2, 0.3, 0.15], [0, 0.3, 0.15]])
    ceiling = make_mesh("ceiling", corners, np.array([[0, 1, 2], [0, 2, 3]]))
    text = tank_text("20 cm", "30 cm", "20 cm", "10 cm", cell="5 cm")
    packed = between_mirrors(layout(text, meshes=[ceiling], tank={"a_water_per_m": bands(0.0)}), N)
    rho = np.linspace(0.0, 0.99, 16)
    paint(packed, packed.arrays.soil.surface, 0.0)
    paint(packed, packed.arrays.mesh.surface[0], rho)
    got = shine(packed, rectangle((0.1, 0.15, 0.14999), (0.2, 0.3)), 1 << 15)
    back = diffuse(1.0, N)
    agree(got.ended("absorbed by mesh 0"), back * (1.0 - rho) / (1.0 - rho * back), resolves=0.02)
    disagree(got.ended("absorbed by mesh 0"), back * (1.0 - rho) / (1.0 - rho * 2.0 * back))


def test_bare_bottom():
    """Without soil, light goes through the bottom pane, and the soil's map shows what reaches the floor."""
    text = tank_text("20 cm", "30 cm", "16 cm", "15 cm", "0 cm", cell="5 cm")
    packed = layout(text, tank={"n_water": N, "a_water_per_m": bands(0.0), "lz_m": 0.15})
    shone = shine(packed, sky(packed), 1 << 13)
    np.testing.assert_array_equal(shone.on("soil"), shone.on("pane bottom"))
    assert shone.ended("absorbed by soil").max() == 0.0
