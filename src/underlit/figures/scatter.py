"""What was measured against what was to be expected: points about the line of agreement."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from underlit.figures.scale import round_up
from underlit.figures.style import SMALL_PT, Theme, sheet, theme_of

_LEFT_IN, _BOTTOM_IN, _SIDE_IN = 0.6, 0.44, 3.6


def scatter_figure(
    expected: np.ndarray, measured: np.ndarray, std_err: np.ndarray, *, doubtful: np.ndarray, name: str,
    title: str = "", subtitle: str = "", notes: Sequence[str] = (), theme: str | Theme = "light",
) -> Figure:  # fmt: skip
    """Measured values over expected ones, with the line where both agree.

    Parameters
    ----------
    expected, measured, std_err : ndarray, shape (n,)
        In one unit; the error is that of a measured value.
    doubtful : ndarray of bool, shape (n,)
        Points to draw as crosses.
    name : str
        Quantity and unit, for both axes.

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    top = round_up(1.05 * float(max(np.max(expected), np.max(measured + std_err))))
    with theme.context():
        page = sheet(_LEFT_IN + _SIDE_IN + 0.3, _BOTTOM_IN + _SIDE_IN, title, subtitle, notes, theme)
        ax = page.axes(_LEFT_IN, _BOTTOM_IN, _SIDE_IN, _SIDE_IN)
        ax.plot([0, top], [0, top], color=theme.muted, lw=0.9, ls=(0, (4, 2)), zorder=1)
        ax.annotate(
            "agreement", (top, top), xytext=(-24, -8), textcoords="offset points", ha="right",
            fontsize=SMALL_PT, color=theme.muted,
        )  # fmt: skip
        for members, marker, colour in ((~doubtful, "o", theme.ink), (doubtful, "x", theme.alarm)):
            ax.errorbar(
                expected[members], measured[members], yerr=std_err[members], color=colour, ls="", marker=marker,
                ms=4, elinewidth=0.8, capsize=1.8,
            )  # fmt: skip
        ax.set(xlim=(0, top), ylim=(0, top))
        ax.spines[["top", "right"]].set_visible(False)
        ax.set_xlabel(f"Fitted: {name}", labelpad=2)
        ax.set_ylabel(f"Read: {name}", labelpad=3)
    return page.figure
