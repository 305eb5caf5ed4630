"""Leaf volumes and floating leaves, against the law of Monsi and Saeki, explicit random leaves, and a closed form.

Sources: M. Monsi and T. Saeki 1953, Jpn. J. Bot. 14:22 (English: Ann. Bot. 95 (2005) 549): a canopy of black leaves
lets exp(-G L / cos(theta)) through; the projection G after J. Ross 1981, The Radiation Regime and Architecture of Plant
Stands; rules of leaf inclination: C. T. de Wit 1965, Agric. Res. Rep. 663.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate

from bench import bands, between_mirrors, layout, paint, pencil, rectangle, shine, slant, tank_text
from underlit.kernels.arrays import MeshArrays
from underlit.kernels.bvh import build_bvh
from zcheck import agree, agree_pair, disagree, disagree_pair

pytestmark = [pytest.mark.validation, pytest.mark.statistical]

DENSITY = {
    "spherical": np.sin,
    "planophile": lambda a: 2.0 / np.pi * (1.0 + np.cos(2.0 * a)),
    "erectophile": lambda a: 2.0 / np.pi * (1.0 - np.cos(2.0 * a)),
    "plagiophile": lambda a: 2.0 / np.pi * (1.0 - np.cos(4.0 * a)),
}
SOIL_M, HEIGHT_M = 0.003, 0.04


def projection(rule, theta):
    """G: mean area that unit leaf area of a rule shows at angle theta from the vertical."""
    if rule == "horizontal":
        return float(np.cos(theta))

    def shown(a):
        cot = 1.0 / (np.tan(a) * np.tan(max(theta, 1e-9)))
        flat = np.cos(a) * np.cos(theta)
        psi = np.arccos(min(cot, 1.0))
        return DENSITY[rule](a) * flat * (1.0 + 2.0 / np.pi * (np.tan(psi) - psi))

    kink = min(max(0.5 * np.pi - theta, 1e-6), 0.5 * np.pi - 1e-6)
    return sum(integrate.quad(shown, *ends)[0] for ends in ((1e-9, kink), (kink, 0.5 * np.pi - 1e-9)))


def canopy(rule, leaf_area_index, rho=0.0, tau=0.0, clumping=1.0):
    """An endless canopy on a black floor, without water and without glass."""
    plant = (
        '\n[[plant]]\nname = "hedge"\nfrom = ["0 cm", "0 cm"]\nto = ["20 cm", "30 cm"]\n'
        f'canopy = {{ height = "{HEIGHT_M} m", leaf_area_index = {leaf_area_index}, leaf_angle = "{rule}", '
        f"clumping = {clumping} }}\n"
    )
    text = tank_text("20 cm", "30 cm", "20 cm", "19 cm", f"{SOIL_M} m", cell="5 cm") + plant
    packed = between_mirrors(layout(text, tank={"a_water_per_m": bands(0.0)}), 1.0)
    paint(packed, packed.arrays.soil.surface, 0.0)
    paint(packed, packed.arrays.canopy.reflectance[0], rho)
    paint(packed, packed.arrays.canopy.transmittance[0], tau)
    return packed


def test_projections_known_by_heart():
    assert projection("spherical", 0.3) == pytest.approx(0.5, abs=1e-6)
    assert projection("planophile", 0.0) == pytest.approx(8.0 / (3.0 * np.pi), abs=1e-6)
    assert projection("erectophile", 0.0) == pytest.approx(4.0 / (3.0 * np.pi), abs=1e-6)


@pytest.mark.parametrize("theta_deg", [0.0, 50.0])
@pytest.mark.parametrize("rule", [*DENSITY, "horizontal"])
def test_black_leaves(rule, theta_deg):
    shone = shine(canopy(rule, 1.5), pencil((0.1, 0.15, 0.18), slant(theta_deg, 20.0)), 1 << 13)
    theta = np.radians(theta_deg)
    through = np.exp(-1.5 * projection(rule, theta) / np.cos(theta))
    got = shone.ended("absorbed by soil")[:, :1]
    agree(got, [through], resolves=0.03)
    disagree(got, [through**1.05])
    taken = shone.ended("absorbed by hedge")[:, :1]
    agree(taken, [1.0 - through], resolves=0.03)


def test_clumped_leaves():
    got = shine(canopy("spherical", 2.0, clumping=0.6), pencil((0.1, 0.15, 0.18), (0, 0, -1)), 1 << 13)
    agree(got.ended("absorbed by soil")[:, :1], [np.exp(-0.5 * 0.6 * 2.0)], resolves=0.03)
    disagree(got.ended("absorbed by soil")[:, :1], [np.exp(-0.5 * 2.0)])


def test_flat_leaves_that_let_through():
    """Flat leaves and diffuse scattering are the two-stream equations solved exactly (Kubelka-Munk), for diffuse light.

    With leaves horizontal, G / cos(theta) is 1 for all directions: the mean free path in leaf area does not depend on
    direction, and only two fluxes count.
    """
    rho = np.linspace(0.0, 0.45, 16)
    tau = np.linspace(0.5, 0.05, 16)
    packed = canopy("horizontal", 2.0, rho, tau)
    shone = shine(packed, rectangle((0.1, 0.15, 0.18), (0.2, 0.3)), 1 << 15)
    a = 1.0 - tau
    k = np.sqrt(a**2 - rho**2)
    through = k / (k * np.cosh(2.0 * k) + a * np.sinh(2.0 * k))
    back = rho * np.sinh(2.0 * k) / (k * np.cosh(2.0 * k) + a * np.sinh(2.0 * k))
    agree(shone.ended("absorbed by soil"), through, resolves=0.02)
    agree(shone.ended("reflected above", "back out of the top"), back, resolves=0.02)
    disagree(shone.ended("reflected above", "back out of the top"), 1.02 * back)


def leaf_normals(rule, n, rng):
    """Normals of random leaves, by inverting the rule's distribution on a fine grid."""
    a = np.linspace(0.0, 0.5 * np.pi, 20001)
    cumulated = integrate.cumulative_trapezoid(DENSITY[rule](a), a, initial=0.0)
    inclination = np.interp(rng.random(n) * cumulated[-1], cumulated, a)
    azimuth = rng.uniform(0.0, 2.0 * np.pi, n)
    return np.stack(
        [np.sin(inclination) * np.cos(azimuth), np.sin(inclination) * np.sin(azimuth), np.cos(inclination)],
        axis=1,
    )


