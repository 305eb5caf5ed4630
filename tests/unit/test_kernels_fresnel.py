"""Reflection and refraction at one face, against tmm and closed forms (FR-01 to FR-10 of the reference values)."""

import math

import numpy as np
import pytest
import tmm
from scipy import integrate

from underlit.kernels.fresnel import fresnel, fresnel_of

INDICES = [(1.0, 1.333), (1.333, 1.0), (1.0, 1.52), (1.52, 1.0), (1.333, 1.52), (1.52, 1.333), (1.0, 1.49)]


@pytest.mark.parametrize(("s_part", "kind"), [(1.0, "s"), (0.0, "p")])
def test_polarised_reflectance_is_that_of_tmm(s_part, kind):
    for angle in np.linspace(0.0, 89.0, 40):
        theta = math.radians(angle)
        expected = tmm.interface_R(kind, 1.0, 1.333, theta, tmm.snell(1.0, 1.333, theta))
        assert fresnel_of(math.cos(theta), 1.0 / 1.333, s_part)[0] == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("n1", "n2"), INDICES)
def test_unpolarised_reflectance_is_that_of_tmm(n1, n2):
    critical = math.degrees(math.asin(min(1.0, n2 / n1)))
    for angle in np.linspace(0.0, min(89.9, critical - 0.01), 60):
        theta = math.radians(angle)
        theta2 = tmm.snell(n1, n2, theta)
        expected = 0.5 * sum(tmm.interface_R(pol, n1, n2, theta, theta2) for pol in "sp")
        got, mu_t = fresnel(math.cos(theta), n1 / n2)
        assert got == pytest.approx(expected, abs=1e-12)
        assert mu_t == pytest.approx(math.cos(theta2.real), abs=1e-12)


@pytest.mark.parametrize(
    ("n", "expected"),
    [(1.333, 0.020373), (1.34, 0.021112), (1.49, 0.038725), (1.5, 0.04), (1.52, 0.042580), (1.523, 0.042970)],
)
def test_normal_incidence(n, expected):
    assert fresnel(1.0, 1.0 / n)[0] == pytest.approx(expected, abs=5e-7)
    assert fresnel(1.0, n)[0] == pytest.approx(expected, abs=5e-7)


@pytest.mark.parametrize(
    ("n1", "n2", "angle", "expected"),
    [
        (1, 1.333, 60, 0.059691),
        (1, 1.333, 85, 0.583523),
        (1.333, 1, 45, 0.139458),
        (1.333, 1, 48.5, 0.700306),
    ],
)
def test_reference_values(n1, n2, angle, expected):
    """FR-03, FR-04."""
    assert fresnel(math.cos(math.radians(angle)), n1 / n2)[0] == pytest.approx(expected, abs=5e-7)


@pytest.mark.parametrize(("n1", "n2"), INDICES)
def test_brewster_angle(n1, n2):
    """At atan(n2/n1) p light passes whole, and s light is reflected by ((n2^2 - n1^2) / (n2^2 + n1^2))^2."""
    expected = 0.5 * ((n2**2 - n1**2) / (n2**2 + n1**2)) ** 2
    assert fresnel(math.cos(math.atan(n2 / n1)), n1 / n2)[0] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("n1", "n2", "degrees"), [(1.333, 1, 48.607), (1.52, 1, 41.140), (1.52, 1.333, 61.279)]
)
def test_critical_angle(n1, n2, degrees):
    """FR-06."""
    critical = math.asin(n2 / n1)
    assert math.degrees(critical) == pytest.approx(degrees, abs=1e-3)
    assert fresnel(math.cos(critical + 1e-9), n1 / n2) == (1.0, 0.0)
    assert fresnel(math.cos(critical - 1e-6), n1 / n2)[0] < 0.999
    assert fresnel(0.0, n1 / n2) == (1.0, 0.0)


def test_grazing_light_is_reflected():
    assert fresnel(0.0, 1.0 / 1.333)[0] == 1.0


@pytest.mark.parametrize(("n1", "n2"), [(1.0, 1.333), (1.333, 1.52), (1.0, 1.52)])
def test_the_same_both_ways(n1, n2):
    """FR-18: along one ray, from either side."""
    for mu in np.linspace(0.01, 1.0, 50):
        there, mu_t = fresnel(mu, n1 / n2)
        back, mu_again = fresnel(mu_t, n2 / n1)
        assert back == pytest.approx(there, abs=1e-12)
        assert mu_again == pytest.approx(mu, abs=1e-12)


def diffuse(n1, n2):
    critical = math.sqrt(max(0.0, 1.0 - (n2 / n1) ** 2))
    inside = integrate.quad(
        lambda t: 4.0 * t * (critical + t * t) * fresnel(critical + t * t, n1 / n2)[0],
        0.0,
        math.sqrt(1.0 - critical),
    )
    return critical**2 + inside[0]


@pytest.mark.parametrize(
    ("n", "external", "internal"),
    [(1.33, 0.06593, 0.47195), (1.333, 0.06641, 0.47459), (1.34, 0.06751, 0.48068), (1.52, 0.09471, 0.60817)],
)
def test_diffuse_reflectance(n, external, internal):
    """FR-08, FR-09: 6.6 % of a uniform sky, 47-48 % from below; the two are tied by reciprocity."""
    assert diffuse(1.0, n) == pytest.approx(external, abs=1e-5)
    assert diffuse(n, 1.0) == pytest.approx(
        internal, abs=3e-5
    )  # listed to five digits from a coarser integral
    assert 1.0 - diffuse(n, 1.0) == pytest.approx((1.0 - diffuse(1.0, n)) / n**2, abs=1e-9)


def test_water_and_glass():
    """FR-10."""
    assert diffuse(1.333, 1.52) == pytest.approx(0.03326, abs=1e-5)
    assert diffuse(1.52, 1.333) == pytest.approx(0.25650, abs=3e-5)
