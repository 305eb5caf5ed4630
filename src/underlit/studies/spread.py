"""Traces spread over processes or machines through Dask: same photons, same bits.

A job travels as the text of its scene with the files that it names, and comes back as the bytes of a result file. A
worker that dies takes nothing with it but the trace in its hands, and that goes to another worker.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from underlit.errors import StudyError
from underlit.results.result import Result
from underlit.scene.files import files_of
from underlit.studies.store import Job, Store


@dataclass(frozen=True)
class Parcel:
    """A job as it travels.

    Parameters
    ----------
    text, name : str
        The scene, and what it is called.
    files : dict of str to bytes
        The files that it names.
    photons, seed : int
    """

    text: str
    name: str
    files: dict[str, bytes]
    photons: int
    seed: int

    @classmethod
    def of(cls, job: Job) -> Parcel:
        """Pack up a job."""
        scene = job.scene
        files = {name: scene.file(name).read_bytes() for name in files_of(scene)}
        return cls(scene.text, scene.name, files, job.photons, job.seed)

    def trace(self, threads: int | None = None) -> bytes:
        """Trace it here; the bytes of the result file."""
        from underlit.scene import scene_from_text

        with tempfile.TemporaryDirectory(prefix="underlit-") as place:
            folder = Path(place)
            for name, content in self.files.items():
                target = (folder / name).resolve()
                if not target.is_relative_to(folder.resolve()):
                    raise StudyError(
                        f"`{name}` lies outside the folder of the scene.",
                        hint="Only what lies in that folder travels to other machines: move it there.",
                    )
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(content)
            job = Job(scene_from_text(self.text, folder, self.name), self.photons, self.seed)
            job.trace(threads).save(folder / "result.h5")
            return (folder / "result.h5").read_bytes()


def run_all(
    jobs: list[Job],
    store: Store,
    *,
    address: str | None = None,
    workers: int | None = None,
    client: Any = None,
) -> Iterator[tuple[Job, Result]]:
    """Trace the jobs that the store lacks on all workers of a Dask cluster.

    Parameters
    ----------
    jobs : list of Job
    store : Store
        On this machine; the workers need no access to it.
    address : str, optional
        Of a running scheduler, such as `tcp://big-machine:8786`; default workers on this machine.
    workers : int, optional
        How many to start on this machine; default one for each core.
    client : dask.distributed.Client, optional
        One that is there already.

    Yields
    ------
    (Job, Result)
        What is on file first, then each as it is done.

    Raises
    ------
    StudyError
        If Dask is not installed, or no scheduler answers.
    """
    waiting = []
    for job in jobs:
        found = store.get(job)
        if found is None:
            waiting.append(job)
        else:
            yield job, found
    if not waiting:
        return
    with _client(address, workers, client) as cluster:
        yield from _spread(waiting, store, cluster)


def _spread(jobs: list[Job], store: Store, client: Any) -> Iterator[tuple[Job, Result]]:
    from dask.distributed import as_completed

    tasks = {client.submit(_traced, Parcel.of(job), key=f"trace-{job.key}", pure=True): job for job in jobs}
    for task in as_completed(list(tasks)):
        job = tasks[task]
        store.put_bytes(job, task.result())
        found = store.get(job)
        assert found is not None
        task.release()
        yield job, found


def _traced(parcel: Parcel) -> bytes:
    """Trace on a worker, with as many threads as it has."""
    from dask.distributed import get_worker

    return parcel.trace(get_worker().state.nthreads)


@contextmanager
def _client(address: str | None, workers: int | None, client: Any) -> Iterator[Any]:
    if client is not None:
        yield client
        return
    try:
        from dask.distributed import Client, LocalCluster
    except ImportError:
        raise StudyError(
            "Dask is not installed.", hint="Install it with `pip install underlit[dask]`."
        ) from None
    if address is None:
        with (
            LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None) as here,
            Client(here) as made,
        ):
            yield made
        return
    try:
        made = Client(address, timeout="10s")
    except (OSError, ValueError) as fault:
        raise StudyError(
            f"no Dask scheduler answers at `{address}`.", hint="Start one with `dask scheduler`, and workers."
        ) from fault
    with made:
        yield made
