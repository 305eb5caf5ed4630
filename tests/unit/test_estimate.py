"""Standard errors against the spread that repeated traces really have."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from underlit.metrics.estimate import Estimate, rounded, with_error

N_CELLS, NOISE = 400, 0.04


def median(cells):
    return np.median(cells, axis=-1)


def tenth(cells):
    return np.quantile(cells, 0.1, axis=-1)


def share(cells):
    return np.mean((cells > 55) & (cells < 70), axis=-1)


def evenness(cells):
    return cells.std(axis=-1) / cells.mean(axis=-1)


def noisy_map(rng, true_map, k):
    """K replicates of a map with Poisson noise: NOISE of the mean map where the map is 60."""
    per_hit = 60 * k * NOISE**2
    return rng.poisson(true_map / per_hit, (k, len(true_map))) * per_hit


@pytest.fixture(scope="module")
def true_map():
    return 60 * np.exp(0.2 * np.random.default_rng(5).standard_normal(N_CELLS))


def spread_and_error(function, estimator, true_map, k, n_runs=400):
    """Spread of a quantity over repeated runs, and the root mean square of its claimed standard error."""
    rng = np.random.default_rng(17)
    runs = [estimator(function, noisy_map(rng, true_map, k)) for _ in range(n_runs)]
    values, errors = np.array(runs).T
    return values.std(ddof=1), math.sqrt(np.mean(errors**2))


def ours(function, samples):
    made = Estimate.of(function, Estimate(samples))
    return made.value, made.std_err


def jackknife(function, samples):
    k = len(samples)
    left_out = np.array([function(np.delete(samples, i, axis=0).mean(axis=0)) for i in range(k)])
    return function(samples.mean(axis=0)), math.sqrt((k - 1) * left_out.var())


@pytest.mark.statistical
@pytest.mark.parametrize("k", [16, 10])
@pytest.mark.parametrize("function", [median, tenth, share, evenness])
def test_claimed_error_is_the_real_spread(function, k, true_map):
    """400 runs know a spread to 3.5 % (one sigma): 5 sigma."""
    spread, error = spread_and_error(function, ours, true_map, k)
    assert error == pytest.approx(spread, rel=0.18)


@pytest.mark.statistical
def test_leaving_one_out_fails_that_check(true_map):
    """The check has teeth, and half-samples their reason: the jackknife doubles the error of a median."""
    spread, error = spread_and_error(median, jackknife, true_map, 16, n_runs=100)
    assert error > 1.5 * spread


def test_linear_function_has_the_textbook_error():
    samples = np.random.default_rng(1).gamma(4.0, size=(16, 7))
    weights = np.arange(7.0)
    made = Estimate.of(lambda cells: cells @ weights, Estimate(samples))
    assert made.value == pytest.approx((samples @ weights).mean(), rel=1e-13)
    assert made.std_err == pytest.approx(stats.sem(samples @ weights), rel=1e-12)
    np.testing.assert_allclose(made.samples, samples @ weights, rtol=1e-12)


def test_ratio_of_correlated_estimates_against_the_delta_method():
    rng = np.random.default_rng(2)
    shared = rng.normal(100, 3, (16, 1))
    over, under = shared[:, 0] + rng.normal(0, 1, 16), shared[:, 0] + rng.normal(0, 1, 16)
    ratio = Estimate(over) / Estimate(under)
    cov = np.cov(over, under) / 16
    r = over.mean() / under.mean()
    delta = math.sqrt(cov[0, 0] - 2 * r * cov[0, 1] + r**2 * cov[1, 1]) / under.mean()
    assert ratio.value == pytest.approx(r, rel=1e-12)
    assert ratio.std_err == pytest.approx(delta, rel=1e-3)


def test_common_error_cancels_in_a_difference():
    common = np.random.default_rng(3).normal(50, 5, 16)
    assert (Estimate(common + 1.0) - Estimate(common)).std_err == pytest.approx(0.0, abs=1e-12)
    assert (Estimate(common) + Estimate(common)).std_err == pytest.approx(2 * stats.sem(common))


def test_arrays_and_numbers_from_either_side():
    made = Estimate(np.random.default_rng(4).normal(10, 1, (16, 3)))
    factors = np.array([1.0, 2.0, 3.0])
    for one, other in ((factors * made, made * factors), (1 - made, -(made - 1)), (made / 4, made * 0.25)):
        np.testing.assert_allclose(one.samples, other.samples)
    np.testing.assert_allclose((2.0 / made).value, 2.0 / made.value)
    np.testing.assert_allclose(made.dot(factors).samples, made.samples @ factors)
    np.testing.assert_allclose(made[1:].std_err, made.std_err[1:])


def test_replicates_that_do_not_match_are_refused():
    with pytest.raises(ValueError, match="cannot be combined"):
        Estimate(np.ones(8)) + Estimate(np.ones(16))
    with pytest.raises(ValueError, match="cannot be combined"):
        Estimate.of(np.add, Estimate(np.ones(8)), Estimate(np.ones(16)))
    with pytest.raises(ValueError, match="first axis"):
        Estimate(3.0)


def test_one_replicate_has_no_error_and_says_so():
    lone = Estimate([61.84])
    assert math.isnan(lone.std_err)
    assert str(lone) == "62"
    assert math.isnan(Estimate.of(np.sqrt, lone).std_err)


@pytest.mark.parametrize(
    ("value", "std_err", "text"),
    [
        (62.34, 1.52, "62 ± 2"),
        (62.34, 0.96, "62 ± 1"),
        (0.4137, 0.0021, "0.414 ± 0.002"),
        (1234.0, 60.0, "1230 ± 60"),
        (0.03, 0.2, "0.0 ± 0.2"),
        (-0.04, 0.2, "0.0 ± 0.2"),
        (18.0, 0.0, "18"),
        (float("inf"), 1.0, "–"),
        (62.0, float("nan"), "62"),
        (0.0, 0.0, "0"),
    ],
)
def test_no_more_digits_than_the_error_supports(value, std_err, text):
    assert with_error(value, std_err) == text


def test_rounded_shows_the_value_alone():
    assert rounded(62.34, 1.52) == "62"
    assert rounded(0.41, 0.02) == "0.41"


@pytest.mark.parametrize("k", [3, 16])
def test_widened_keeps_the_value_and_adds_errors_as_squares(k):
    rng = np.random.default_rng(8)
    plain = Estimate(np.column_stack([rng.normal(5.0, 1.0, k), np.full(k, 2.0), rng.normal(1.0, 1.0, k)]))
    wide = plain.widened([3.0, 0.5, np.inf])
    np.testing.assert_allclose(wide.value, plain.value, rtol=1e-12)
    np.testing.assert_allclose(wide.std_err, np.hypot(plain.std_err, [3.0, 0.5, 0.0]), rtol=1e-12)
    assert np.isnan(Estimate([4.0]).widened(1.0).std_err)
