"""The four panes folded out: light on their inside faces, where algae settle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle
from matplotlib.path import Path as Curve

from underlit.figures.data import LightMap
from underlit.figures.labels import Placer, blurred, draw_contours
from underlit.figures.plan import blur_cells
from underlit.figures.scale import BAR_IN, BAR_ROOM_IN, Scale, draw_scale, scale_for
from underlit.figures.style import (
    LIGHT,
    PAGE_WIDTH_IN,
    TEXT_PT,
    Theme,
    length_ticks,
    length_unit_m,
    sheet,
    theme_of,
)

SIDES = ("left", "front", "right", "back")
_LEFT_IN, _BOTTOM_IN, _GAP_IN, _TOP_IN = 0.46, 0.42, 0.22, 0.24
_TALLEST_IN = 2.2  # of one pane


@dataclass(frozen=True)
class Pane:
    """Inside face of one pane.

    Attributes
    ----------
    light : LightMap
        x from the left (front and back) or from the front (left and right), y up. [umol m-2 s-1]
    soil_x_m, soil_z_m : ndarray, shape (n,)
        Soil along the pane. [m]
    water_m : float
        Water level. [m]
    """

    light: LightMap
    soil_x_m: np.ndarray
    soil_z_m: np.ndarray
    water_m: float


def panes_figure(
    panes: Mapping[str, Pane], *, scale: Scale | None = None, title: str = "", subtitle: str = "",
    notes: Sequence[str] = (), theme: str | Theme = "light", unit: str = "cm",
) -> Figure:  # fmt: skip
    """All panes as seen from the front: the side panes folded out to left and right, the back pane above.

    Parameters
    ----------
    panes : mapping of side to Pane
        `left`, `front`, `right`, `back`.
    scale : Scale, optional
    unit : str
        `cm` or `in`.

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    scale = scale or scale_for([pane.light.value for pane in panes.values()])
    length, height = panes["front"].light.x_edges_m[-1], panes["front"].light.y_edges_m[-1]
    depth = panes["left"].light.x_edges_m[-1]
    # The colour bar stands above the right pane, which must leave it room.
    room = PAGE_WIDTH_IN - _LEFT_IN - 2 * _GAP_IN - 0.1
    per_m = min(room / (length + 2 * depth), _TALLEST_IN / height)
    side = max(depth * per_m, BAR_ROOM_IN)
    width, tall = _LEFT_IN + depth * per_m + length * per_m + side + 2 * _GAP_IN, height * per_m
    above = _BOTTOM_IN + tall + _TOP_IN
    left = {"left": _LEFT_IN, "front": _LEFT_IN + depth * per_m + _GAP_IN}
    left["back"] = left["front"]
    left["right"] = left["front"] + length * per_m + _GAP_IN
    with theme.context():
        page = sheet(width, above + tall + _TOP_IN, title, subtitle, notes, theme)
        for name, pane in panes.items():
            bottom = above if name == "back" else _BOTTOM_IN
            ax = page.axes(left[name], bottom, pane.light.x_edges_m[-1] * per_m, tall)
            draw_pane(name, pane, ax, scale=scale, theme=theme, unit=unit)
        bar = page.axes(left["right"] + 0.1, above, BAR_IN, tall - 0.06)
        draw_scale(scale, bar, theme)
    return page.figure


def draw_pane(
    name: str, pane: Pane, ax: Axes, *, scale: Scale, theme: Theme = LIGHT, unit: str = "cm"
) -> Axes:
    """One pane on the axes given, with the soil before it and the water line."""
    unit_m = length_unit_m(unit)
    light = pane.light
    x, y = light.x_edges_m / unit_m, light.y_edges_m / unit_m
    ax.pcolormesh(
        x, y, _carried_down(light.value), cmap=scale.cmap, norm=scale.norm, rasterized=True, zorder=1
    )
    ax.set(xlim=(x[-1], x[0]) if name == "left" else (x[0], x[-1]), ylim=(y[0], y[-1]))
    ax.set_aspect("equal", adjustable="box")
    _contours(pane, ax, scale, unit_m)
    ax.add_patch(Polygon(_soil_outline(pane) / unit_m, fc=theme.soil, ec="none", zorder=3.5))
    ax.axhline(pane.water_m / unit_m, color="#3c8ea3", lw=1.0, zorder=4)
    ax.axhline(pane.water_m / unit_m, color="#ffffff", lw=0.5, ls=(0, (4, 4)), zorder=4)
    ax.add_patch(Rectangle((0, 0), x[-1], y[-1], fill=False, ec=theme.frame, lw=0.9, zorder=5, clip_on=False))
    length_ticks(ax, x[-1], y[-1], 6)
    _axes(name, ax, unit, theme)
    return ax


def _carried_down(value: np.ndarray) -> np.ndarray:
    """Cells all but buried have no value: above the soil they show that of the cell above."""
    filled = value.copy()
    for row in range(len(filled) - 2, -1, -1):
        filled[row] = np.where(np.isnan(filled[row]), filled[row + 1], filled[row])
    return filled


def _contours(pane: Pane, ax: Axes, scale: Scale, unit_m: float) -> None:
    """Contours of what is under water: light jumps at the water line, and lines must not bridge that."""
    light = pane.light
    soil = np.interp(light.x_m, pane.soil_x_m, pane.soil_z_m)
    wet = (light.y_edges_m[:-1, None] >= soil[None, :]) & (light.y_edges_m[1:, None] <= pane.water_m + 1e-9)
    value = blurred(light.value, wet.astype(float), blur_cells(light))
    value[light.y_m > pane.water_m] = np.nan
    placer = Placer(ax)
    placer.block(Curve(_soil_outline(pane) / unit_m))
    x = np.concatenate([light.x_edges_m[:1], light.x_m, light.x_edges_m[-1:]])
    y = np.concatenate([light.y_edges_m[:1], light.y_m, light.y_edges_m[-1:]])
    draw_contours(x / unit_m, y / unit_m, np.pad(value, 1, mode="edge"), scale, ax, placer)


def _soil_outline(pane: Pane) -> np.ndarray:
    profile = np.column_stack([pane.soil_x_m, pane.soil_z_m])
    return np.vstack([profile, [[profile[-1, 0], 0], [profile[0, 0], 0]]])


def _axes(name: str, ax: Axes, unit: str, theme: Theme) -> None:
    ax.spines[:].set_visible(False)
    ax.set_title(f"{name} pane", fontsize=TEXT_PT, color=theme.ink, loc="left", pad=3)
    if name == "back":
        ax.set_xticks([])
    else:
        ax.set_xlabel(f"from the {'left' if name == 'front' else 'front'} ({unit})", labelpad=2)
    if name in ("left", "back"):
        ax.set_ylabel(f"height ({unit})", labelpad=3)
    else:
        ax.set_yticks([])
