"""Cloudy water as a slab or a half-space, against published radiative transfer.

Sources: H. C. van de Hulst, Multiple Light Scattering (1980), and R. G. Giovanelli, Optica Acta 2 (1955) 153, both as
quoted by L. Wang, S. L. Jacques and L. Zheng, Comput. Methods Programs Biomed. 47 (1995) 131; others by adding and
doubling with iadpython 0.5.3 (`Sample(a, b, g, n, quad_pts=16).rt()`), whose results with 16 and with 32 quadrature
points differ by up to 3e-4: that is taken as their uncertainty. Isotropic scattering without a change of index is
solved here to 3e-5 by the integral equation of Schwarzschild and Milne.
"""

import os
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expn

import underlit
from bench import bands, between_mirrors, layout, pencil, rectangle, shine, tank_text
from underlit import spectra
from zcheck import disagree, note, z_limit

pytestmark = [pytest.mark.validation, pytest.mark.statistical]

HALF_SPACE = 60.0  # optical depth that nothing comes back from


def cloud(n, tau_s, g, tau_a):
    """An endless layer 1 m deep of scattering optical depth `tau_s`; bands differ in their absorption depth `tau_a`.

    It floats in air: the bottom pane has the index of the water and no thickness, and there is no soil.
    """
    packed = layout(
        tank_text("20 m", "20 m", "1.1 m", "1 m", cell="1 m"),
        tank={
            "lz_m": 1.0,
            "bottom_m": 1e-9,
            "scattering_per_m": float(tau_s),
            "asymmetry": float(g),
            "a_water_per_m": bands(np.resize(tau_a, 16)),
        },
    )
    soil = packed.arrays.soil
    soil.z_m[:] = -1.0
    soil.plane[:] = -1.0, 0.0, 0.0
    packed = replace(packed, arrays=packed.arrays._replace(soil=soil._replace(z_max_m=-1.0)))
    return between_mirrors(packed, n)


def returned(shone, n_bands):
    return shone.ended("reflected above", "back out of the top")[:, :n_bands]


def passed(shone, n_bands):
    return shone.ended("out of the bottom")[:, :n_bands]


def isotropic(albedo, depth, n=401):
    """Reflectance and transmittance for a beam straight down: S. Chandrasekhar, Radiative Transfer (1950).

    Scatterings per optical depth q(t) = albedo (exp(-t) + integral of E1(|t - t'|) q(t') / 2), q straight between the
    points of a grid that is fine at both faces; the moments of E1 and E2 over each step are known.
    """
    t = depth * (0.5 - 0.5 * np.cos(np.pi * np.linspace(0.0, 1.0, n)))
    left, right = t[None, :-1] - t[:, None], t[None, 1:] - t[:, None]

    def even(u):
        return np.sign(u) * (1.0 - expn(2, np.abs(u)))

    def odd(u):
        return -np.abs(u) * expn(2, np.abs(u)) - expn(3, np.abs(u))

    zeroth = even(right) - even(left)
    upper = (odd(right) - odd(left) - left * zeroth) / (right - left)
    kernel = np.zeros((n, n))
    kernel[:, 1:] += 0.5 * upper
    kernel[:, :-1] += 0.5 * (zeroth - upper)
    q = np.linalg.solve(np.eye(n) - albedo * kernel, albedo * np.exp(-t))

    def escape(u, q):
        zeroth, first = -np.diff(expn(3, u)), -np.diff(u * expn(3, u) + expn(4, u))
        upper = (first - u[:-1] * zeroth) / np.diff(u)
        return 0.5 * float(q[1:] @ upper + q[:-1] @ (zeroth - upper))

    return escape(t, q), float(np.exp(-depth)) + escape((depth - t)[::-1], q[::-1])


def test_the_integral_equation_against_the_reference_values():
    """SC-04 and the last of SC-03 (adding and doubling with 32 points loses up to 4e-4 of light in the thick slab)."""
    assert isotropic(0.9, 1.0) == pytest.approx((0.2674, 0.5916), abs=1e-4)
    assert isotropic(0.99, 5.0) == pytest.approx((0.6799, 0.2205), abs=3e-4)
    assert isotropic(1.0, 1.0) == pytest.approx((0.3413, 0.6586), abs=1e-4)
    assert isotropic(0.9, HALF_SPACE)[0] == pytest.approx(0.4149, abs=1e-4)
    assert sum(isotropic(1.0, 4.95)) == pytest.approx(1.0, abs=4e-5)


DOWN = pencil((10.0, 10.0, 1.0 + 1e-9), (0, 0, -1))
SLABS = {
    "SC-01": (1.0, 1.8, 0.75, [0.2, 0.02, 1.0], [0.09739, 0.14002, 0.03473], [0.66096, 0.83111, 0.26133]),
    "SC-05": (1.333, 1.98, 0.9, [0.02, 0.0, 0.5], [0.1142, 0.12834, 0.03940], [0.8421, 0.87166, 0.48090]),
    "SC-07": (1.34, 0.25, 0.92, [0.25, 0.0, 1.0], [0.0344, 0.04976, 0.02415], [0.7336, 0.95024, 0.34535]),
}


COMPARED: dict[str, np.ndarray] = {}  # z of each value, by test
VALUES = 45


