"""The spectral packet: the fast exponential, and that what is taken away is booked."""

import numpy as np
import pytest

from underlit.kernels.bands import (
    LANES,
    attenuate,
    book,
    deposit,
    deposit_along,
    deposit_through,
    mean,
    multiply,
    padded,
    scale,
)


def test_exponential():
    x = np.concatenate([np.linspace(0.0, 40.0, 20_000), np.logspace(-7, 3, 2000)]).astype(np.float32)
    v, lost = np.ones(len(x), np.float32), np.zeros((1, len(x)))
    attenuate(v, x, 1.0, lost, 0)
    got = v.astype(float)
    exact = np.exp(-x.astype(float))
    assert np.abs(got - exact).max() < 1e-6
    small = x < 3.0
    assert np.abs(got[small] / exact[small] - 1.0).max() < 1e-6
    assert (got >= 0.0).all()
    assert got[x == 0.0] == 1.0


@pytest.fixture
def packet():
    rng = np.random.default_rng(1)
    v = rng.random(2 * LANES).astype(np.float32)
    table = rng.random((3, 2 * LANES)).astype(np.float32)
    return v, table, np.zeros((4, 2 * LANES))


def test_padding():
    assert [padded(n) for n in (1, LANES, LANES + 1)] == [LANES, LANES, 2 * LANES]


def test_what_is_lost_is_booked(packet):
    """To the last bit: weights are single, sums are double precision."""
    v, table, sinks = packet
    start = v.astype(float)
    attenuate(v, table[0], 0.7, sinks, 0)
    np.testing.assert_allclose(v, start * np.exp(-0.7 * table[0].astype(float)), rtol=6e-6)
    multiply(v, table, 1, sinks, 1)
    scale(v, 1.7, sinks, 2)
    np.testing.assert_array_equal(v + sinks.sum(axis=0), start)
    book(v, sinks, 3)
    np.testing.assert_array_equal(sinks.sum(axis=0), start)


def test_deposits(packet):
    v, table, _ = packet
    cells = np.zeros((3, 2 * LANES), np.float32)
    deposit(v, 0.5, cells, 0)
    deposit_along(v, table[0], 1.5, cells, 1)
    deposit_through(v, 2.0, table[0], 1.5, table[1], 0.2, cells, 2)
    np.testing.assert_allclose(cells[0], 0.5 * v, rtol=1e-6)
    np.testing.assert_allclose(cells[1], v * np.exp(-1.5 * table[0]), rtol=1e-5)
    np.testing.assert_allclose(cells[2], 2.0 * v * np.exp(-1.5 * table[0] - 0.2 * table[1]), rtol=1e-5)


def test_mean_leaves_the_padding_out():
    v = np.zeros(LANES, np.float32)
    v[:5] = 0.25, 0.5, 0.75, 1.0, 2.5
    assert mean(v, 5) == 1.0
