"""The estimate as it converges: a live line on a terminal, now and then a plain one elsewhere."""

from __future__ import annotations

import math
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.live import Live
    from rich.table import Table

    from underlit.tracer.run import Progress

PLAIN_EVERY_S = 10.0
STARTING = "Starting."
COMPILING = "Starting. The first trace after an install compiles its kernels, which takes 10 to 20 seconds."
BAR = 24


class Meter:
    """Shows how far a trace has come.

    Parameters
    ----------
    screen : rich.console.Console
    quiet : bool
        Show nothing.
    compiles : bool
        Whether kernels must be compiled first, which takes a while.
    """

    def __init__(self, screen: Console, quiet: bool, compiles: bool = False) -> None:
        self._screen, self._quiet, self._compiles = screen, quiet, compiles
        self._live: Live | None = None
        self._printed_s = -math.inf
        self._last: Progress | None = None

    def __enter__(self) -> Meter:
        if self._quiet:
            return self
        if self._screen.is_terminal:
            from rich.live import Live

            text = COMPILING if self._compiles else STARTING
            self._live = Live(text, console=self._screen, refresh_per_second=4).__enter__()
        elif self._compiles:
            self._screen.print(COMPILING, highlight=False, soft_wrap=True)
        return self

    def __exit__(self, *fault: object) -> None:
        if self._live is not None:
            self._live.__exit__(None, None, None)
        elif self._last is not None and not self._quiet:
            self._screen.print(line(self._last), highlight=False, soft_wrap=True)

    def update(self, progress: Progress) -> None:
        """Take in the state after one more layer."""
        self._last = progress
        if self._quiet:
            return
        if self._live is not None:
            self._live.update(table(progress))
        elif time.monotonic() - self._printed_s > PLAIN_EVERY_S:
            self._printed_s = time.monotonic()
            self._screen.print(line(progress), highlight=False, soft_wrap=True)


def table(progress: Progress) -> Table:
    """The state of a trace, for a terminal."""
    from rich.table import Table

    done = progress.share_done
    grid = Table(box=None, show_header=False, pad_edge=False)
    grid.add_row("light on the soil", f"[bold]{_ppfd(progress)}[/]  (PPFD, median cell)")
    grid.add_row("standard error", f"{_error(progress)}")
    grid.add_row("photons", f"{_count(progress.photons)}, {_count(_rate(progress))} a second")
    grid.add_row("time", f"{_time(progress.seconds)}, about {_time(remaining_s(progress))} left")
    full = round(BAR * done)
    grid.add_row("", f"[green]{'━' * full}[/][dim]{'━' * (BAR - full)}[/] {100 * done:.0f} %")
    return grid


def line(progress: Progress) -> str:
    """The state of a trace in one line."""
    return (
        f"{_count(progress.photons)} photons in {_time(progress.seconds)} ({_count(_rate(progress))} a second), "
        f"median soil cell {_ppfd(progress)}, standard error {_error(progress)}"
    )


def remaining_s(progress: Progress) -> float:
    """Time left, if it goes on as it went. [s]"""
    done = progress.share_done
    return progress.seconds * (1 / done - 1) if done > 0 else math.inf


def _rate(progress: Progress) -> float:
    return progress.photons / max(progress.seconds, 1e-9)


def _ppfd(progress: Progress) -> str:
    from underlit.metrics.estimate import with_error

    error = progress.rel_err * progress.median_ppfd
    return f"{with_error(progress.median_ppfd, error)} µmol m⁻² s⁻¹"


def _error(progress: Progress) -> str:
    reached = f"{100 * progress.rel_err:.2g} %" if math.isfinite(progress.rel_err) else "unknown yet"
    return reached if progress.target is None else f"{reached}, {100 * progress.target:.2g} % asked"


def _count(number: float) -> str:
    for size, letter in ((1e9, " G"), (1e6, " M"), (1e3, " k")):
        if number >= size:
            return f"{number / size:.3g}{letter}"
    return f"{number:.0f}"


def _time(seconds: float) -> str:
    if not math.isfinite(seconds):
        return "?"
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 5400:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"
