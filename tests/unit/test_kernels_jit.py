"""How kernels are compiled: whole where Python calls them, and as parts of others, with the same answers."""

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import numba
import numpy as np
import pytest

from underlit.kernels.fresnel import fresnel
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
