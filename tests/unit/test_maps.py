"""Maps against sums done the slow way, wavelength by wavelength and cell by cell."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy import ndimage

import synthetic
from underlit.errors import DataError, StudyError
from underlit.metrics import maps
from underlit.metrics.estimate import Estimate
from underlit.results.result import Optics
from underlit.spectra import GRID_NM, NODES_NM


@pytest.fixture(scope="module")
def res():
    return synthetic.result(photons=50_000, cell_m=0.03)


def slow_ppfd(res, surface, dims, low=400, high=700):
    """Every nanometre by itself: photons of a bin, times the transport read off between the nodes."""
    area = res.surfaces[surface].cell_area_m2
    transport = res.transport(surface).mean(axis=0)
    total = np.zeros(len(area))
    for channel, dim in zip(res.channels, dims, strict=True):
        for wavelength, photons in zip(GRID_NM, channel.spectrum, strict=True):
            if low <= wavelength <= high:
                edge = 0.5 if wavelength in (low, high) else 1.0
                landed = [
                    np.interp(wavelength, res.wavelength_nm, cell) for cell in transport[channel.source]
                ]
                total += edge * dim * photons * np.array(landed) / area
    return total


def test_ppfd_is_the_sum_over_every_nanometre(res):
    for surface in ("soil", "hardscape ball"):
        found = maps.ppfd(res, surface, [1.0, 0.5, 0.25]).value
        np.testing.assert_allclose(found, slow_ppfd(res, surface, [1.0, 0.5, 0.25]), rtol=1e-12)


def test_one_wavelength_on_a_node_is_transport_times_flux(res):
    node = 5
    line = np.where(np.isclose(GRID_NM, res.wavelength_nm[node], atol=0.5), 7.0, 0.0)
    assert line.sum() == 7.0
    nodes = res.wavelength_nm.copy()
    nodes[node] = GRID_NM[line > 0][0]
    lit = dataclasses.replace(res.channels[2], spectrum=line)
    mono = dataclasses.replace(res, channels=[lit], wavelength_nm=nodes)
    expected = 7.0 * mono.transport("soil")[:, 1, :, node] / mono.surfaces["soil"].cell_area_m2
    np.testing.assert_allclose(maps.ppfd(mono, "soil").samples, expected, rtol=1e-12)


@pytest.mark.statistical
def test_ppfd_agrees_with_the_true_transport_within_its_error(res):
    """About 200 cells, 15 degrees of freedom: |z| beyond 7.5 has odds of 4e-4 over all of them."""
    soil = res.surfaces["soil"]
    true = dataclasses.replace(res)
    true._cache["soil"] = np.repeat(synthetic.true_transport(soil)[None], 2, axis=0)
    found = maps.ppfd(res, "soil")
    z = (found.value - maps.ppfd(true, "soil").value) / found.std_err
    assert np.abs(z).max() < 7.5
    assert 0.8 < z.std() < 1.3


def test_mix_of_channel_maps_is_the_map_of_the_mix(res):
    dims = np.array([0.3, 0.0, 1.7])
    by_channel = maps.ppfd_by_channel(res, "soil")
    np.testing.assert_allclose(maps.mix(by_channel, dims).samples, maps.ppfd(res, "soil", dims).samples)


def test_dims_by_fixture_by_channel_and_by_number(res):
    assert maps.dim_settings(res).tolist() == [1, 1, 1]
    assert maps.dim_settings(res, 0.5).tolist() == [0.5, 0.5, 0.5]
    assert maps.dim_settings(res, {"bar": 0.2}).tolist() == [0.2, 0.2, 1]
    assert maps.dim_settings(res, {"bar/red": 0.2, "clip": 0}).tolist() == [1, 0.2, 0]
    assert maps.dim_settings(res, [0.1, 0.2, 0.3]).tolist() == [0.1, 0.2, 0.3]


@pytest.mark.parametrize(
    ("dims", "message"),
    [
        ({"lamp": 1}, r"no fixture or channel `lamp`[\s\S]*`bar / white`"),
        ([1.0, 0.5], "2 dim settings for 3 channels"),
        (-0.1, "0 or more"),
        (float("nan"), "0 or more"),
    ],
)
def test_impossible_dims_are_refused(res, dims, message):
    with pytest.raises(StudyError, match=message):
        maps.dim_settings(res, dims)


def test_unknown_weighting_is_refused(res):
    with pytest.raises(DataError, match="weighting"):
        maps.ppfd(res, "soil", weighting="brightness")


def test_colour_bands_add_up_to_par(res):
    parts = sum(maps.ppfd(res, "soil", weighting=band).value for band in ("blue", "green", "red"))
    np.testing.assert_allclose(parts, maps.ppfd(res, "soil").value, rtol=1e-12)


def test_flux_is_what_the_channels_say(res):
    assert maps.flux(res, weighting="all") == pytest.approx(32.4 + 11.0 + 10.2, rel=1e-3)


@pytest.mark.parametrize("node_step", [1, 2])
def test_known_water_guides_the_light_between_the_nodes(res, node_step):
    """Light after one path through dark water, exp(-a L): right with the guide, even on half the nodes."""
    nodes = NODES_NM[::node_step]
    absorption = 8.0 * np.exp(-0.015 * (GRID_NM - 440.0)) + 0.2
    along = np.exp(-0.37 * absorption)
    transport = np.tile(along[nodes.astype(int) - 380], (2, 2, res.surfaces["soil"].n_cells, 1))
    flat = np.full(GRID_NM.size, 1e-9)
    dark = dataclasses.replace(res, wavelength_nm=nodes, optics=Optics(absorption, flat))
    dark._cache["soil"] = transport
    band = (GRID_NM >= 400) & (GRID_NM <= 500)
    expected = sum(channel.spectrum @ (along * band) for channel in res.channels)
    area = res.surfaces["soil"].cell_area_m2
    np.testing.assert_allclose(
        maps.ppfd(dark, "soil", weighting=band).value * area, expected, rtol=1e-3 * node_step**2
    )
    np.testing.assert_allclose(
        maps.spectrum(dark, "soil").value @ band, expected / area.mean(), rtol=1e-3 * node_step**2
    )
    straight = dataclasses.replace(dark, optics=None)
    straight._cache["soil"] = transport
    error = maps.ppfd(straight, "soil", weighting=band).value * area / expected - 1
    assert np.abs(error).max() > 0.005 * node_step**2


def test_spectrum_over_an_area_adds_up_to_its_mean_ppfd(res):
    cells = np.random.default_rng(1).uniform(0, 1, res.surfaces["soil"].n_cells)
    edges = np.where(np.isin(GRID_NM, (400, 700)), 0.5, 1.0) * ((GRID_NM >= 400) & (GRID_NM <= 700))
    area = cells * res.surfaces["soil"].cell_area_m2
    expected = (maps.ppfd(res, "soil", {"clip": 0.3}).samples * area).sum(axis=1) / area.sum()
    found = maps.spectrum(res, "soil", {"clip": 0.3}, cells)
    np.testing.assert_allclose(found.samples @ edges, expected, rtol=1e-12)


def test_smoothing_is_a_box_of_three_by_three(res):
    soil = res.surfaces["soil"]
    rough = maps.ppfd(res, "soil")
    smooth = maps.ppfd(res, "soil", smooth=True)
    expected = ndimage.uniform_filter(rough.value.reshape(soil.shape), 3, mode="constant")
    inside = (slice(1, -1), slice(1, -1))
    np.testing.assert_allclose(smooth.value.reshape(soil.shape)[inside], expected[inside], rtol=1e-12)
    level = maps.smoothed(Estimate(np.full((4, soil.n_cells), 60.0)), soil)
    np.testing.assert_allclose(level.samples, 60.0)
    assert np.median(smooth.rel_err) < 0.5 * np.median(rough.rel_err)


def test_smoothing_leaves_covered_ground_out(res):
    soil = res.surfaces["soil"]
    open_share = np.random.default_rng(1).choice([0.0, 0.4, 1.0], soil.n_cells)
    level = maps.smoothed(Estimate(np.tile(60.0 * open_share, (4, 1))), soil, open_share)
    somewhere = ndimage.maximum_filter(open_share.reshape(soil.shape), 3, mode="constant").ravel() > 0
    np.testing.assert_allclose(level.samples[:, somewhere], 60.0)
    assert np.isnan(level.samples[:, ~somewhere]).all()


def test_a_mesh_has_no_neighbours_to_smooth_with(res):
    with pytest.raises(StudyError, match="no grid"):
        maps.ppfd(res, "hardscape ball", smooth=True)
