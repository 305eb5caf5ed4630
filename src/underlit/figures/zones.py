"""Plant zones: the spread of light in each against the light its plants want."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from underlit.figures.scale import PPFD_UNIT, round_up
from underlit.figures.style import LIGHT, SMALL_PT, TEXT_PT, Theme, sheet, text_width_in, theme_of, wrap

_ROW_IN, _BOTTOM_IN, _TOP_IN, _BAR_IN, _WORDS_IN = 0.42, 0.68, 0.04, 3.3, 2.1
_NAME_IN = 1.5  # at most


@dataclass(frozen=True)
class ZoneBar:
    """Light in one zone. [umol m-2 s-1]

    Attributes
    ----------
    name : str
    low, high, target, ceiling : float
        Wanted range, wanted median, and what not to pass.
    p10, median, p90, median_err : float
        What a tenth, half and nine tenths of the area stay below; standard error of the median.
    words : str
        Verdict, to the right of the bar.
    """

    name: str
    low: float
    high: float
    target: float
    ceiling: float
    p10: float
    median: float
    p90: float
    median_err: float
    words: str = ""


def zones_figure(
    bars: Sequence[ZoneBar], *, title: str = "", subtitle: str = "", notes: Sequence[str] = (),
    theme: str | Theme = "light",
) -> Figure:  # fmt: skip
    """All zones on a page.

    Parameters
    ----------
    bars : sequence of ZoneBar

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    longest = max((text_width_in(bar.name, TEXT_PT) for bar in bars), default=0.0)
    name = min(longest + 0.12, _NAME_IN)
    height = len(bars) * _ROW_IN
    with theme.context():
        width = name + _BAR_IN + 0.15 + _WORDS_IN
        page = sheet(width, _BOTTOM_IN + height + _TOP_IN, title, subtitle, notes, theme)
        draw_zones(bars, page.axes(name, _BOTTOM_IN, _BAR_IN, height), theme=theme, words_in=_WORDS_IN)
    return page.figure


def draw_zones(
    bars: Sequence[ZoneBar], ax: Axes, *, theme: Theme = LIGHT, words_in: float = _WORDS_IN
) -> Axes:
    """One row for each zone on the axes given: wanted range, spread, median and ceiling."""
    top = round_up(1.02 * max(max(bar.p90, bar.high, bar.ceiling) for bar in bars))
    for i, bar in enumerate(bars):
        ax.add_patch(
            Rectangle((bar.low, i - 0.36), bar.high - bar.low, 0.72, fc=theme.plant, ec="none", alpha=0.25)
        )
        ax.plot([bar.target] * 2, [i - 0.36, i + 0.36], color=theme.plant, lw=1.2)
        ax.plot([bar.p10, bar.p90], [i, i], color=theme.ink, lw=3.0, solid_capstyle="butt")
        ax.errorbar(
            bar.median, i, xerr=bar.median_err, fmt="o", ms=6, color=theme.paper, mec=theme.ink, mew=1.4,
            ecolor=theme.ink, elinewidth=0.9, capsize=2, zorder=4,
        )  # fmt: skip
        ax.plot([bar.ceiling] * 2, [i - 0.3, i + 0.3], color=theme.alarm, lw=1.4, ls=(0, (2, 1.2)))
        ax.annotate(
            "\n".join(wrap(bar.words, words_in, SMALL_PT)[:3]), (1, i), xycoords=("axes fraction", "data"),
            xytext=(8, 0), textcoords="offset points", va="center", fontsize=SMALL_PT, color=theme.muted,
            annotation_clip=False, parse_math=False,
        )  # fmt: skip
    ax.set(xlim=(0, top), ylim=(len(bars) - 0.5, -0.5))
    names = ["\n".join(wrap(bar.name, _NAME_IN - 0.12, TEXT_PT)[:2]) for bar in bars]
    ax.set_yticks(np.arange(len(bars)), names, fontsize=TEXT_PT, parse_math=False)
    ax.tick_params(axis="y", length=0)
    ax.spines[["top", "right", "left"]].set_visible(False)
    ax.set_xlabel(f"PPFD ({PPFD_UNIT})", labelpad=2)
    _key(ax, len(bars), theme)
    return ax


def _key(ax: Axes, n_rows: int, theme: Theme) -> None:
    handles = [
        Patch(fc=theme.plant, alpha=0.25), Line2D([], [], color=theme.plant, lw=1.2),
        Line2D([], [], color=theme.ink, lw=3.0),
        Line2D([], [], marker="o", ms=5, color=theme.paper, mec=theme.ink),
        Line2D([], [], color=theme.alarm, lw=1.4, ls=(0, (2, 1.2))),
    ]  # fmt: skip
    names = ["wanted", "target", "middle 80 % of the area", "median", "ceiling"]
    ax.legend(
        handles, names, loc="upper left", bbox_to_anchor=(0.0, -0.46 / (n_rows * _ROW_IN)), ncols=5,
        frameon=False,
        fontsize=SMALL_PT, labelcolor=theme.muted, borderaxespad=0, borderpad=0, handlelength=1.6,
        columnspacing=1.2,
    )  # fmt: skip
