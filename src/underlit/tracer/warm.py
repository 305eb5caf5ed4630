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


class PhotonLoop:
    """The photon loop while it is being compiled beside this process; use as a context.

    Where it is compiled already, or there is only one core, nothing is started.
    """

    def __init__(self) -> None:
        self._process: subprocess.Popen | None = None
        self._folder = ""

    def __enter__(self) -> PhotonLoop:
        if (os.cpu_count() or 1) > 1 and not any(cache_folder().rglob(_COMPILED)):
            self._folder = tempfile.mkdtemp(prefix="underlit-")
            self._process = subprocess.Popen(
                _COMMAND,
                env={**os.environ, "UNDERLIT_CACHE": self._folder},
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        return self

    def __exit__(self, *_) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            shutil.rmtree(self._folder, ignore_errors=True)

    @property
    def under_way(self) -> bool:
        return self._process is not None

    def join(self) -> None:
        """Wait for it. If it came to nothing, the loop is compiled where it is first called."""
        if self._process is None or self._process.wait() != 0:
            return
        theirs, ours = Path(self._folder) / cache_folder().name, cache_folder()
        # Code first, then the index (.nbi) that names it.
        for path in sorted(theirs.rglob(_COMPILED), key=lambda path: path.suffix == ".nbi"):
            place = ours / path.relative_to(theirs)
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.move(path, place)


def main() -> None:
    """Compile the photon loop into the cache of this process."""
    from underlit.scene.loader import from_text
    from underlit.tracer.cores import Cores
    from underlit.tracer.pack import pack
    from underlit.tracer.sources import build_lamps
    from underlit.tracer.tally import Tally

    gc.disable()  # the compiler makes many objects and frees few
    scene = from_text(_SCENE)
    with Cores(Tally(pack(scene), build_lamps(scene), 1, 1), 1) as cores:
        cores.compile_tracing()


if __name__ == "__main__":
    main()
