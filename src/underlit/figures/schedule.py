"""The light's day: how the PPFD of each zone rises, stays and falls, and what it adds up to."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from underlit.figures.curves import Curve, curves_figure
from underlit.figures.style import Theme
from underlit.metrics.estimate import with_error
from underlit.metrics.zones import ZoneReport
from underlit.scene.use import Schedule


def day_figure(
    day: Schedule, reports: Sequence[ZoneReport], *, title: str = "", subtitle: str = "", notes: Sequence[str] = (),
    theme: str | Theme = "light",
) -> Figure:  # fmt: skip
    """Median PPFD of each zone over the day; the area under a curve is its DLI, written at its name.

    Parameters
    ----------
    day : Schedule
    reports : sequence of ZoneReport

    Returns
    -------
    matplotlib.figure.Figure
    """
    times, share = (np.array(each) for each in day.corners())
    times, share = np.r_[times[0], times, times[-1]], np.r_[0.0, share, 0.0]  # dark outside
    curves = [Curve(_name(one), times, share * float(one.median.value), None, 2, False) for one in reports]
    figure = curves_figure(
        curves, x_name="time of day", y_name="median PPFD (µmol m⁻² s⁻¹)", title=title, subtitle=subtitle, notes=notes,
        theme=theme,
    )  # fmt: skip
    _clock(figure.axes[0], float(times[0]), float(times[-1]))
    return figure


def _name(one: ZoneReport) -> str:
    dli = with_error(float(one.dli.value), float(one.dli.std_err))
    return f"{one.zone.plant.name}: {dli} mol m⁻² d⁻¹"


def _clock(ax: Axes, start_h: float, end_h: float) -> None:
    """Whole hours, past midnight from nought again."""
    first, last = int(np.floor(start_h)), int(np.ceil(end_h))
    step = max(1, round((last - first) / 8))
    hours = np.arange(first, last + 1, step)
    ax.set_xticks(hours, [f"{hour % 24}:00" for hour in hours])
