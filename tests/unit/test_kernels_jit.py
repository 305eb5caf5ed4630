"""How kernels are compiled: whole where Python calls them, and as parts of others, with the same answers."""

import math
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import numba
import numpy as np
import pytest
from numba.core.errors import LoweringError

from underlit.kernels.fresnel import fresnel
from underlit.kernels.jit import called_kernel, kernel
from underlit.kernels.rng import owen_scramble
from underlit.kernels.words import reverse_bits

compiled = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="numba does not compile")


@numba.njit
def of_many(cosines, ratio, out):
    for i in range(cosines.size):
        out[i] = fresnel(cosines[i], ratio)[0]


def test_a_part_gives_what_the_whole_gives():
    cosines, out = np.linspace(0.0, 1.0, 101), np.zeros(101)
    for ratio in (0.75, 1.5):
        of_many(cosines, ratio, out)
        plain = getattr(fresnel, "py_func", fresnel)
        np.testing.assert_array_equal(out, [fresnel(c, ratio)[0] for c in cosines])
        np.testing.assert_allclose(out, [plain(c, ratio)[0] for c in cosines], rtol=1e-13)


@compiled
def test_threads_share_what_is_compiled():
    """The first call comes from all threads at once."""
    wholes = []

    def call(word):
        found = int(reverse_bits(np.uint32(word)))
        wholes.append(reverse_bits.entry)
        return found

    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(call, range(64)))
    assert found == [int(f"{word:032b}"[::-1], 2) for word in range(64)]
    assert all(whole is wholes[0] for whole in wholes)


CALL = """
import numpy as np
from underlit.kernels.rng import owen_scramble
print(owen_scramble(np.uint32(5), np.uint32(7)))
"""


@compiled
def test_only_what_python_calls_is_kept(monkeypatch, tmp_path):
    monkeypatch.setenv("UNDERLIT_CACHE", str(tmp_path))
    answers = [
        subprocess.run([sys.executable, "-c", CALL], capture_output=True, text=True, check=True).stdout
        for _ in range(2)
    ]
    assert answers[0] == answers[1] == f"{owen_scramble(np.uint32(5), np.uint32(7))}\n"
    kept = {path.name.split("-")[0] for path in tmp_path.rglob("*.nb?")}
    assert kept == {"rng.owen_scramble"}  # not `reverse_bits`, which it calls


@kernel
def lesser_and_greater(a, b):
    return min(a, b), max(a, b)


@kernel
def towards_zero(x):
    return int(x)


@numba.njit
def of_pair(a, b):
    return lesser_and_greater(a, b)


@numba.njit
def whole_of(x):
    return towards_zero(x)


@pytest.mark.parametrize("kind", [np.float64, np.float32, np.int64, np.int32])
def test_the_lesser_and_the_greater_are_as_in_python(kind):
    for a in (kind(-3), kind(0), kind(2)):
        for b in (kind(-3), kind(0), kind(2)):
            assert of_pair(a, b) == (min(a, b), max(a, b))


def test_of_two_kinds_of_numbers_and_of_none():
    assert of_pair(2, 2.5) == (2.0, 2.5)
    assert of_pair(-1, np.float32(-7.5)) == (-7.5, -1.0)
    # As numba's: what compares with nothing stays where it stands first, and goes where it stands second.
    lesser, greater = of_pair(math.nan, 1.0)
    assert math.isnan(lesser) and math.isnan(greater)
    assert of_pair(1.0, math.nan) == (1.0, 1.0)
    assert str(of_pair(0.0, -0.0)) == str((min(0.0, -0.0), max(0.0, -0.0)))


def test_whole_numbers_are_cut_towards_zero():
    assert [whole_of(x) for x in (-2.9, -0.5, 0.5, 2.9, 7)] == [-2, 0, 0, 2, 7]
    assert whole_of(np.float32(3.99)) == 3


@kernel
def shift(flat, table, i, j):
    """Elements by indices of every kind, and a row, which is none."""
    flat[i] += table[i, j] + table[0, 1]
    row = table[j]
    row[0] = flat[2]
    table[j, i] = flat[0]


@numba.njit
def shifted(flat, table, i, j):
    shift(flat, table, i, j)


@pytest.mark.parametrize("order", ["C", "F"])
@pytest.mark.parametrize("kind", [np.int64, np.int32, np.uint32])
def test_elements_are_found_in_every_order_by_every_index(kind, order):
    flat, table = np.arange(3.0), np.asarray(np.arange(12.0).reshape(4, 3) + 0.5, order=order)
    expected = flat.copy(), table.copy()
    getattr(shift, "py_func", shift)(*expected, 1, 2)
    shifted(flat, table, kind(1), kind(2))
    np.testing.assert_array_equal(flat, expected[0])
    np.testing.assert_array_equal(table, expected[1])


@kernel
def logical(flags, i):
    flags[i] = not flags[0]
    return flags[i]


@numba.njit
def logical_of(flags, i):
    return logical(flags, i)


def test_elements_may_be_truth_values():
    flags = np.array([True, True, True])
    assert not logical_of(flags, 2)
    np.testing.assert_array_equal(flags, [True, True, False])


@called_kernel
def two_returns(x):
    if x > 0.0:
        return x, 1
    return -x, -1


@numba.njit
def signed_root(x):
    size, sign = two_returns(x)
    return sign * math.sqrt(size)


def test_a_called_kernel_gives_several_values():
    assert signed_root(4.0) == 2.0
    assert signed_root(-9.0) == -3.0


@compiled
def test_a_called_kernel_is_not_inlined():
    signed_root(4.0)
    (compiled_part,) = two_returns.overloads.values()
    assert "noinline" in compiled_part.library.get_llvm_str()


@compiled
def test_a_kernel_that_calls_what_numba_compiles_for_itself_is_refused():
    """Such a function could raise an exception, which kernels do not look out for."""

    @kernel
    def power(x, n):
        return x**n

    with pytest.raises(LoweringError, match="numba compiles for itself"):
        numba.njit(lambda x: power(x, 3))(2.0)


BEYOND = """
import numpy as np
from underlit.kernels.jit import kernel
import numba

@kernel
def element(values, i):
    return values[i]

print(numba.njit(lambda values, i: element(values, i))(np.arange(3.0), 1))
numba.njit(lambda values, i: element(values, i))(np.arange(3.0), 3)
"""


@compiled
def test_bounds_can_be_checked():
    """As the guide for contributors says."""
    checked = {**os.environ, "NUMBA_BOUNDSCHECK": "1"}
    run = subprocess.run(
        [sys.executable, "-c", BEYOND], capture_output=True, text=True, env=checked, check=False
    )
    assert run.stdout == "1.0\n"
    assert "IndexError: index is out of bounds" in run.stderr
