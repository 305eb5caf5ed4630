"""Folding spectra onto transport nodes."""

from __future__ import annotations

import numpy as np
import pytest

from underlit.errors import DataError
from underlit.spectra import (
    GRID_NM,
    NODES_NM,
    glass,
    hat_matrix,
    hat_weights,
    lamp,
    surface_reflectance,
    transport_guide,
    water_absorption_per_m,
)

WATER = water_absorption_per_m(GRID_NM, 4.0)
GLASS = glass("float", GRID_NM)[1]
SOIL = surface_reflectance("ochre rock", GRID_NM)
AT_NODES = NODES_NM.astype(int) - 380


def test_default_nodes_are_whole_nanometres_over_the_grid():
    assert NODES_NM.shape == (16,)
    assert NODES_NM[0] == GRID_NM[0]
    assert NODES_NM[-1] == GRID_NM[-1]
    np.testing.assert_array_equal(NODES_NM, np.round(NODES_NM))


@pytest.mark.parametrize("nodes", [NODES_NM, [550.0], [400.5, 600.0, 700.25]])
def test_weights_add_up_to_the_flux(nodes):
    np.testing.assert_allclose(hat_matrix(nodes).sum(axis=1), 1.0, rtol=1e-14)
    assert hat_weights(nodes, lamp("D65")).sum() == pytest.approx(1.0, rel=1e-12)


def test_straight_transport_is_exact():
    transport = np.interp(GRID_NM, NODES_NM, np.linspace(0.2, 0.9, 16) ** 2)
    spectra = np.stack([lamp(name).value for name in ("D65", "blue 450", "far red 730")])
    np.testing.assert_allclose(
        hat_weights(NODES_NM, spectra) @ transport[AT_NODES], spectra @ transport, rtol=1e-12
    )


def test_a_guide_follows_tea_water_where_straight_lines_cannot():
    transport = 0.6 * np.exp(-0.6 * WATER) + 0.1 * np.exp(-1.0 * WATER - 0.06 * GLASS) * SOIL
    guide = transport_guide(NODES_NM, transport[AT_NODES], WATER, GLASS, [SOIL])
    light = lamp("green 525")
    guided = hat_weights(NODES_NM, light, guide) @ transport[AT_NODES]
    straight = hat_weights(NODES_NM, light) @ transport[AT_NODES]
    exact = light.value @ transport
    assert guided == pytest.approx(exact, rel=2e-4)
    assert straight != pytest.approx(exact, rel=2e-3)


def test_guides_stack_and_their_scale_does_not_matter():
    transport = np.exp(-np.outer([0.2, 0.5], WATER))[:, AT_NODES]
    guides = transport_guide(NODES_NM, transport, WATER, GLASS)
    assert guides.shape == (2, 401)
    scaled = transport_guide(NODES_NM, 1e-7 * transport, WATER, GLASS)
    weights = [hat_weights(NODES_NM, lamp("D65").value, g) for g in (guides, scaled)]
    np.testing.assert_allclose(weights[0], weights[1], rtol=1e-6)


def test_no_transport_gives_plain_weights():
    guide = transport_guide(NODES_NM, np.zeros(16), WATER, GLASS)
    np.testing.assert_allclose(hat_weights(NODES_NM, lamp("D65"), guide), hat_weights(NODES_NM, lamp("D65")))


def test_refused():
    with pytest.raises(DataError, match="strictly increasing"):
        hat_matrix([500, 400])
    with pytest.raises(DataError, match="whole nanometres"):
        transport_guide([400.5, 500.0], np.ones(2), WATER, GLASS)
