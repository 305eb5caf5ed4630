"""Curves with their errors: what changes as a lamp is raised, dimmed, or a tank is filled with colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from underlit.figures.labels import Placer
from underlit.figures.scale import Band
from underlit.figures.style import DARK, LIGHT, SMALL_PT, Theme, sheet, text_width_in, theme_of

# Hues that differ in lightness too, each with a dash and a marker of its own.
_LINES = (
    ("#1b4f8a", "#8ab4ea", "-", "o"),
    ("#c06a14", "#f0b068", (0, (5, 1.5)), "s"),
    ("#2f8f57", "#79cc9b", (0, (2, 1.2)), "^"),
    ("#8a2f6b", "#e39ccb", (0, (6, 1.5, 1, 1.5)), "D"),
    ("#6b6f73", "#b3babe", (0, (1, 1.2)), "v"),
)
_LEFT_IN, _BOTTOM_IN, _WIDE_IN, _TALL_IN = 0.6, 0.44, 4.4, 2.9


@dataclass(frozen=True)
class Curve:
    """A named curve; `std_err` in the unit of `y`; the name stands level with the point `named_at`."""

    name: str
    x: np.ndarray
    y: np.ndarray
    std_err: np.ndarray | None = None
    named_at: int = -1
    marked: bool = True


def curves_figure(
    curves: Sequence[Curve], *, x_name: str, y_name: str, band: Band | None = None, title: str = "",
    subtitle: str = "", notes: Sequence[str] = (), theme: str | Theme = "light", mark: float | None = None,
    ticks: Sequence[str] = (),
) -> Figure:  # fmt: skip
    """Curves on a page of their own.

    Parameters
    ----------
    curves : sequence of Curve
    x_name, y_name : str
        What runs along the axes, with its unit.
    band : Band, optional
        A wanted range of y, shaded.
    mark : float, optional
        An x to point out.
    ticks : sequence of str
        What to write at x = 0, 1, 2, ..., where x is no number.

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    name = max([0.5, *(text_width_in(curve.name, SMALL_PT) for curve in curves)])
    with theme.context():
        page = sheet(
            _LEFT_IN + _WIDE_IN + name + 0.2,
            _BOTTOM_IN + _TALL_IN,
            title,
            subtitle,
            notes,
            theme,
        )
        ax = page.axes(_LEFT_IN, _BOTTOM_IN, _WIDE_IN, _TALL_IN)
        draw_curves(curves, ax, x_name=x_name, y_name=y_name, band=band, theme=theme)
        if mark is not None:
            ax.axvline(mark, color=theme.muted, lw=0.9, ls=(0, (4, 2)), zorder=0)
        if ticks:
            ax.set_xticks(range(len(ticks)), ticks)
    return page.figure


def draw_curves(
    curves: Sequence[Curve],
    ax: Axes,
    *,
    x_name: str,
    y_name: str,
    band: Band | None = None,
    theme: Theme = LIGHT,
) -> Axes:
    """Curves from nought up on the axes given, each named at its right end."""
    for i, curve in enumerate(curves):
        light, dark, dash, marker = _LINES[i % len(_LINES)]
        ax.errorbar(
            curve.x, curve.y, yerr=curve.std_err, color=dark if theme is DARK else light, ls=dash,
            marker=marker if curve.marked else "",
            ms=3.2, lw=1.4, elinewidth=0.8, capsize=1.8,
        )  # fmt: skip
    if band is not None:
        ax.axhspan(band.low, band.high, color=theme.plant, alpha=0.18, lw=0, zorder=0)
    ax.set_ylim(0, None)
    ax.margins(x=0.03)
    ax.spines[["top", "right"]].set_visible(False)
    ax.set_xlabel(x_name, labelpad=2)
    ax.set_ylabel(y_name, labelpad=3)
    _names(curves, ax, theme)
    return ax


def _names(curves: Sequence[Curve], ax: Axes, theme: Theme) -> None:
    """Each curve's name beside its right end, moved apart where ends meet."""
    placer = Placer(ax)
    gap = 1.25 * SMALL_PT / 72
    ends = [
        placer.inches(np.array([curve.x[curve.named_at], curve.y[curve.named_at]]))[1] for curve in curves
    ]
    heights = dict(zip(np.argsort(ends, kind="stable"), _apart(np.sort(ends), gap), strict=True))
    for i, curve in enumerate(curves):
        light, dark, _, _ = _LINES[i % len(_LINES)]
        ax.annotate(
            curve.name, (1.0, heights[i] / placer.size_in[1]), xycoords="axes fraction", xytext=(5, 0),
            textcoords="offset points", va="center", fontsize=SMALL_PT, color=dark if theme is DARK else light,
            annotation_clip=False, parse_math=False,
        )  # fmt: skip


def _apart(sorted_in: np.ndarray, gap: float) -> np.ndarray:
    """Rising heights moved as little as needed to stand `gap` apart: groups that touch are centred together."""
    groups = [[height] for height in sorted_in]
    while True:
        for low, high in pairwise(groups):
            if np.mean(high) - np.mean(low) < gap * (len(low) + len(high)) / 2 - 1e-9:
                low.extend(high)
                groups.remove(high)
                break
        else:
            return np.concatenate([np.mean(g) + gap * (np.arange(len(g)) - (len(g) - 1) / 2) for g in groups])
