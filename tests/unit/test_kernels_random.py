"""Random and quasi-random numbers against published vectors, scipy's Sobol points and the net property."""

import itertools

import numpy as np
import pytest
from scipy import stats
from scipy.stats import qmc

from underlit.kernels.draws import RNG_WORDS, rng_start, uniform
from underlit.kernels.philox import philox
from underlit.kernels.rng import (
    SOBOL_DIMENSIONS,
    SOBOL_DRAWS,
    mix32,
    owen_scramble,
    sobol_directions,
    sobol_next,
    sobol_start,
)
from underlit.kernels.words import reverse_bits

ONES = 0xFFFFFFFF
DIMENSIONS = SOBOL_DIMENSIONS + SOBOL_DRAWS


@pytest.mark.parametrize(
    ("counter", "key", "expected"),
    [
        ((0, 0, 0, 0), (0, 0), "6627e8d5 e169c58d bc57ac4c 9b00dbd8"),
        ((ONES,) * 4, (ONES,) * 2, "408f276d 41c83b0e a20bc7c6 6d5451fd"),
        (
            (0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344),
            (0xA4093822, 0x299F31D0),
            "d16cfe09 94fdcceb 5001e420 24126ea1",
        ),
    ],
)
def test_philox_known_answers(counter, key, expected):
    """The vectors published with Random123 (file kat_vectors, philox4x32 10): zeros, ones, digits of pi."""
    words = philox(*(np.uint32(word) for word in (*counter, *key)))
    assert [f"{int(word):08x}" for word in words] == expected.split()


def stream(photon, number, n, seed=12345):
    rng = np.zeros(RNG_WORDS, np.uint32)
    rng_start(rng, photon, number)
    return np.array([uniform(rng, np.uint64(seed)) for _ in range(n)])


def test_stream_is_philox_keyed_by_seed_and_counted_by_photon_stream_and_block():
    seed = 0x0123456789ABCDEF
    got = stream(7, 9, 10, seed)
    words = np.concatenate([
        philox(np.uint32(7), np.uint32(9), np.uint32(block), np.uint32(0), np.uint32(0x89ABCDEF), np.uint32(0x01234567))
        for block in range(3)
    ])  # fmt: skip
    np.testing.assert_array_equal(got, (words[:10] + 0.5) * 2.0**-32)


def test_streams_are_uniform_and_differ():
    many = np.array([stream(photon, number, 40) for photon in range(50) for number in range(10)])
    assert stats.kstest(many.ravel(), "uniform").pvalue > 1e-3
    assert len(np.unique(many)) == many.size
    # Neighbouring photons, streams and draws are not correlated: 500 pairs each, standard error 0.045.
    assert np.abs(np.corrcoef(many)[0, 1:]).max() < 0.65  # 40 draws: standard error 0.16
    assert abs(np.corrcoef(many[:, 0], many[:, 1])[0, 1]) < 0.2


def sobol(n):
    """The first `n` points as bit-reversed words, shape (n, dimensions)."""
    directions, state = sobol_directions(), np.zeros(DIMENSIONS, np.uint32)
    points = np.zeros((n, DIMENSIONS), np.uint32)
    sobol_start(directions, 0, state)
    for i in range(n):
        points[i] = state
        sobol_next(directions, i, state)
    return points


def plain(words):
    return np.array([[reverse_bits(word) for word in row] for row in words]) * 2.0**-32


def test_sobol_points_are_those_of_scipy():
    """Same numbers of Joe and Kuo, same Gray-code order."""
    np.testing.assert_array_equal(plain(sobol(1024)), qmc.Sobol(DIMENSIONS, scramble=False).random(1024))


def test_sobol_starts_anywhere():
    directions, state = sobol_directions(), np.zeros(DIMENSIONS, np.uint32)
    points = sobol(600)
    for i in (0, 1, 2, 255, 256, 599):
        sobol_start(directions, i, state)
        np.testing.assert_array_equal(state, points[i])


def scrambled(words, seed):
    """As a batch of photons scrambles them, each dimension on its own."""
    word = int(mix32(np.uint32(seed)))
    keys = [mix32(np.uint32((word + k * 0x9E3779B9) & ONES)) for k in range(DIMENSIONS)]
    return np.array([[owen_scramble(*pair) for pair in zip(row, keys, strict=True)] for row in words])


def counts(points, i, j, a, b):
    """How many elementary boxes of 2^-a x 2^-b hold 0, 1, 2, ... points."""
    box = (points[:, i] * 2**a).astype(int) * 2**b + (points[:, j] * 2**b).astype(int)
    return np.bincount(np.bincount(box, minlength=2 ** (a + b)), minlength=8)[:8]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_scrambling_keeps_the_net(seed):
    """Every elementary interval keeps its number of points in one dimension, and in every pair of dimensions the
    elementary boxes are only permuted (A. B. Owen 1995), so the net stays as good as it was."""
    words = sobol(256)
    before, after = plain(words), scrambled(words, seed)
    assert np.abs(before - after).max() > 0.4
    for i in range(DIMENSIONS):
        assert sorted((after[:, i] * 256).astype(int)) == list(range(256))
    for i, j in itertools.combinations(range(DIMENSIONS), 2):
        for a in range(9):
            np.testing.assert_array_equal(counts(before, i, j, a, 8 - a), counts(after, i, j, a, 8 - a))


def test_a_mere_random_shift_of_bits_would_not_pass():
    """The mutant: independent uniform points fill the boxes unevenly."""
    points = np.random.default_rng(1).random((256, 2))
    assert counts(points, 0, 1, 4, 4)[1] < 256


def test_each_scrambled_point_is_uniform_over_seeds_and_dimensions_are_independent():
    words = sobol(16)[[0, 1, 2, 5, 11]]
    values = np.array([scrambled(words, seed) for seed in range(3000)])
    assert min(stats.kstest(column, "uniform").pvalue for column in values.reshape(3000, -1).T) > 1e-4
    correlation = np.corrcoef(values.reshape(3000, -1).T).reshape(5, DIMENSIONS, 5, DIMENSIONS)
    for i, j in itertools.combinations(range(DIMENSIONS), 2):
        assert np.abs(correlation[:, i, :, j]).max() < 0.09  # 900 of them, of standard error 0.018


def test_mix32_is_one_to_one_on_what_it_is_given():
    values = {int(mix32(np.uint32(i))) for i in range(20_000)}
    assert len(values) == 20_000
