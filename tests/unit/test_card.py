"""The card's kernels compile in single precision; what is said where there is no card; twins of shared kernels."""

from __future__ import annotations

import ast
import functools
import re
import subprocess
import sys
from types import SimpleNamespace
from unittest import mock

import numpy as np
import pytest

import underlit
from full_scene import EVERYTHING
from small_scene import SMALL
from underlit.errors import UnderlitError
from underlit.scene.loader import from_text
from underlit.tracer import card
from underlit.tracer.pack import pack
from underlit.tracer.sources import build_lamps
from underlit.tracer.tally import SCALE, Tally

ARCHITECTURE = (8, 0)


@pytest.fixture
def tally():
    scene = from_text(SMALL)
    packed = pack(scene, bvh_layout="fine")
    return Tally(packed, build_lamps(scene), 4, 1)


@functools.cache
def ptx_of(text: str, n_bands: int = 3) -> tuple[str, dict[str, bool]]:
    """The photon loop compiled for a scene, as text, and the features that it has been compiled with."""
    pytest.importorskip("numba_cuda", reason="numba-cuda is not installed")
    cuda = card.cuda_module()
    from numba.cuda import dispatcher
    from numba.cuda.typing.typeof import typeof

    from underlit.kernels.cuda.twin import single

    scene = from_text(text)
    packed, sources = pack(scene, bvh_layout="fine"), build_lamps(scene).sources
    features = card.features_of(packed.arrays, sources)
    program = card.Program(tuple(features.items()), 64, n_bands, len(packed.sinks))
    light, sinks = (np.zeros((2, n, n_bands), np.int64) for n in (packed.layout.n_cells, len(packed.sinks)))
    white, fetched = np.zeros(light.shape[:2], np.int64), np.zeros(2, np.int32)
    arguments = (
        single(packed.arrays), program.bvh(packed.bvh), single(sources[0]), np.zeros((5, 32), np.uint32), np.uint64(1),
        0, 1, 0, 100, fetched, light, white, sinks,
    )  # fmt: skip
    signature = tuple(typeof(argument) for argument in arguments)
    device = SimpleNamespace(compute_capability=ARCHITECTURE)
    with mock.patch.object(dispatcher, "get_current_device", lambda: device):
        ptx, _ = cuda.compile(
            program.kernel.py_func,
            signature,
            cc=ARCHITECTURE,
            output="ptx",
            device=False,
            abi="numba",
            fastmath=True,
        )
    return ptx, features


@pytest.mark.parametrize("text", [SMALL, EVERYTHING], ids=["little", "everything"])
def test_the_photon_loop_compiles_in_single_precision(text):
    ptx, features = ptx_of(text)
    assert f".target sm_{ARCHITECTURE[0]}{ARCHITECTURE[1]}" in ptx
    assert re.search(r"(red|atom)\.(global\.)?add\.u64", ptx)  # tallies are integers
    assert "fma.rn" in ptx
    assert ".f64" not in ptx
    assert all(features[name] for name in features if name != "GATHERING") is (text is EVERYTHING)


def test_triangles_are_tested_by_products_rounded_one_by_one():
    """Fused to a multiply-add, the two sides of an edge would not see the same product."""
    ptx, _ = ptx_of(EVERYTHING)
    assert len(re.findall(r"mul\.rn(\.ftz)?\.f32", ptx)) >= 12


def test_a_twin_is_its_module_in_single_precision():
    from underlit.kernels.cuda.twin import _Single

    tree = _Single().visit(ast.parse("y = 0.5 * x + 2.0**-3 + float(i) - math.pi + 3"))
    x, i = np.float32(1.0), 2
    scope = {"_single": np.float32, "_pi": np.float32(np.pi), "x": x, "i": i}
    exec(compile(tree, "twin", "exec"), scope)
    assert scope["y"].dtype == np.float32
    assert scope["y"] == pytest.approx(0.5 + 0.125 + 2.0 - np.pi + 3.0)


def test_a_twin_has_short_integers_and_indices_without_sign():
    from underlit.kernels.cuda.twin import _Single

    body = "    n, k = 3, -1\n    return np.int64(a[i, 0] + a[-1, i + n]), 2 if n else k\n"
    tree = ast.parse(f"@inlined_kernel\ndef f(a, i):\n{body}def g(a, i):\n{body}")
    kernel, plain = ast.unparse(_Single(short=True).visit(tree)).split("\n\n")
    assert "n, k = (_short(3), _short(-1))" in kernel
    assert "(_short(a[_place(i), 0] + a[-1, _place(i + n)]), _short(2) if n else k)" in kernel
    assert "a[i, 0] + a[-1, i + n]" in plain and "n, k = (3, -1)" in plain


