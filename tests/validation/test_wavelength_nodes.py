"""How well light traced at 16 wavelengths stands for light at every nanometre.

Outside reference: Beer-Lambert along each path, summed at 1 nm. The light of a cell is made up of paths as in
a tank: straight down, along the walls through the pane and back, off the soil and back from the surface.
Errors are relative to the flux of the lamp in the cell, or to 5 % of what a colourless tank would bring where
water leaves less than that.
"""

from __future__ import annotations

from functools import cache
from itertools import product

import numpy as np
import pytest

from underlit.spectra import (
    GRID_NM,
    NODES_NM,
    glass,
    hat_weights,
    lamp,
    led,
    surface_reflectance,
    transport_guide,
    water_absorption_per_m,
    water_types,
    weighting,
)

pytestmark = pytest.mark.validation

AT_NODES = NODES_NM.astype(int) - 380
WATERS = ("pure", "clear", "straw", "light tea", "tea", "blackwater")
SOILS = ("dark soil", "ochre rock", "red-brown wood", "beige sand", "measured wet sand")
PANES = (("float", 0.006), ("float", 0.012), ("low-iron", 0.012))
WHITES = (
    "warm white 3000 K",
    "white 4000 K",
    "white 6500 K",
    "white 10000 K",
    "D65",
    "A",
    "FL2",
    "LED-B3",
    "LED-V1",
)
NARROW = (
    "violet 405",
    "blue 450",
    "blue 470",
    "cyan 495",
    "green 525",
    "amber 595",
    "red 630",
    "red 660",
    "far red 730",
)
# Share, path in water over depth, crossings of the pane thickness, bounces off the soil.
CELLS = {
    "open": ((0.75, 1.06, 0, 0), (0.2, 1.25, 3, 0), (0.05, 1.4, 6, 0), (0.3, 3.3, 3, 1), (0.1, 5.5, 6, 2)),
    "wall": ((0.35, 1.06, 0, 0), (0.45, 1.2, 3, 0), (0.2, 1.4, 7, 0), (0.3, 3.3, 4, 1), (0.1, 5.5, 7, 2)),
    "shade": ((0.02, 1.1, 0, 0), (0.06, 1.4, 4, 0), (0.3, 1.6, 1, 1), (0.3, 3.3, 4, 1), (0.2, 3.0, 3, 2)),
}


@cache
def curves(water_name, soil_name, pane):
    """Absorption of water and of glass, reflectance of the soil, at 1 nm."""
    water = water_types()[water_name]
    a_water = water_absorption_per_m(GRID_NM, water.a440_per_m, water.slope_per_nm)
    return a_water, glass(pane[0], GRID_NM)[1], surface_reflectance(soil_name, GRID_NM)


def tank_light(water_name, depth, soil_name, pane, cell):
    """Transport of one cell at 1 nm, with and without what water and glass absorb, and a guide to it."""
    a_water, a_glass, soil = curves(water_name, soil_name, pane)
    lit, clear = np.zeros(401), np.zeros(401)
    for share, length, crossings, bounces in CELLS[cell]:
        colour = share * soil**bounces
        clear += colour
        lit += colour * np.exp(-a_water * length * depth - a_glass * crossings * pane[1])
    return lit, clear, guide_to(lit, water_name, soil_name, pane)


def guide_to(transport, water_name, soil_name, pane):
    a_water, a_glass, soil = curves(water_name, soil_name, pane)
    return transport_guide(NODES_NM, transport[AT_NODES], a_water, a_glass, [soil])


@pytest.fixture(scope="module")
def cells():
    """Every tank: arrays lit, clear, guide of shape (n_water, n_tank, n_cell, 401)."""
    tanks = list(product((0.15, 0.3, 0.45, 0.6, 0.75), SOILS, PANES))
    rows = [[[tank_light(water, *tank, cell) for cell in CELLS] for tank in tanks] for water in WATERS]
    return np.moveaxis(np.array(rows), 3, 0)


def errors(cells, spectra, nodes=NODES_NM):
    """Relative errors of the flux, shape (n_water, n_tank, n_cell, n_spectrum)."""
    lit, clear, guide = cells
    exact = lit @ spectra.T
    scale = np.maximum(exact, 0.05 * (clear @ spectra.T))
    at_nodes = lit[..., nodes.astype(int) - 380]
    got = np.empty_like(exact)
    for i, spectrum in enumerate(spectra):
        got[..., i] = (hat_weights(nodes, spectrum, guide) * at_nodes).sum(axis=-1)
    return np.abs(got - exact) / scale


def par_of(names):
    """Spectra under PAR; far red whole, for it has next to none."""
    return np.stack([lamp(n).value * (1.0 if "far red" in n else weighting("PAR")) for n in names])


ANY_LED = np.stack([led(peak, 20).value for peak in range(400, 735, 5)])


def test_straight_lines(cells):
    """Without a guide: white light within 0.8 %, single colours 3.8 %, an LED of any peak 6 %."""
    straight = (*cells[:2], None)
    assert errors(straight, par_of(WHITES)).max() < 0.008
    assert errors(straight, par_of(NARROW)).max() < 0.038
    assert errors(straight, ANY_LED).max() < 0.06


def test_a_guide_for_every_cell(cells):
    """White light within 0.2 %, single colours 0.3 %, an LED of any peak 0.5 %."""
    assert errors(cells, par_of(WHITES)).max() < 0.002
    assert errors(cells, par_of(NARROW)).max() < 0.003
    assert errors(cells, ANY_LED).max() < 0.005


def test_one_guide_for_a_whole_surface(cells):
    """A guide from the mean of open, wall-side and shaded cells: white within 0.4 %, single colours 1.2 %."""
    lit, clear, guide = (array.copy() for array in cells)
    for water, name in enumerate(WATERS):
        for tank, (_, soil, pane) in enumerate(product((0.15, 0.3, 0.45, 0.6, 0.75), SOILS, PANES)):
            mean = lit[water, tank].mean(axis=0)
            guide[water, tank] = guide_to(mean, name, soil, pane)
    assert errors((lit, clear, guide), par_of(WHITES)).max() < 0.004
    assert errors((lit, clear, guide), par_of(NARROW)).max() < 0.012


def test_the_nodes_are_better_placed_than_even_ones(cells):
    """A check that can fail: 16 even steps do as well for white light, twice as badly for single colours."""
    straight, even = (*cells[:2], None), np.round(np.linspace(380, 780, 16))
    assert errors(straight, par_of(NARROW), even).max() > 2.0 * errors(straight, par_of(NARROW)).max()
    assert errors(straight, par_of(WHITES), even).max() > errors(straight, par_of(WHITES)).max()
