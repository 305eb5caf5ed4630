"""The photon loop compiled beside a first run: what is started, and what is moved into the cache."""

import sys
from pathlib import Path

import pytest
from numba import typeof

from underlit.kernels import cache_folder
from underlit.scene import load_scene
from underlit.tracer import cores, warm
from underlit.tracer.pack import pack
from underlit.tracer.sources import build_lamps
from underlit.tracer.tally import Tally

SCENES = sorted((Path(__file__).parents[2] / "scenes").glob("*/scene.toml"))


def cached(monkeypatch, tmp_path):
    folder = tmp_path / "ours" / cache_folder().name
    monkeypatch.setattr(warm, "cache_folder", lambda: folder)
    return folder


def test_nothing_is_started_where_all_is_compiled(monkeypatch, tmp_path):
    index = cached(monkeypatch, tmp_path) / "kernels" / "batch.trace_batch-1.nbi"
    index.parent.mkdir(parents=True)
    index.touch()
    with warm.PhotonLoop() as loop:
        assert not loop.under_way


def test_a_trace_takes_over_what_its_command_has_started(monkeypatch, tmp_path):
    monkeypatch.setattr(warm.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(warm, "_COMMAND", [sys.executable, "-c", "import time; time.sleep(60)"])
    cached(monkeypatch, tmp_path)
    with warm.PhotonLoop() as outer:
        with warm.PhotonLoop() as inner:
            assert inner is outer
        assert outer.under_way
    assert not outer.under_way
    with warm.PhotonLoop() as later:
        assert later is not outer


def compiler(monkeypatch, tmp_path, program):
    monkeypatch.setattr(warm.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(warm, "_COMMAND", [sys.executable, "-c", program])
    ours = cached(monkeypatch, tmp_path)
    with warm.PhotonLoop() as loop:
        assert loop.under_way
        loop.join()
        assert not loop.under_way
    return {path.name: path.read_text() for path in ours.rglob("*") if path.is_file()}


WRITE = f"""
import os, pathlib
folder = pathlib.Path(os.environ["UNDERLIT_CACHE"], "{cache_folder().name}", "kernels")
folder.mkdir(parents=True)
for name in ("batch.trace_batch-1.nbi", "batch.trace_batch-1.1.nbc", "box.slab-1.nbi"):
    folder.joinpath(name).write_text(name)
"""


def test_the_loop_alone_is_moved_in(monkeypatch, tmp_path):
    found = compiler(monkeypatch, tmp_path, WRITE)
    assert found == {name: name for name in ("batch.trace_batch-1.nbi", "batch.trace_batch-1.1.nbc")}


def test_a_compiler_that_fails_leaves_nothing(monkeypatch, tmp_path):
    assert compiler(monkeypatch, tmp_path, WRITE + "raise SystemExit(1)") == {}


@pytest.mark.parametrize("path", SCENES, ids=lambda path: path.parent.name)
def test_it_is_compiled_for_what_a_trace_calls_it_with(path, monkeypatch):
    called = []
    monkeypatch.setattr(cores, "trace_batch", lambda *args: called.append([typeof(arg) for arg in args]))
    scene = load_scene(path)
    with cores.Cores(Tally(pack(scene), build_lamps(scene), 1, 1), 1) as engine:
        engine.compile_tracing()
    assert called == [[typeof(arg) for arg in warm.blank_run()]]
