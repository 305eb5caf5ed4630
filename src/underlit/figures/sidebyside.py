"""Several maps of the soil on one page, in one scale of length and of colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure

from underlit.figures.data import LightMap, Plan
from underlit.figures.plan import draw_plan, view_m
from underlit.figures.scale import BAR_GAP_IN, BAR_IN, BAR_ROOM_IN, Scale, draw_scale, scale_for
from underlit.figures.style import PAGE_WIDTH_IN, TEXT_PT, Theme, sheet, theme_of

_LEFT_IN, _TOP_IN, _ROW_GAP_IN, _AXIS_IN, _KEY_IN = 0.5, 0.22, 0.1, 0.4, 0.24
_LONG = 1.5  # tanks longer than this times their width stand one below the other
_TALLEST_IN = 3.0


@dataclass(frozen=True)
class NamedMap:
    """A map with what is drawn over it and what to call it."""

    name: str
    light: LightMap
    plan: Plan


def maps_figure(
    found: Sequence[NamedMap], *, scale: Scale | None = None, title: str = "", subtitle: str = "",
    notes: Sequence[str] = (), theme: str | Theme = "light", unit: str = "cm",
) -> Figure:  # fmt: skip
    """Maps in one or two columns, the first at the upper left.

    Parameters
    ----------
    found : sequence of NamedMap
    scale : Scale, optional
        By default one that holds all of them.
    unit : str
        `cm` or `in`.

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    scale = scale or scale_for([one.light.value for one in found])
    views = [view_m(one.plan) for one in found]
    long, deep = max(v[1] - v[0] for v in views), max(v[3] - v[2] for v in views)
    columns = 1 if len(found) == 1 or long > _LONG * deep else 2
    per_m = min((PAGE_WIDTH_IN - BAR_ROOM_IN - columns * _LEFT_IN) / (columns * long), _TALLEST_IN / deep)
    wide, tall = per_m * long, per_m * deep
    rows = -(-len(found) // columns)
    step = _TOP_IN + tall + _AXIS_IN + _ROW_GAP_IN
    width = columns * (_LEFT_IN + wide)
    with theme.context():
        page = sheet(width + BAR_ROOM_IN, _KEY_IN + rows * step, title, subtitle, notes, theme)
        for i, (one, view) in enumerate(zip(found, views, strict=True)):
            left = _LEFT_IN + (i % columns) * (_LEFT_IN + wide)
            bottom = _KEY_IN + (rows - 1 - i // columns) * step + _AXIS_IN
            ax = page.axes(left, bottom, per_m * (view[1] - view[0]), per_m * (view[3] - view[2]))
            draw_plan(
                one.light, one.plan, ax, scale=scale, theme=theme, unit=unit, key=i == (rows - 1) * columns
            )
            ax.set_title(one.name, fontsize=TEXT_PT, color=theme.ink, loc="left", pad=4, parse_math=False)
        bar_height = tall - 0.06
        top = _KEY_IN + rows * step - _TOP_IN
        draw_scale(scale, page.axes(width + BAR_GAP_IN, top - bar_height, BAR_IN, bar_height), theme)
    return page.figure
