"""Traces of a study, kept in its folder: what has been traced once is not traced again.

A trace is named by a digest of all that decides its photons: the scene's text, the files it names, the number of
photons, the seed and the program. A file is written under another name first, so what is there is whole.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import underlit
from underlit.errors import ResultError, StudyError
from underlit.results.result import Result
from underlit.scene.faults import written
from underlit.scene.files import file_digests, files_of, plain
from underlit.scene.model import Scene

if TYPE_CHECKING:
    from underlit.scene.world import World
    from underlit.tracer import Progress

PHOTONS = 4_000_000  # of each trace of a study, where nothing else is asked for

# What no photon notices: colour and amount of a lamp's light, names, money, time. Light adds up, so these are applied
# to a finished trace. (How many photons each lamp gets is settled by the scene that was traced.)
_LAMPS_BOOKS = ("price", "l70_hours")
_CHANNELS_BOOKS = ("name", "spectrum", "power", "efficacy", "lumens", "flux", "reading", "dim")
_SCENES_BOOKS = ("title", "notes", "schedule")


@dataclass(frozen=True, eq=False)
class Job:
    """One trace to be made.

    Parameters
    ----------
    scene : Scene
    photons, seed : int
    """

    scene: Scene = field(repr=False)
    photons: int
    seed: int

    @cached_property
    def key(self) -> str:
        """Digest of all that decides the outcome."""
        facts = [underlit.__version__, self.scene.text, self.photons, self.seed]
        return digest([*facts, *sorted(file_digests(self.scene).items())])

    def trace(
        self,
        threads: int | None = None,
        world: World | None = None,
        progress: Callable[[Progress], None] | None = None,
    ) -> Result:
        """Trace it; Ctrl-C leaves nothing."""
        from underlit.tracer import trace

        found = trace(
            self.scene, photons=self.photons, seed=self.seed, threads=threads, world=world, progress=progress
        )
        if found.stop_reason == "interrupted":
            raise KeyboardInterrupt
        return replace(found, scene_file=self.scene.name)


class Store:
    """The traces of a study in a folder, which is made if need be.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            reason = (fault.strerror or str(fault)).lower()
            raise StudyError(f"the folder cannot be made: {reason}.", where=str(folder)) from fault

    def path(self, job: Job) -> Path:
        """Where the trace of a job is kept."""
        return self.folder / f"{job.key[:16]}.h5"

    def get(self, job: Job) -> Result | None:
        """The trace of a job, if it has been made; a file that cannot be read is as good as none."""
        if not self.path(job).is_file():
            return None
        try:
            found = Result.open(self.path(job))
        except ResultError:
            return None
        return found if (found.scene_text, found.seed) == (job.scene.text, job.seed) else None

    def put(self, job: Job, result: Result) -> None:
        """Keep the trace of a job."""
        result.save(self.path(job))

    def put_bytes(self, job: Job, image: bytes) -> None:
        """Keep the trace of a job that came as the bytes of its file."""
        write_bytes(self.path(job), image)


def run_all(
    jobs: list[Job],
    store: Store,
    *,
    threads: int | None = None,
    progress: Callable[[int, Progress], None] | None = None,
    worlds: Worlds | None = None,
) -> Iterator[tuple[Job, Result]]:
    """Trace the jobs that the store lacks, one after the other on all cores; shapes that stay are made once.

    Parameters
    ----------
    jobs : list of Job
    store : Store
    threads : int, optional
        Default all cores.
    progress : callable, optional
        Called with the number of the job and its `Progress`.
    worlds : Worlds, optional
        Shapes that are there already.

    Yields
    ------
    (Job, Result)
        In the order of the jobs.
    """
    worlds = worlds or Worlds()
    for number, job in enumerate(jobs):
        found = store.get(job)
        if found is None:
            world = worlds.of(job.scene)
            report = None if progress is None else _numbered(progress, number)
            found = job.trace(threads, world, report)
            store.put(job, found)
        yield job, found


def write_text(path: Path, text: str) -> None:
    """Write a text file, whole or not at all."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file, whole or not at all.

    Raises
    ------
    StudyError
        If it cannot be written.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(content)
        os.replace(part, path)
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise StudyError(f"the file cannot be written: {reason}.", where=str(path)) from fault
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def write_scene(scene: Scene, path: Path) -> None:
    """Write a scene with the files that it names, so that it can be traced where it is.

    Files within the scene's folder are copied to the same places beside the scene; others keep their place, and the
    scene names it in full.

    Parameters
    ----------
    scene : Scene
    path : Path

    Raises
    ------
    StudyError
        If something cannot be written.
    """
    text, home = scene.text, path.parent.resolve()
    for name in files_of(scene):
        source = scene.file(name).resolve()
        target = (home / name).resolve()
        if not target.is_relative_to(home):
            text = text.replace(written(name), written(source.as_posix()))
        elif target != source:
            write_bytes(target, source.read_bytes())
    write_text(path, text)


def _numbered(progress: Callable[[int, Progress], None], number: int) -> Callable[[Progress], None]:
    return lambda state: progress(number, state)


class Worlds:
    """Soil and hardscape of scenes; the last ones are kept, for scenes that share them."""

    def __init__(self) -> None:
        self._key = ""
        self._world: World | None = None

    def of(self, scene: Scene) -> World:
        """Soil and hardscape of a scene."""
        from underlit.scene.world import build_world

        shapes = plain((scene.tank, scene.substrate, scene.hardscape))
        key = digest([shapes, *sorted(file_digests(scene).items())])
        if self._world is None or key != self._key:
            self._key, self._world = key, build_world(scene)
        return self._world


def light_key(scene: Scene) -> str:
    """Digest of all that decides where photons go; equal for scenes that need but one trace."""
    every = plain(scene)
    for word in _SCENES_BOOKS:
        every.pop(word)
    for lamp in every["fixture"]:
        lamp["channel"] = [_without(channel, _CHANNELS_BOOKS) for channel in lamp["channel"]]
    every["fixture"] = [_without(lamp, _LAMPS_BOOKS) for lamp in every["fixture"]]
    if every["window"]:
        every["window"] = _without(every["window"], ("spectrum", "exitance"))
    return digest([every, *sorted(file_digests(scene).items())])


def relit(result: Result, scene: Scene) -> Result:
    """A trace under the lamps of another scene, equal in all that decides where photons go (see `light_key`)."""
    if result.scene_text == scene.text:
        return result
    from underlit.tracer.sources import build_lamps

    channels = build_lamps(scene).channels
    return replace(result, scene_text=scene.text, scene_file=scene.name, channels=list(channels))


def _without(table: dict[str, Any], words: tuple[str, ...]) -> dict[str, Any]:
    return {word: value for word, value in table.items() if word not in words}


def digest(parts: list[Any]) -> str:
    """SHA-256 of plain values, as hexadecimal digits."""
    return hashlib.sha256(json.dumps(parts, sort_keys=True, default=str).encode()).hexdigest()
