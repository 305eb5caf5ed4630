"""Irradiance on the floor of a dry tank without walls, against closed forms.

Sources: J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors (element to parallel rectangle, and
to a parallel disc off its axis); I0 cos^m has flux 2 pi I0 / (m + 1).
"""

import numpy as np
import pytest

from bench import NO_GLASS, lamp_of, layout, shine, tank_text
from zcheck import agree, disagree

pytestmark = [pytest.mark.validation, pytest.mark.statistical]

NODES, WEIGHTS = np.polynomial.legendre.leggauss(4)


def disc_share(x, y, r, h):
    """E / (pi L) under a Lambertian disc of radius r at height h, off its axis."""
    rho2 = x**2 + y**2
    b = rho2 + h**2 - r**2
    return 0.5 * (1.0 - b / np.sqrt((rho2 + h**2 + r**2) ** 2 - 4.0 * r**2 * rho2))


def corner_share(a, b, c):
    """E / (pi L) at distance c below the corner of a Lambertian rectangle a x b (odd in a and b)."""
    p, q = np.hypot(a, c), np.hypot(b, c)
    return (a / p * np.arctan(b / p) + b / q * np.arctan(a / q)) / (2.0 * np.pi)


def rectangle_share(x, y, sx, sy, h):
    """E / (pi L) anywhere under a Lambertian rectangle."""
    return sum(i * j * corner_share(i * 0.5 * sx - x, j * 0.5 * sy - y, h) for i in (-1, 1) for j in (-1, 1))


def power_share(x, y, h, m):
    """E under a point source of unit flux and intensity I0 cos^m. [m-2]"""
    r2 = x**2 + y**2 + h**2
    return (m + 1.0) / (2.0 * np.pi) * (h / np.sqrt(r2)) ** (m + 1.0) / r2


def cell_means(irradiance, edges_x, edges_y, centre):
    """Mean over each cell of a grid, by Gauss-Legendre quadrature, in the order of the cells."""
    x0, y0 = edges_x[:-1, None] - centre[0], edges_y[:-1, None] - centre[1]
    dx, dy = np.diff(edges_x)[0], np.diff(edges_y)[0]
    x, y = x0 + 0.5 * dx * (NODES + 1.0), y0 + 0.5 * dy * (NODES + 1.0)
    value = irradiance(x[None, :, None, :], y[:, None, :, None])
    return np.einsum("jiba,a,b->ji", value, 0.5 * WEIGHTS, 0.5 * WEIGHTS).ravel()


CENTRE = (0.2, 0.2)


def room(shape, size, height_m, beam="120 deg", turn="0 deg"):
    """A lamp over a black floor in a room without walls, cells of 4 cm."""
    place = f'height = "{height_m + 0.001} m"\nheight_above = "bottom"\nturn = "{turn}"'
    lamp = f'shape = "{shape}"\nsize = {size}\n{place}'
    text = tank_text("40 cm", "40 cm", "10 cm", "0 cm", depth="1 mm", cell="4 cm", lamp=lamp, beam=beam)
    return layout(text, tank=NO_GLASS), lamp_of(text)


def check(packed, source, irradiance, mutant, resolves=0.003):
    surface = packed.layout.surfaces["soil"]
    samples = shine(packed, source, 1 << 16).on("soil")[:, :, 0] / surface.cell_area_m2
    edges = surface.x_edges_m, surface.y_edges_m
    agree(samples, cell_means(irradiance, *edges, CENTRE), resolves)
    disagree(samples, cell_means(mutant, *edges, CENTRE))


def test_closed_forms_give_the_reference_values():
    """GE-01, GE-02 and GE-08 of the list of reference values."""
    assert disc_share(0.0, 0.0, 0.1, 0.3) == pytest.approx(0.1, rel=1e-12)
    assert corner_share(0.3, 0.15, 0.4) == pytest.approx(0.0620455, abs=5e-8)
    assert rectangle_share(0.0, 0.0, 0.6, 0.3, 0.4) == pytest.approx(0.2481819, abs=5e-8)
    peak = [power_share(0.0, 0.0, 1.0, m) for m in (1, 2, 5, 30)]
    assert peak == pytest.approx([0.318310, 0.477465, 0.954930, 4.93380], abs=5e-6)


def test_lambertian_disc():
    r, h = 0.1, 0.3
    area = np.pi * r**2
    check(
        *room("disc", '"20 cm"', h),
        lambda x, y: disc_share(x, y, r, h) / area,
        lambda x, y: disc_share(x, y, r, 0.99 * h) / area,
    )


def test_lambertian_rectangle_turned():
    """Turned by a right angle: its x side then lies along y."""
    sx, sy, h = 0.36, 0.18, 0.24
    area = sx * sy
    check(
        *room("panel", '["36 cm", "18 cm"]', h, turn="90 deg"),
        lambda x, y: rectangle_share(x, y, sy, sx, h) / area,
        lambda x, y: rectangle_share(x, y, sx, sy, h) / area,
    )


@pytest.mark.parametrize(("fwhm_deg", "m"), [(120.0, 1.0), (90.0, 2.0), (24.538, 30.0)])
def test_cosine_power_beam_from_a_point(fwhm_deg, m):
    """Half-power half-angles 60, 45 and 12.269 degrees belong to m = 1, 2, 30 (GE-08)."""
    h = 0.3
    check(
        *room("panel", '["0.1 mm", "0.1 mm"]', h, beam=f"{fwhm_deg} deg"),
        lambda x, y: power_share(x, y, h, m),
        lambda x, y: power_share(x, y, h, 1.05 * m),
    )