def test_tallies_of_card_and_cpu_have_one_scale():
    source = (np.float32(2.0**30), SCALE)
    pytest.importorskip("numba_cuda", reason="numba-cuda is not installed")
    card.cuda_module()
    from underlit.kernels.cuda.twin import Twins

    assert Twins({}, {}).module("bands").SCALE == SCALE == source[0]


def test_shared_memory_holds_what_its_map_says():
    from underlit.kernels.cuda.twin import Twins

    sizes = Twins({}, {"THREADS": 64, "N_BANDS": 12, "N_SINKS": 24}).module("cuda.sizes")
    assert (sizes.LANES, sizes.STRIDE) == (16, 13)
    of_a_thread, of_a_warp, budget = 4 + 4 + 1 + 13, 3 * 32 * 2 + 5, 2 * 24 * 32
    assert 64 * of_a_thread + 2 * of_a_warp + budget + 2 * 32 + 5 + 5 * 32 == sizes.END
    assert sizes.OWN % 2 == 0  # int64


@pytest.mark.parametrize(
    ("n_bands", "lanes"), [(1, 1), (2, 2), (3, 4), (8, 8), (9, 16), (16, 16), (17, 32), (32, 32), (33, 32)]
)
def test_threads_that_share_a_packet_are_a_power_of_two_and_enough(n_bands, lanes):
    from underlit.kernels.cuda.twin import Twins

    assert lanes == Twins({}, {"N_BANDS": n_bands}).module("cuda.sizes").LANES


def test_as_many_threads_to_a_block_as_fit():
    features = dict.fromkeys(["LID"], False)
    fitting = [card.fitting_program(features, bands, 24, 99 << 10).threads for bands in (1, 31, 100, 250)]
    assert fitting == [card.THREADS, card.THREADS, card.THREADS // 2, 32]
    with pytest.raises(card.NoCardError, match="too little shared memory for 1000 bands"):
        card.fitting_program(features, 1000, 24, 99 << 10)


def test_without_a_card_the_cpu_traces_and_says_so(monkeypatch):
    def no_card():
        raise card.NoCardError("no CUDA card can be used: no driver")

    monkeypatch.setattr(card, "cuda_of_card", no_card)
    said: list[str] = []
    result = underlit.trace(from_text(SMALL), photons=20_000, device="gpu", notice=said.append)
    assert said == ["Tracing on the CPU: no CUDA card can be used: no driver."]
    usual = underlit.trace(from_text(SMALL), photons=20_000)
    assert np.array_equal(result.transport("soil"), usual.transport("soil"))


@pytest.mark.parametrize(
    "text",
    [
        "Error at driver init: Call to cuInit results in CUDA_ERROR_NO_DEVICE (100)",
        "\nError at driver init: \n\nCall to cuInit results in CUDA_ERROR_NO_DEVICE (100):",
    ],
)
def test_what_a_driver_says_is_passed_on(text, monkeypatch):
    def no_context():
        raise RuntimeError(text)

    monkeypatch.setattr(card, "cuda_module", lambda: SimpleNamespace(current_context=no_context))
    with pytest.raises(
        card.NoCardError, match=r"^no CUDA card can be used: Call to cuInit results in CUDA_ERROR"
    ):
        card.cuda_of_card()


def test_without_numba_cuda_a_sentence_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "numba_cuda", None)
    with pytest.raises(
        card.NoCardError, match=r"numba-cuda is not installed \(pip install underlit\[cuda\]\)"
    ):
        card.cuda_of_card()


def test_a_scene_too_large_for_the_card(tally, monkeypatch):
    context = SimpleNamespace(get_memory_info=lambda: (2**28, 2**33))
    device = SimpleNamespace(name=b"A card")
    cuda = SimpleNamespace(current_context=lambda: context, get_current_device=lambda: device)
    monkeypatch.setattr(card, "cuda_of_card", lambda: cuda)
    with pytest.raises(card.NoCardError, match=r"0\.2 GiB free, this scene's tallies want 0\.5 GiB"):
        card.Card(tally)


@pytest.mark.parametrize(
    ("device", "photons", "wanted"),
    [
        ("cpu", 10**9, False),
        ("gpu", 10, True),
        ("auto", 10**6, False),
        ("auto", 10**9, True),
        ("auto", None, False),
    ],
)
def test_when_a_card_is_tried(device, photons, wanted):
    assert card.wants_card(device, photons, threads=2) is wanted


def test_where_a_cpu_is_as_fast_a_card_never_pays():
    assert card.photons_that_pay(1000) == np.inf


def test_unknown_device():
    with pytest.raises(UnderlitError, match="no device 'tpu'"):
        underlit.trace(from_text(SMALL), photons=100, device="tpu")


def test_importing_the_tracer_leaves_cuda_alone():
    code = "import sys, underlit.tracer.run; assert 'underlit.kernels.cuda' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)
