"""Light beside a pane in several states, traced and as optics has it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator

from underlit.figures.curves import Curve
from underlit.figures.scale import PPFD_UNIT
from underlit.figures.style import DARK, LIGHT, SMALL_PT, Theme, sheet, theme_of

# Hues that differ in lightness too, each with a marker of its own.
_POINTS = (
    ("#1b4f8a", "#8ab4ea", "o", 7.5),  # a ring round the second, which may lie on it
    ("#c06a14", "#f0b068", "s", 3.4),
    ("#6b6f73", "#b3babe", "v", 4.0),
    ("#2f8f57", "#79cc9b", "^", 4.0),
    ("#8a2f6b", "#e39ccb", "D", 3.4),
)
_DASHES = ("-", (0, (5, 1.5)), (0, (1, 1.2)))
_LEFT_IN, _BOTTOM_IN, _WIDE_IN, _TALL_IN, _KEY_IN = 0.6, 0.44, 4.4, 3.0, 2.6


@dataclass(frozen=True)
class Beside:
    """Light on the soil beside a pane; x of all curves in metres from the pane, y in umol m-2 s-1.

    Attributes
    ----------
    traced : tuple of Curve
        One for each state of the pane, with standard errors.
    expected : tuple of Curve
        What closed forms give, without errors.
    """

    traced: tuple[Curve, ...]
    expected: tuple[Curve, ...]


def wall_figure(
    data: Beside, *, title: str = "", subtitle: str = "", notes: Sequence[str] = (), theme: str | Theme = "light"
) -> Figure:  # fmt: skip
    """Light beside a pane on a page of its own.

    Parameters
    ----------
    data : Beside

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    with theme.context():
        width, height = _LEFT_IN + _WIDE_IN + _KEY_IN, _BOTTOM_IN + _TALL_IN
        page = sheet(width, height, title, subtitle, notes, theme)
        draw_wall(data, page.axes(_LEFT_IN, _BOTTOM_IN, _WIDE_IN, _TALL_IN), theme=theme)
    return page.figure


def draw_wall(data: Beside, ax: Axes, *, theme: Theme = LIGHT) -> Axes:
    """Points with their errors over lines of what is expected, on the axes given."""
    for curve, dash in zip(data.expected, _DASHES, strict=False):
        ax.plot(100 * curve.x, curve.y, color=theme.ink, lw=0.9, ls=dash, label=curve.name, zorder=1)
    for i, (curve, (light, dark, marker, size)) in enumerate(zip(data.traced, _POINTS, strict=False)):
        ax.errorbar(
            100 * curve.x, curve.y, yerr=curve.std_err, color=dark if theme is DARK else light, ls="none",
            marker=marker, ms=size, mfc="none" if i == 0 else None, elinewidth=0.9, capsize=1.8, label=curve.name,
            zorder=3,
        )  # fmt: skip
    top = max(float(np.max(curve.y)) for curve in (*data.traced, *data.expected))
    ax.set(xlim=(0, None), ylim=(0, 1.08 * top))
    ax.xaxis.set_major_locator(MultipleLocator(5))
    ax.spines[["top", "right"]].set_visible(False)
    ax.set_xlabel("distance from the pane (cm)", labelpad=2)
    ax.set_ylabel(f"PPFD on the soil ({PPFD_UNIT})", labelpad=3)
    ax.legend(
        loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, fontsize=SMALL_PT, labelcolor=theme.ink,
        borderaxespad=0, handlelength=2.0,
    )  # fmt: skip
    return ax
