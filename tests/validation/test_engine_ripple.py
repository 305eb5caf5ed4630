"""A rippled water surface: the limit of no slope, where a ray goes, and what one bounce per meeting leaves out."""

import numpy as np
import pytest

from bench import bands, between_mirrors, layout, paint, pencil, rectangle, shine, tank_text
from stack import fresnel
from zcheck import agree, agree_pair, disagree, disagree_pair

pytestmark = [pytest.mark.validation, pytest.mark.statistical]

N = 1.333


def basin(slope_rms, depth_m=0.4):
    """Endless water over a black floor."""
    level = depth_m + 0.003
    text = tank_text("20 cm", "30 cm", f"{level + 0.01} m", f"{level} m", "3 mm", cell="1 cm")
    tank = {"lz_m": level, "slope_rms": slope_rms, "a_water_per_m": bands(0.0)}
    packed = between_mirrors(layout(text, tank=tank), N)
    paint(packed, packed.arrays.soil.surface, 0.0)
    return packed


def test_no_slope_is_flat():
    """The map under an inclined lamp, with slopes of 1e-6 against none; 3 degrees differ."""
    lamp = rectangle((0.05, 0.05, 0.43), (0.02, 0.02), (0.5, 0.3, -1.0), power=20.0)
    flat, limit, ripple = (shine(basin(s), lamp, 1 << 14).on("soil")[:, :, 0] for s in (0.0, 1e-6, 0.05))
    cells = flat.mean(axis=0) > 1e-3
    agree_pair(flat[:, cells], limit[:, cells], resolves=0.03)
    disagree_pair(flat[:, cells], ripple[:, cells])


def test_where_a_vertical_ray_goes():
    """Facet slopes are Gaussian and refract by Snell: the ray's spot on the floor, in rings of even light.

    A facet of slope s, seen from straight above, is met in proportion to its horizontal area; slopes are isotropic with
    mean square s^2, so within slope s lies 1 - exp(-s^2 / rms^2). The refracted ray runs at asin(sin(a) / n) to the
    facet, a = atan(s).
    """
    rms, depth = 0.06, 0.4
    slope = np.linspace(0.0, 0.3, 3001)
    a = np.arctan(slope)
    radius = depth * np.tan(a - np.arcsin(np.sin(a) / N))
    through = 1.0 - fresnel(1.0, N, np.sin(a))
    light = np.concatenate(
        [[0.0], np.cumsum(0.5 * (through[1:] + through[:-1]) * -np.diff(np.exp(-((slope / rms) ** 2))))]
    )
    shone = shine(basin(rms), pencil((0.1, 0.15, 0.45), (0, 0, -1)), 1 << 14)
    got = shone.on("soil")[:, :, 0]
    agree(got.sum(axis=1)[:, None], [light[-1]], resolves=0.01)

    x, y = shone.packed.layout.surfaces["soil"].cell_centre_m[:, :2].T - np.array([[0.1], [0.15]])
    fine = 0.01 * ((np.arange(40) + 0.5) / 40 - 0.5)
    r = np.hypot(x[:, None, None] + fine[:, None], y[:, None, None] + fine)
    density = np.gradient(light, radius) / (2.0 * np.pi * np.maximum(radius, 1e-12))
    density[0] = density[1]
    expected = np.interp(r, radius, density, right=0.0).mean(axis=(1, 2)) * 1e-4
    near = expected > 2e-3
    agree(got[:, near], expected[near], resolves=0.02)
    wider = np.interp(r / 1.02, radius, density, right=0.0).mean(axis=(1, 2)) * 1e-4 / 1.02**2
    disagree(got[:, near], wider[near])