def explicit_leaves(packed, rule, leaf_area_index, leg_m, rho, seed):
    """Replace the canopy by triangles of the same density, shown both sides, put down at random."""
    rng = np.random.default_rng(seed)
    # Their middles also lie beyond the mirrors, so that the density is even up to them.
    lx, ly = 0.2 + 2 * leg_m, 0.3 + 2 * leg_m
    n = round(leaf_area_index * lx * ly / (0.5 * leg_m**2))
    middle = rng.random((n, 3)) * [lx, ly, HEIGHT_M] + [-leg_m, -leg_m, SOIL_M + leg_m]
    normal = leaf_normals(rule, n, rng)
    along = np.cross(normal, rng.normal(size=(n, 3)))
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    across = np.cross(normal, along)
    corners = np.array([[-1, -1], [2, -1], [-1, 2]]) / 3.0 * leg_m
    vertices = middle[:, None] + corners[:, :1] * along[:, None] + corners[:, 1:] * across[:, None]
    arrays = packed.arrays
    paint(packed, arrays.canopy.reflectance[0], rho)
    mesh = MeshArrays(
        n, 1.0, normal, np.full(n, arrays.canopy.reflectance[0], np.int32),
        np.full(n, arrays.canopy.sink[0], np.int32), np.full(n, -1, np.int32),
    )  # fmt: skip
    bvh = build_bvh(vertices.reshape(-1, 3), np.arange(3 * n).reshape(n, 3))
    return replace(packed, arrays=arrays._replace(mesh=mesh, canopy=arrays.canopy._replace(n=0)), bvh=bvh)


