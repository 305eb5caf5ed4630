"""Connected pieces, the nearest seed and the nearest middle, against scipy's graphs."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components, dijkstra

from underlit.kernels.graph import centre, link, number_pieces, spread


def pairs(n, n_links, seed):
    return np.ascontiguousarray(np.random.default_rng(seed).integers(0, n, (2, n_links)))


def graph(a, b, value, n):
    return coo_array((value, (a, b)), shape=(n, n)).tocsr()


@pytest.mark.parametrize("n_links", [0, 50, 300, 3000])
def test_pieces_are_those_of_scipy(n_links):
    n, piece = 500, np.empty(500, np.int64)
    a, b = pairs(n, n_links, 1)
    expected = connected_components(graph(a, b, np.ones(n_links), n), directed=False)
    found = number_pieces(a, b, piece)
    assert found == expected[0]
    np.testing.assert_array_equal(piece, expected[1])


@pytest.mark.parametrize("n_seeds", [1, 7, 200])
def test_the_nearest_seed_is_that_of_dijkstra(n_seeds):
    n, rng = 2000, np.random.default_rng(2)
    a, b = np.unique(np.sort(pairs(n, 4000, 3), axis=0), axis=1)
    a, b = np.ascontiguousarray(a[a != b]), np.ascontiguousarray(b[a != b])
    apart, seeds = rng.uniform(0.1, 1.0, len(a)), rng.choice(n, n_seeds, replace=False)
    first, linked, length = np.empty(n + 1, np.int64), np.empty(2 * len(a), np.int64), np.empty(2 * len(a))
    link(a, b, apart, first, linked, length)
    distance, owner = np.empty(n), np.empty(n, np.int64)
    spread(first, linked, length, seeds, distance, owner, np.empty(n, np.int64), np.empty(n, bool))
    expected, _, source = dijkstra(
        graph(a, b, apart, n), directed=False, indices=seeds, min_only=True, return_predecessors=True
    )
    np.testing.assert_allclose(distance, expected, rtol=1e-12)
    reached = np.isfinite(expected)
    assert np.count_nonzero(~reached) > 0
    np.testing.assert_array_equal(seeds[owner[reached]], source[reached])
    assert (owner[~reached] == -1).all()


def test_links_go_both_ways():
    first, linked, length = np.empty(4, np.int64), np.empty(4, np.int64), np.empty(4)
    link(np.array([0, 0]), np.array([1, 2]), np.array([5.0, 7.0]), first, linked, length)
    ways = [set(zip(linked[i:j], length[i:j], strict=True)) for i, j in pairwise(first)]
    assert ways == [{(1, 5.0), (2, 7.0)}, {(0, 5.0)}, {(0, 7.0)}]


def test_the_middle_of_a_group_is_that_of_its_weights():
    point = np.array([[0.0, 0, 0], [1.0, 0, 0], [2.0, 0, 0], [9.0, 0, 0]])
    owner, nearest = np.array([0, 0, 0, 1]), np.empty(2, np.int64)
    for weight, expected in (([1.0, 1.0, 1.0, 1.0], 1), ([1.0, 1.0, 9.0, 1.0], 2), ([9.0, 1.0, 1.0, 1.0], 0)):
        centre(owner, point, np.array(weight), np.empty(2), np.empty((2, 3)), nearest)
        assert list(nearest) == [expected, 3]


def test_a_group_without_weight_has_a_thing_in_its_middle_too():
    owner, nearest = np.array([1, 0, 1]), np.empty(2, np.int64)
    centre(owner, np.ones((3, 3)), np.zeros(3), np.empty(2), np.empty((2, 3)), nearest)
    assert list(nearest) == [1, 0]
