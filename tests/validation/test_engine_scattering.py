"""Cloudy water as a slab or a half-space, against published radiative transfer.

Sources: H. C. van de Hulst, Multiple Light Scattering (1980), and R. G. Giovanelli, Optica Acta 2 (1955) 153, both as
quoted by L. Wang, S. L. Jacques and L. Zheng, Comput. Methods Programs Biomed. 47 (1995) 131; the rest by adding and
doubling with iadpython 0.5.3 (`Sample(a, b, g, n, quad_pts=32).rt()`). Its results with 16 and 32 quadrature points
differ by up to 3e-4, which is taken as their uncertainty.
"""

from dataclasses import replace

import numpy as np
import pytest

from bench import bands, between_mirrors, layout, pencil, rectangle, shine, tank_text
from zcheck import disagree

pytestmark = [pytest.mark.validation, pytest.mark.statistical]

REFERENCE_ERROR = 2e-4
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


DOWN = pencil((10.0, 10.0, 1.0 + 1e-9), (0, 0, -1))
SLABS = {
    "SC-01": (1.0, 1.8, 0.75, [0.2, 0.02, 1.0], [0.09739, 0.13996, 0.03471], [0.66096, 0.83055, 0.26114]),
    "SC-04, albedo .9": (
        1.0,
        0.9,
        0.0,
        [0.1, 0.0, 0.5],
        [0.2674, 0.31717, 0.15997],
        [0.5916, 0.68278, 0.35640],
    ),
    "SC-04, albedo .99": (
        1.0,
        4.95,
        0.0,
        [0.05, 0.0, 0.5],
        [0.6799, 0.73646, 0.42862],
        [0.2205, 0.26316, 0.06592],
    ),
    "SC-04, albedo 1": (
        1.0,
        1.0,
        0.0,
        [0.0, 0.1, 1.0],
        [0.3413, 0.28814, 0.11283],
        [0.6586, 0.56797, 0.18932],
    ),
    "SC-05": (1.333, 1.98, 0.9, [0.02, 0.0, 0.5], [0.1142, 0.12850, 0.03952], [0.8421, 0.87150, 0.48083]),
    "SC-07": (1.34, 0.25, 0.92, [0.25, 0.0, 1.0], [0.0344, 0.04983, 0.02417], [0.7336, 0.95017, 0.34534]),
}


def check(samples, expected):
    """Within two standard errors, the first band being good to 0.2 %; the reference's own error is added to them."""
    value = samples.mean(axis=0)
    std_err = samples.std(axis=0, ddof=1) / np.sqrt(len(samples))
    assert std_err[0] < 0.002 * value[0], f"relative standard error {std_err[0] / value[0]:.2%}"
    z = (value - expected) / np.hypot(std_err, REFERENCE_ERROR)
    assert np.abs(z).max() < 2.0, f"got {value} +- {std_err}, expected {expected}, z = {z}"
    disagree(samples, 1.015 * np.array(expected))


@pytest.mark.parametrize("case", SLABS)
def test_slab(case):
    n, tau_s, g, tau_a, reflectance, transmittance = SLABS[case]
    shone = shine(cloud(n, tau_s, g, tau_a), DOWN, 5 << 14)
    check(returned(shone, 3), reflectance)
    check(passed(shone, 3), transmittance)


def test_diffuse_light_on_a_slab():
    """SC-06."""
    shone = shine(cloud(1.333, 1.98, 0.9, [0.02]), rectangle((10.0, 10.0, 1.0 + 1e-9), (0.0, 0.0)), 1 << 16)
    check(returned(shone, 1), [0.2197])
    check(passed(shone, 1), [0.7174])


@pytest.mark.parametrize(
    ("n", "albedo", "expected"),
    [
        (1.0, [0.9, 0.5], [0.4149, 0.11522]),
        (1.333, [0.9, 0.5], [0.2941, 0.07919]),
        (1.5, [0.9, 0.5, 0.99], [0.2600, 0.0843, 0.6020]),
    ],
)
def test_half_space(n, albedo, expected):
    """SC-02 and SC-03, all albedos in one run."""
    albedo = np.array(albedo)
    shone = shine(cloud(n, HALF_SPACE, 0.0, HALF_SPACE * (1.0 / albedo - 1.0)), DOWN, 1 << 15)
    check(returned(shone, len(albedo)), expected)
