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

from underlit.kernels import cache_folder

# Any scene will do: kernels are compiled for kinds of arrays, not for what is in them.
_SCENE = """
[tank]
length = "20 cm"
width = "20 cm"
height = "20 cm"
[[fixture]]
shape = "panel"
size = ["10 cm", "10 cm"]
height = "10 cm"
[[fixture.channel]]
spectrum = "D65"
power = "1 W"
efficacy = "1 umol/J"
[run]
planes = []
"""
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


def main() -> None:
    """Compile the photon loop into the cache of this process."""
    from underlit.scene.loader import from_text
    from underlit.tracer.cores import Cores
    from underlit.tracer.pack import pack
    from underlit.tracer.sources import build_lamps
    from underlit.tracer.tally import Tally

    scene = from_text(_SCENE)
    with no_collection(), Cores(Tally(pack(scene), build_lamps(scene), 1, 1), 1) as cores:
        cores.compile_tracing()


if __name__ == "__main__":
    main()