@pytest.mark.parametrize("rule", ["spherical", "planophile", "erectophile"])
def test_explicit_leaves_and_the_leaf_volume(rule):
    """Opaque leaves of reflectance 0 to 0.6: twelve random stands of 1 mm leaves against the volume."""
    rho = np.linspace(0.0, 0.6, 16)
    source = rectangle((0.1, 0.15, 0.18), (0.2, 0.3), slant(35.0, 20.0), power=1e30)
    names = ("absorbed by soil", "absorbed by hedge", "back out of the top")

    def shares(packed, photons, replicates):
        shone = shine(packed, source, photons, replicates)
        return np.stack([shone.ended(name) for name in names], axis=1)[:, :, ::5]

    def stand(seed, leaf_area_index=1.5):
        return explicit_leaves(canopy(rule, 1.5), rule, leaf_area_index, 1e-3, rho, seed)

    volume = shares(canopy(rule, 1.5, rho), 1 << 14, 32)
    stands = np.stack([shares(stand(seed), 1 << 14, 2).mean(axis=0) for seed in range(12)])
    agree_pair(volume, stands, resolves=0.025)
    sparse = np.stack([shares(stand(seed, 1.3), 1 << 13, 2).mean(axis=0) for seed in range(6)])
    disagree_pair(volume, sparse)


def test_floating_leaves():
    """T = (1 - c) + c t, and what comes back is c r, without the water's own reflection."""
    cover, transmittance, reflectance = 0.4, np.linspace(0.0, 0.6, 16), 0.08
    text = tank_text("20 cm", "30 cm", "20 cm", "10 cm", cell="5 cm")
    text += f"[floaters]\ncover = {cover}\ntransmittance = 0.1\nreflectance = 0.1\n"
    packed = between_mirrors(layout(text, tank={"a_water_per_m": bands(0.0)}), 1.0)
    paint(packed, packed.arrays.soil.surface, 0.0)
    paint(packed, packed.arrays.cover.floater_surface, reflectance)
    paint(packed, packed.arrays.cover.floater_transmittance, transmittance)
    shone = shine(packed, rectangle((0.1, 0.15, 0.18), (0.2, 0.3)), 1 << 14)
    through = (1.0 - cover) + cover * transmittance
    agree(shone.ended("absorbed by soil"), through, resolves=0.01)
    disagree(shone.ended("absorbed by soil"), through * 1.01)
    agree(shone.ended("reflected above"), np.full(16, cover * reflectance), resolves=0.06)
    agree(shone.ended("absorbed by floating"), cover * (1.0 - transmittance - reflectance), resolves=0.02)


def test_floating_leaves_in_a_ring():
    """Only the disc inside the ring is shaded."""
    text = tank_text("20 cm", "30 cm", "20 cm", "10 cm", cell="5 cm")
    text += '[floaters]\ncover = 0.9\ntransmittance = 0.0\nring = { centre = ["10 cm", "15 cm"], radius = "8 cm" }\n'
    packed = between_mirrors(layout(text, tank={"a_water_per_m": bands(0.0)}), 1.0)
    packed.arrays.reflectance[:] = 0.0
    packed = between_mirrors(packed, 1.0)
    shone = shine(packed, rectangle((0.1, 0.15, 0.18), (0.2, 0.3), power=1e30), 1 << 14)
    shaded = 0.9 * np.pi * 0.08**2 / 0.06
    agree(shone.ended("absorbed by floating")[:, :1], [shaded], resolves=0.02)
    disagree(shone.ended("absorbed by floating")[:, :1], [1.02 * shaded])
