"""A contender in a process of its own: its start-up and memory are its alone, and no library disturbs another."""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from benchmarks.contenders import ENTRIES


class Missing(Exception):
    """A contender that cannot be built here, and why."""


@dataclass(frozen=True)
class Run:
    """One timed run.

    Parameters
    ----------
    maps : ndarray, shape (streams, bands, ny, nx)
    count : int
        Photons or paths.
    wall_s, cpu_s : float
        Elapsed; used by all threads and child processes.
    """

    maps: np.ndarray
    count: int
    wall_s: float
    cpu_s: float


class Worker:
    """A contender's process.

    Parameters
    ----------
    name : str
        Among `ENTRIES`.

    Attributes
    ----------
    start_s : float
        From nothing to the first small map, the interpreter's start included.
    """

    def __init__(self, name: str) -> None:
        self.entry = ENTRIES[name]
        context = get_context("spawn")
        self._pipe, theirs = context.Pipe()
        start = time.perf_counter()
        self._process = context.Process(target=_serve, args=(theirs, name))
        self._process.start()
        theirs.close()
        try:
            self.about = self._answer()
        except Exception:
            self.close()
            raise
        self.start_s = time.perf_counter() - start

    def run(self, n: int, threads: int, seed: int) -> Run:
        """Trace about `n` photons."""
        self._pipe.send((n, threads, seed))
        return self._answer()

    def peak_mb(self) -> float:
        """Peak resident memory of the process so far. [MB]"""
        self._pipe.send("memory")
        return self._answer()

    def close(self) -> None:
        """End the process."""
        if self._process.is_alive():
            try:
                self._pipe.send(None)
            except OSError:
                self._process.terminate()
        self._process.join()

    def _answer(self):
        try:
            answer = self._pipe.recv()
        except (EOFError, ConnectionResetError):
            self._process.join()
            raise Missing(f"its process ended with code {self._process.exitcode}") from None
        if isinstance(answer, Exception):
            raise answer
        return answer


@contextmanager
def empty_caches():
    """Start processes as on a machine where nothing has been compiled yet."""
    names = ("HOME", "XDG_CACHE_HOME", "UNDERLIT_CACHE")
    kept = {name: os.environ.get(name) for name in names}
    with tempfile.TemporaryDirectory() as folder:
        os.environ.update(dict.fromkeys(names, folder))
        try:
            yield
        finally:
            for name, value in kept.items():
                os.environ.pop(name) if value is None else os.environ.update({name: value})


def _serve(pipe, name: str) -> None:
    """The process: build, then answer until told to stop."""
    try:
        contender = ENTRIES[name].build()
        contender.run(ENTRIES[name].first, 1, 1)
        pipe.send({"unit": contender.unit, "streams": contender.streams, "bands": contender.bands})
    except ImportError as error:
        pipe.send(Missing(str(error)))
        return
    while (request := pipe.recv()) is not None:
        pipe.send(peak_mb() if request == "memory" else _timed(contender, *request))


def _timed(contender, n: int, threads: int, seed: int) -> Run:
    wall, cpu = time.perf_counter(), _cpu_s()
    maps = contender.run(n, threads, seed)
    wall, cpu = time.perf_counter() - wall, _cpu_s() - cpu
    count = contender.counted(n) if hasattr(contender, "counted") else n
    return Run(np.asarray(maps, np.float32), count, wall, cpu)


def _cpu_s() -> float:
    usage = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in usage)


def peak_mb() -> float:
    """Peak resident memory of this process. [MB]"""
    try:
        # `ru_maxrss` counts from before a program was started: a child begins with the peak of its parent.
        status = Path("/proc/self/status").read_text()
        return int(status.split("VmHWM:")[1].split()[0]) / 1024.0
    except OSError:
        unit = 2**20 if sys.platform == "darwin" else 2**10
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
