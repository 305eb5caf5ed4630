"""Quantiles and evenness of noisy maps against those of the map without noise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from underlit.metrics.estimate import Estimate
from underlit.metrics.spread import Area, quantiles

N_CELLS, K = 600, 16


@pytest.fixture(scope="module")
def true_cells():
    return stats.norm(60, 12).ppf((np.arange(N_CELLS) + 0.5) / N_CELLS)


def noisy(rng, true_cells, noise):
    return Estimate(true_cells + rng.normal(0, noise * 60 * math.sqrt(K), (K, N_CELLS)))


def test_quantiles_of_equal_cells_are_numpys():
    cells = np.random.default_rng(1).gamma(3.0, size=101)
    levels = (0.1, 0.5, 0.9)
    found = quantiles(cells, np.full(101, 1 / 101), levels)
    np.testing.assert_allclose(found, np.quantile(cells, levels, method="hazen"), rtol=1e-12)


def test_a_cell_of_twice_the_area_counts_as_two():
    cells, area = np.array([10.0, 20.0, 30.0, 50.0]), np.array([1.0, 2.0, 1.0, 3.0])
    split = np.repeat(cells, area.astype(int))
    one, other = (
        Area(Estimate(np.tile(cells, (4, 1))), area),
        Area(Estimate(np.tile(split, (4, 1))), np.ones(7)),
    )
    for quantity in (Area.mean, Area.variation, Area.min_over_mean, lambda a: a.between(15, 35)):
        assert quantity(one).value == pytest.approx(quantity(other).value)


@pytest.mark.statistical
@pytest.mark.parametrize("noise", [0.03, 0.10])
def test_noise_does_not_widen_the_distribution(true_cells, noise):
    """Mean error of 60 runs, in standard errors of that mean: 5 is beyond doubt. Raw quantiles fail it."""
    rng, area = np.random.default_rng(2), np.ones(N_CELLS)
    truth = quantiles(true_cells, area / N_CELLS, (0.1, 0.5, 0.9))
    runs = [noisy(rng, true_cells, noise) for _ in range(60)]
    found = np.array([Area(run, area).quantiles(0.1, 0.5, 0.9).value for run in runs])
    slack = 5 * found.std(axis=0) / math.sqrt(60)
    assert np.all(np.abs(found.mean(axis=0) - truth) < slack)
    if noise == 0.10:
        raw = np.array([quantiles(run.value, area / N_CELLS, (0.1, 0.5, 0.9)) for run in runs])
        assert raw.mean(axis=0)[0] < truth[0] - slack[0]
        assert raw.mean(axis=0)[2] > truth[2] + slack[2]


@pytest.mark.statistical
def test_variation_is_that_of_the_light_and_its_error_honest(true_cells):
    rng = np.random.default_rng(3)
    runs = [Area(noisy(rng, true_cells, 0.08), np.ones(N_CELLS)).variation() for _ in range(200)]
    values, errors = np.array([[run.value, run.std_err] for run in runs]).T
    assert values.mean() == pytest.approx(true_cells.std() / true_cells.mean(), rel=0.02)
    assert math.sqrt(np.mean(errors**2)) == pytest.approx(values.std(ddof=1), rel=0.25)


def test_even_light_stays_even():
    rng = np.random.default_rng(4)
    area = Area(Estimate(rng.normal(60, 10, (K, N_CELLS))), np.ones(N_CELLS))
    assert area.variation().value < 0.02
    assert area.min_over_mean().value > 0.9


def test_the_least_of_a_map_with_a_cell_without_light_is_not_known_too_well():
    """What drawing all cells to their mean leaves in the dark one is no light: the error holds nought."""
    rng = np.random.default_rng(5)
    cells = rng.poisson(np.append(np.zeros(1), np.full(N_CELLS, 12.0)), (K, N_CELLS + 1)) * 1.0
    least = Area(Estimate(cells), np.ones(N_CELLS + 1)).min_over_mean()
    assert least.value > 3 * Estimate.of(lambda c: c.min(), Estimate(cells)).std_err
    assert 0.0 < least.value < 2.0 * least.std_err


def test_darkness_has_no_evenness():
    dark = Area(Estimate(np.zeros((K, 10))), np.ones(10))
    assert math.isnan(dark.variation().value)
    assert dark.quantiles(0.5).value == 0.0


def lit_by_photons(rng, photons):
    """Cells with so many photons in the mean, over K replicates."""
    return Estimate(rng.poisson(np.tile(photons / K, (K, 1))) * 1.0 * K)


@pytest.mark.statistical
def test_errors_of_quantiles_hold_what_noise_leaves():
    """Cells of 1 to 1000 photons, most with few: P10 stays off by more than it varies, and says so."""
    photons = 15.0 * np.exp(1.3 * stats.norm.ppf((np.arange(N_CELLS) + 0.5) / N_CELLS))
    rng, truth = np.random.default_rng(4), np.quantile(photons, 0.1)
    runs = [Area(lit_by_photons(rng, photons), np.ones(N_CELLS)) for _ in range(40)]
    off = np.array([run.quantiles(0.1).value[0] - truth for run in runs])
    errors = np.array([run.quantiles(0.1).std_err[0] for run in runs])
    assert off.std() < 0.6 * np.sqrt(np.mean(off**2))
    assert np.sqrt(np.mean(off**2)) < 1.5 * np.sqrt(np.mean(errors**2))
    assert all((run.few(0.1, 0.9) == [True, False]).all() for run in runs)


def test_a_dark_map_and_one_without_noise_have_no_cells_of_few_photons():
    for cells in (np.zeros((K, 9)), np.tile(np.arange(1.0, 10.0), (K, 1))):
        area = Area(Estimate(cells), np.ones(9))
        assert not area.few(0.1, 0.5, 0.9).any()
        np.testing.assert_allclose(area.quantiles(0.1, 0.5, 0.9).std_err, 0.0, atol=1e-12)