def check(samples, expected, reference_error=2e-4):
    """Within the bound that all values together keep, the first band being good to 0.2 %."""
    value = samples.mean(axis=0)
    std_err = samples.std(axis=0, ddof=1) / np.sqrt(len(samples))
    assert std_err[0] < 0.002 * value[0], f"relative standard error {std_err[0] / value[0]:.2%}"
    z = (value - expected) / np.hypot(std_err, reference_error)
    COMPARED[f"{os.environ.get('PYTEST_CURRENT_TEST')} {len(COMPARED)}"] = z
    limit = z_limit(len(z), len(samples))
    note(len(z), expected[0], value[0], std_err[0], np.abs(z).max(), limit)
    assert np.abs(z).max() < limit, (
        f"got {value} +- {std_err}, expected {expected}, z = {z}, bound {limit:.1f}"
    )
    disagree(samples, 1.015 * np.array(expected))


@pytest.mark.parametrize("case", SLABS)
def test_slab(case):
    n, tau_s, g, tau_a, reflectance, transmittance = SLABS[case]
    shone = shine(cloud(n, tau_s, g, tau_a), DOWN, 5 << 14)
    check(returned(shone, 3), reflectance)
    check(passed(shone, 3), transmittance)


@pytest.mark.parametrize(("albedo", "depth"), [(0.9, 1.0), (0.99, 5.0), (1.0, 1.0)])
def test_isotropic_slab(albedo, depth):
    """SC-04; bands add to the absorption."""
    tau_s = albedo * depth
    tau_a = depth - tau_s + np.array([0.0, 0.1, 1.0])
    shone = shine(cloud(1.0, tau_s, 0.0, tau_a), DOWN, 5 << 14)
    reflectance, transmittance = np.transpose([isotropic(tau_s / (tau_s + a), tau_s + a) for a in tau_a])
    check(returned(shone, 3), reflectance, 3e-5)
    check(passed(shone, 3), transmittance, 3e-5)


def test_diffuse_light_on_a_slab():
    """SC-06."""
    shone = shine(cloud(1.333, 1.98, 0.9, [0.02]), rectangle((10.0, 10.0, 1.0 + 1e-9), (0.0, 0.0)), 1 << 16)
    check(returned(shone, 1), [0.2193], 4e-4)
    check(passed(shone, 1), [0.7178], 4e-4)


@pytest.mark.parametrize(
    ("n", "albedo", "expected"),
    [
        (1.0, [0.9, 0.5], [0.41495, 0.11523]),
        (1.333, [0.9, 0.5], [0.2941, 0.07923]),
        (1.5, [0.9, 0.5, 0.99], [0.2600, 0.0843, 0.6021]),
    ],
)
def test_half_space(n, albedo, expected):
    """SC-02 and SC-03, all albedos in one run."""
    albedo = np.array(albedo)
    shone = shine(cloud(n, HALF_SPACE, 0.0, HALF_SPACE * (1.0 / albedo - 1.0)), DOWN, 1 << 15)
    check(returned(shone, len(albedo)), expected)


def test_all_values_lie_within_their_errors():
    """Of 45 values two are to lie beyond two standard errors, and one in five runs has one beyond three.

    Values of one run go together, and part of each error is what the reference may be off by at most: with eight seeds
    the root mean square was 0.42 to 1.08.
    """
    z = np.concatenate(list(COMPARED.values())) if COMPARED else np.zeros(0)
    if z.size != VALUES:
        pytest.skip("run with all tests of this file")
    assert np.abs(z).max() < 3.0
    assert np.mean(np.abs(z) > 2.0) < 0.1
    assert 0.3 < np.sqrt(np.mean(z**2)) < 1.3


BASIN = """
[tank]
length = "1 m"
width = "1 m"
height = "1.05 m"
thickness = "12 mm"
[water]
level = "1 m"
type = "pure"
temperature = "{temperature_c} degC"
scattering = "{scattering_per_m} 1/m"
asymmetry = 0.0
colour_a440 = "10 1/m"
colour_slope = "0.01 1/nm"
[substrate]
depth = "1 mm"
[[fixture]]
shape = "disc"
size = ["1 cm", "1 cm"]
position = ["50 cm", "50 cm"]
height = "2 cm"
[[fixture.channel]]
spectrum = "D65"
power = "9 W"
flux = "10 umol/s"
beam = "5 deg"
[run]
planes = []
cell = "10 cm"
plane_cell = "10 cm"
"""


def test_a_basin_of_milk_from_a_scene_file():
    """SC-03 through `underlit.trace`, nothing replaced: 30 optical depths of water, of index 1.333 as it is warm.

    Colour is dissolved so that the albedo is 0.9 at one wavelength; panes are a dozen mean free paths away.
    """
    temperature_c, node = 32.05889, int(np.flatnonzero(spectra.NODES_NM == 553.0)[0])
    assert spectra.water_index(np.array([550.0]), temperature_c)[0] == pytest.approx(1.333, abs=1e-6)
    absorption = spectra.water_absorption_per_m(spectra.NODES_NM, 10.0, 0.01, 0.0, temperature_c)[node]
    text = BASIN.format(temperature_c=temperature_c, scattering_per_m=9.0 * absorption)
    res = underlit.trace(underlit.scene_from_text(text), photons=1 << 21)
    out = ("reflected above the water", "back out of the top", "out of the rim edge", "absorbed in glass")
    panes = tuple(
        f"out of the {side} pane" for side in ("left", "right", "front", "back")
    )  # low over the water
    ends = [res.budget.names.index(name) for name in (*out, *panes)]
    returned = res.budget.share[:, 0, :, node][:, ends].sum(axis=1)
    std_err = returned.std(ddof=1) / np.sqrt(len(returned))
    assert std_err < 0.002 * 0.2941
    assert abs(returned.mean() - 0.2941) < 2.0 * np.hypot(std_err, 2e-4)
    disagree(returned[:, None], [1.015 * 0.2941])
