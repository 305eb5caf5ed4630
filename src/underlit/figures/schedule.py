"""The light's day: how the PPFD of each zone rises, stays and falls, and what it adds up to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from underlit.figures.curves import Curve, curves_figure
from underlit.figures.style import Theme
from underlit.metrics.estimate import with_error
from underlit.metrics.zones import ZoneReport
from underlit.scene.use import Schedule


@dataclass(frozen=True)
class Day:
    """When the light rises and falls. [h]

    Attributes
    ----------
    start_h : float
        Time of day of the first light.
    hours_h : float
        From the first light to the last.
    ramp_h : float
        Of rise, and as long of fall.
    """

    start_h: float
    hours_h: float
    ramp_h: float

    @classmethod
    def of(cls, schedule: Schedule) -> Day:
        hour, minute = schedule.start.split(":")
        return cls(int(hour) + int(minute) / 60, schedule.hours, min(schedule.ramp, schedule.hours / 2))

    def corners(self) -> tuple[np.ndarray, np.ndarray]:
        """Times [h] and share of full light at the corners of the day."""
        end = self.start_h + self.hours_h
        times = np.array([self.start_h, self.start_h + self.ramp_h, end - self.ramp_h, end])
        return times, np.array([0.0, 1.0, 1.0, 0.0])


def day_figure(
    day: Day, reports: Sequence[ZoneReport], *, title: str = "", subtitle: str = "", notes: Sequence[str] = (),
    theme: str | Theme = "light",
) -> Figure:  # fmt: skip
    """Median PPFD of each zone over the day; the area under a curve is its DLI, written at its name.

    Parameters
    ----------
    day : Day
    reports : sequence of ZoneReport

    Returns
    -------
    matplotlib.figure.Figure
    """
    times, share = day.corners()
    curves = [Curve(_name(one), times, share * float(one.median.value), None, 2, False) for one in reports]
    figure = curves_figure(
        curves, x_name="time of day", y_name="median PPFD (µmol m⁻² s⁻¹)", title=title, subtitle=subtitle, notes=notes,
        theme=theme,
    )  # fmt: skip
    _clock(figure.axes[0], day)
    return figure


def _name(one: ZoneReport) -> str:
    dli = with_error(float(one.dli.value), float(one.dli.std_err))
    return f"{one.zone.plant.name}: {dli} mol m⁻² d⁻¹"


def _clock(ax: Axes, day: Day) -> None:
    """Whole hours, past midnight from nought again."""
    first, last = int(np.floor(day.start_h)), int(np.ceil(day.start_h + day.hours_h))
    step = max(1, round((last - first) / 8))
    hours = np.arange(first, last + 1, step)
    ax.set_xticks(hours, [f"{hour % 24}:00" for hour in hours])
