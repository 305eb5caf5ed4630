"""All contenders on the benchmark tank, in turns, so that whatever else the machine does hits them alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from benchmarks.contenders import ENTRIES
from benchmarks.merit import merits
from benchmarks.worker import Missing, Run, Worker, empty_caches

Say = Callable[[str], None]


@dataclass(frozen=True)
class Plan:
    """How much to measure.

    Parameters
    ----------
    seconds : float
        Of one run on all threads.
    rounds : int
        Runs of each contender and number of threads.
    threads : int
        What "all threads" means.
    cold : bool
        Whether to time starts with empty caches.
    clock : {"wall", "cpu"}
        "cpu" divides the processor time by the threads: for a machine that is busy with other things.
    """

    seconds: float
    rounds: int
    threads: int
    cold: bool = True
    clock: str = "wall"

    def elapsed_s(self, run: Run, threads: int) -> float:
        """Seconds that a run took, by the clock chosen."""
        return run.wall_s if self.clock == "wall" else run.cpu_s / threads


@dataclass
class Row:
    """What was measured of one contender; `why_not` names what is missing."""

    name: str
    title: str
    why_not: str = ""
    unit: str = ""
    bands: int = 1
    streams: int = 1
    start_cold_s: float = float("nan")
    start_warm_s: float = float("nan")
    peak_mb: float = float("nan")
    count: int = 0
    runs: dict[int, list[Run]] = field(default_factory=dict)

    def rates(self, plan: Plan, threads: int) -> np.ndarray:
        """Photons per second of each round."""
        return np.array([run.count / plan.elapsed_s(run, threads) for run in self.runs[threads]])

    def rate(self, plan: Plan, threads: int) -> float:
        """Median photons per second."""
        return float(np.median(self.rates(plan, threads)))

    def busy(self, threads: int) -> float:
        """Processors in use during a run: below `threads` on a machine that is busy otherwise."""
        return float(np.median([run.cpu_s / run.wall_s for run in self.runs[threads]]))

    def maps(self, threads: int) -> np.ndarray:
        """Maps of all streams of all rounds, shape (n, bands, ny, nx)."""
        return np.concatenate([run.maps for run in self.runs[threads]])

    def mean(self, threads: int) -> np.ndarray:
        """Best estimate, shape (bands, ny, nx)."""
        return self.maps(threads).mean(axis=0, dtype=np.float64)

    def merits(self, plan: Plan, mask: np.ndarray, threads: int, mean: np.ndarray) -> dict[int, float]:
        """Figure of merit by area, for runs of the photons that all threads trace in `plan.seconds`."""
        seconds = self.runs[plan.threads][0].count / self.rate(plan, threads)
        return merits(self.maps(plan.threads), mask, self.streams, seconds, mean)

    def soil_share(self, mask: np.ndarray, threads: int) -> tuple[float, float]:
        """Share of the light that lands on the open soil, and its standard error; mean over bands."""
        share = (self.maps(threads).astype(np.float64) * mask).sum(axis=(-1, -2)).mean(axis=1)
        return float(share.mean()), float(share.std(ddof=1) / np.sqrt(len(share)))


def compare(names: list[str], plan: Plan, say: Say = print) -> dict[str, Row]:
    """Measure contenders against each other.

    Parameters
    ----------
    names : list of str
        Among `ENTRIES`.
    plan : Plan
    say : callable
        Told what is going on.

    Returns
    -------
    dict of str to Row
        In the order of `names`; contenders that cannot be built here say why.
    """
    rows, workers = {}, {}
    try:
        for name in names:
            rows[name] = Row(name, ENTRIES[name].title)
            try:
                workers[name] = _started(rows[name], plan, say)
            except Missing as missing:
                rows[name].why_not = str(missing)
                say(f"{name}: skipped, {missing}")
        for name, worker in workers.items():
            rows[name].count = _calibrated(worker, plan)
            say(f"{name}: {rows[name].count:,} {rows[name].unit} a run")
        for number in range(plan.rounds):
            _round(number, rows, workers, plan)
            say(f"round {number + 1} of {plan.rounds} done")
        for name, worker in workers.items():
            rows[name].peak_mb = worker.peak_mb()
    finally:
        for worker in workers.values():
            worker.close()
    return rows


def _started(row: Row, plan: Plan, say: Say) -> Worker:
    """Start a contender: once to fill its caches, once to time; and once before with empty ones."""
    if plan.cold:
        with empty_caches():
            worker = Worker(row.name)
        row.start_cold_s = worker.start_s
        worker.close()
    Worker(row.name).close()
    worker = Worker(row.name)
    row.start_warm_s = worker.start_s
    row.unit, row.bands, row.streams = (worker.about[key] for key in ("unit", "bands", "streams"))
    cold = f"{row.start_cold_s:.1f} s cold, " if plan.cold else ""
    say(f"{row.name}: starts in {cold}{row.start_warm_s:.1f} s")
    return worker


def _calibrated(worker: Worker, plan: Plan) -> int:
    """Photons for a run of `plan.seconds` on all threads."""
    n = worker.entry.first
    for share in (0.1, 0.5, 1.0):
        run = worker.run(n, plan.threads, 1)
        n = 64 * max(1, round(run.count * share * plan.seconds / (64 * plan.elapsed_s(run, plan.threads))))
    return n


def _round(number: int, rows: dict[str, Row], workers: dict[str, Worker], plan: Plan) -> None:
    """One run of each contender, on all threads and on one; who is first changes from round to round."""
    names = list(workers)
    names = names[number % len(names) :] + names[: number % len(names)]
    for name in names:
        row = rows[name]
        for threads in sorted({plan.threads, 1}, reverse=True):
            seed = 1000 * (number + 1) + threads
            row.runs.setdefault(threads, []).append(workers[name].run(row.count, threads, seed))
