"""A first run compiles its kernels on two cores: the photon loop in a process of its own, the rest in this one.

The two never write to one cache: what the other process has compiled is moved in once it has ended.
"""

from __future__ import annotations

import gc
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

import numpy as np

from underlit.kernels import cache_folder

_COMMAND = [sys.executable, "-m", "underlit.tracer.warm"]
_COMPILED = "*.trace_batch-*"  # numba's files of the photon loop


def is_compiled() -> bool:
    """Whether the photon loop is in the cache, so that a trace starts at once."""
    return any(cache_folder().rglob(_COMPILED))


class PhotonLoop:
    """The photon loop while it is being compiled beside this process; use as a context.

    Where it is compiled already, or there is only one core, nothing is started. Inside such a context another one is
    the same, so that a command can have it compiled while it still reads its scene.
    """

    def __init__(self) -> None:
        self._process: subprocess.Popen | None = None
        self._folder = ""
        self.is_first = False  # whether kernels have to be compiled

    def __enter__(self) -> PhotonLoop:
        outer = _OUTER.get()
        if outer is not None:
            return outer
        _OUTER.set(self)
        self.is_first = not is_compiled()
        if self.is_first and (os.cpu_count() or 1) > 1:
            self._folder = tempfile.mkdtemp(prefix="underlit-")
            self._process = subprocess.Popen(
                _COMMAND,
                env={**os.environ, "UNDERLIT_CACHE": self._folder},
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        return self

    def __exit__(self, *_) -> None:
        if _OUTER.get() is self:
            _OUTER.set(None)
            self._end()

    def _end(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None
            shutil.rmtree(self._folder, ignore_errors=True)

    @property
    def under_way(self) -> bool:
        return self._process is not None

    def join(self) -> None:
        """Wait for it. If it came to nothing, the loop is compiled where it is first called."""
        if self._process is not None and self._process.wait() == 0:
            theirs, ours = Path(self._folder) / cache_folder().name, cache_folder()
            # Code first, then the index (.nbi) that names it.
            for path in sorted(theirs.rglob(_COMPILED), key=lambda path: path.suffix == ".nbi"):
                place = ours / path.relative_to(theirs)
                place.parent.mkdir(parents=True, exist_ok=True)
                shutil.move(path, place)
        self._end()


_OUTER: ContextVar[PhotonLoop | None] = ContextVar("photon loop under way", default=None)


@contextmanager
def no_collection() -> Iterator[None]:
    """No garbage collection: imports, a scene and above all the compiler make many objects and free few."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def blank_run() -> tuple:
    """Arguments of `trace_batch` for no photons in no scene: kernels are compiled for kinds of arrays alone."""
    from underlit.kernels.arrays import SceneArrays, SourceArrays, blank
    from underlit.kernels.batch import new_scratch
    from underlit.kernels.bvh import build_bvh
    from underlit.kernels.held import Held
    from underlit.kernels.rng import sobol_directions

    scene, source, bvh = blank(SceneArrays), blank(SourceArrays), build_bvh([], [])
    sums = np.zeros((1, 1), np.int64)
    stream = Held(scene), Held(bvh), Held(source), sobol_directions(), np.uint64(0), 0
    return *stream, 0, 0, 1.0, Held(new_scratch(1, 1, 1)), sums, sums


def main() -> None:
    """Compile the photon loop into the cache of this process."""
    from underlit.kernels.batch import trace_batch

    with no_collection():
        trace_batch(*blank_run())


if __name__ == "__main__":
    main()
