"""Tuples that kernels take by their address: the same attributes on both sides."""

from typing import NamedTuple

import numpy as np
import pytest
from numba import typeof

from underlit.kernels.arrays import SceneArrays, SourceArrays, blank
from underlit.kernels.held import Held
from underlit.kernels.jit import kernel


class Inner(NamedTuple):
    words: np.ndarray
    table: np.ndarray
    count: int


class Outer(NamedTuple):
    length: float
    inner: Inner
    closed: bool
    volume: np.ndarray


def outer(closed=True):
    inner = Inner(np.arange(5, dtype=np.int16), np.arange(6.0).reshape(2, 3), -7)
    return Outer(0.1, inner, closed, np.arange(24, dtype=np.float32).reshape(2, 3, 4))


@kernel
def corner(inner, i, j):
    return inner.table[i, j]


@kernel
def read(held, out):
    inner = held.inner
    out[0], out[1], out[2] = held.length, inner.count, 1.0 if held.closed else 0.0
    out[3], out[4], out[5] = inner.words[4], corner(inner, 1, 0), held.volume[1, 2, 3]
    out[6], out[7], out[8] = inner.words.size, inner.table.size, held.volume.size
    out[9], out[10] = held.volume.shape[1], inner.table[1][2]
    inner.table[0, 1] = 40.0
    for row in held.volume[1]:
        out[11] += row[0]


@pytest.mark.parametrize("closed", [True, False])
def test_a_kernel_reads_what_is_held_and_writes_to_its_arrays(closed):
    value, out = outer(closed), np.zeros(12)
    read(Held(value), out)
    assert list(out) == [0.1, -7, closed, 4, 3.0, 23.0, 5, 6, 24, 3, 5.0, 12 + 16 + 20]
    assert value.inner.table[0, 1] == 40.0


def test_python_reads_the_same():
    held = Held(outer())
    assert (held.length, held.closed, held.inner.count) == (0.1, True, -7)


def test_kernels_are_compiled_for_kinds_not_for_values():
    other = outer(False)._replace(volume=np.zeros((0, 0, 0), np.float32))
    assert typeof(Held(outer())) == typeof(Held(other))
    assert typeof(Held(outer())) != typeof(Held(other._replace(volume=np.zeros((1, 1, 1)))))


@pytest.mark.parametrize(
    "part", [{"length": np.float32(1.0)}, {"volume": np.zeros((2, 3, 4), np.float32).T}, {"closed": "no"}]
)
def test_what_slots_cannot_say_is_refused(part):
    with pytest.raises(TypeError, match="cannot be held"):
        Held(outer()._replace(**part))


@pytest.mark.parametrize("kind", [SceneArrays, SourceArrays])
def test_the_least_of_a_kind_has_no_items(kind):
    held = Held(blank(kind))
    arrays = [part for part in held.value if isinstance(part, np.ndarray)]
    assert arrays and all(part.size == 0 for part in arrays)
