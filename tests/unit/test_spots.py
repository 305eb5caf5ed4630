"""Spots and depth profiles: the right cells, and the guess against its own law."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import synthetic
from underlit.errors import StudyError
from underlit.metrics import depth, maps, photons, spots
from underlit.metrics.estimate import Estimate


@pytest.fixture(scope="module")
def res():
    return synthetic.result(photons=50_000)


def test_spot_is_the_mean_over_its_cells(res):
    """A radius much larger than a cell: the mean of the cells whose centres lie within, nearly."""
    spot = spots.find_spot(res, 0.2, 0.1, radius_m=0.05)
    assert spot.surface == "soil"
    assert spot.area_m2.sum() == pytest.approx(np.pi * 0.05**2, rel=0.01)
    centre = res.surfaces["soil"].cell_centre_m
    near = np.hypot(centre[:, 0] - 0.2, centre[:, 1] - 0.1) <= 0.05
    density = maps.ppfd(res, "soil")
    assert spot.mean(density).value == pytest.approx(density.value[near].mean(), rel=0.01)


def test_small_spot_is_the_cell_it_lies_in(res):
    spot = spots.find_spot(res, 0.2013, 0.1051, radius_m=0.0)
    assert spot.cells.tolist() == [10 * 60 + 20]
    cell = maps.ppfd(res, "soil")[10 * 60 + 20]
    assert spot.mean(maps.ppfd(res, "soil")).value == pytest.approx(cell.value)
    assert spot.mean(maps.ppfd(res, "soil")).std_err == pytest.approx(cell.std_err)


def test_spectrum_and_channels_add_up_to_the_ppfd(res):
    spot = spots.find_spot(res, 0.33, 0.17)  # at the edge of the ball
    assert spot.open_share.min() < 1.0
    density = spot.mean(maps.ppfd(res, "soil", {"clip": 0.4}))
    spectrum = spot.spectrum(res, {"clip": 0.4})
    assert photons.par(spectrum.value) == pytest.approx(density.value, rel=1e-9)
    np.testing.assert_allclose(
        spot.by_channel(res, {"clip": 0.4}).samples.sum(axis=1), density.samples, rtol=1e-9
    )


def test_open_ground_beside_a_stone_is_as_bright_as_itself(res):
    spot = spots.find_spot(res, 0.33, 0.17)
    landed = np.zeros(res.surfaces["soil"].n_cells)
    landed[spot.cells] = 60.0 * spot.open_share
    assert spot.mean(Estimate(np.tile(landed, (2, 1)))).value == pytest.approx(60.0)


def test_height_picks_the_plane_or_the_soil(res):
    assert spots.find_spot(res, 0.2, 0.1, 0.15).surface == "plane 0.140"
    assert spots.find_spot(res, 0.2, 0.1, 0.043).surface == "soil"
    assert spots.find_spot(res, 0.2, 0.1, 0.05).surface == "soil"  # nearer than the plane


def test_spot_on_a_stone(res):
    top = spots.spot_on_hardscape(res, "ball", 0.38, 0.17)
    assert top.plane == "surface normal"
    assert top.place_m[2] > 0.11
    side = spots.spot_on_hardscape(res, "ball", 0.33, 0.17, 0.07)
    assert side.place_m[0] < 0.345
    normals = res.surfaces["hardscape ball"].cell_normal[side.cells]
    assert np.all(normals[:, 0] < 0)


@pytest.mark.parametrize(
    ("place", "message"),
    [
        ((0.7, 0.1), "outside the tank"),
        ((0.2, 0.1, 0.5), "outside the tank"),
        ((0.2, 0.1, 0.01), "within the soil"),
        ((0.38, 0.17), "no open ground"),
    ],
)
def test_impossible_spots_are_refused(res, place, message):
    with pytest.raises(StudyError, match=message):
        spots.find_spot(res, *place)


def lit_like(res, law):
    """The result with light that depends on the height of a cell alone, without noise."""
    lit = dataclasses.replace(res)
    for name, surface in res.surfaces.items():
        per_area = np.stack([law(s, surface.cell_centre_m) for s in range(2)])
        transport = per_area[None, :, :, None] * surface.cell_area_m2[:, None] * np.ones((2, 1, 1, 16))
        lit._cache[name] = transport
    return lit


def test_guess_is_right_where_its_law_holds(res):
    """Light that falls with the square of the distance to the middle of each lamp: the guess meets it."""

    def law(source, place):
        lamp = np.array([(0.30, 0.15, 0.45), (0.12, 0.15, 0.43)][source])
        return 1.0 / ((place[:, 2] - lamp[2]) ** 2 + (0.2 - lamp[0]) ** 2 + (0.1 - lamp[1]) ** 2)

    profile = depth.at_spot(lit_like(res, law), 0.2, 0.1)
    assert profile.surfaces == ["water surface", "plane 0.140", "soil"]
    np.testing.assert_allclose(profile.depth_m, [0.0, 0.19, 0.29], atol=1e-3)
    np.testing.assert_allclose(profile.guess.value, profile.ppfd.value, rtol=1e-3)


def test_average_profile_is_the_mean_over_open_water(res):
    profile = depth.on_average(lit_like(res, lambda source, place: 1.0 + place[:, 2]))
    factors = profile.ppfd.value / profile.ppfd.value[0]
    np.testing.assert_allclose(factors, (1 + 0.33 - profile.depth_m) / 1.33, rtol=0.01)
    falls = np.array([(0.12 / (0.12 + profile.depth_m)) ** 2, (0.10 / (0.10 + profile.depth_m)) ** 2])
    par = [maps.flux(res, {"clip": 0}), maps.flux(res, {"bar": 0})]
    expected = par @ falls / sum(par) * profile.ppfd.value[0]
    np.testing.assert_allclose(profile.guess.value, expected, rtol=1e-6)


def test_profile_leaves_out_what_lies_within_a_stone(res):
    """The ball reaches up to 12 cm: the plane at 14 cm is free, the soil below is covered."""
    assert depth.at_spot(res, 0.38, 0.17).surfaces == ["water surface", "plane 0.140"]
    with pytest.raises(StudyError, match="outside the tank"):
        depth.at_spot(res, 0.38, 0.37)
