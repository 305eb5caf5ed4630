"""Plan view: light on the soil seen from above, front pane at the bottom."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, PathPatch, Polygon, Rectangle
from scipy.interpolate import RegularGridInterpolator

from underlit.figures.data import LightMap, Plan, Solid
from underlit.figures.labels import Placer, blurred, draw_contours, write_in
from underlit.figures.scale import BAR_GAP_IN, BAR_IN, BAR_ROOM_IN, Scale, draw_scale, scale_for
from underlit.figures.style import (
    LIGHT,
    PAGE_WIDTH_IN,
    SMALL_PT,
    Theme,
    halo,
    length_ticks,
    length_unit_m,
    sheet,
    size_in,
    theme_of,
)

CONTOUR_ERR = 0.015  # relative standard error that contours are to have
_LEFT_IN, _BOTTOM_IN = 0.5, 0.62
_TALLEST_IN = 4.6
_DOTS = (0, (1, 1.2))


def plan_figure(
    light: LightMap, plan: Plan, *, scale: Scale | None = None, title: str = "", subtitle: str = "",
    notes: Sequence[str] = (), theme: str | Theme = "light", unit: str = "cm",
    doubtful: np.ndarray | None = None,
    lines: str = "a plant band begins",
) -> Figure:  # fmt: skip
    """A map of the soil on a page of its own.

    Parameters
    ----------
    light : LightMap
        PPFD on the soil. [umol m-2 s-1]
    plan : Plan
        Tank, hardscape, plant zones and lamps to draw over it.
    scale : Scale, optional
        Share one between figures that are to be compared; by default made for this map.
    unit : str
        `cm` or `in`.
    doubtful : ndarray of bool, shape (ny, nx), optional
        Cells to dot, as what they show is not sure.
    lines : str
        What the contours are, for the key.

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    scale = scale or scale_for([light.value])
    width, height = _map_size_in(plan)
    with theme.context():
        page = sheet(_LEFT_IN + width + BAR_ROOM_IN, _BOTTOM_IN + height, title, subtitle, notes, theme)
        ax = page.axes(_LEFT_IN, _BOTTOM_IN, width, height)
        draw_plan(light, plan, ax, scale=scale, theme=theme, unit=unit, doubtful=doubtful, lines=lines)
        bar = page.axes(_LEFT_IN + width + BAR_GAP_IN, _BOTTOM_IN, BAR_IN, height - 0.16)
        draw_scale(scale, bar, theme)
    return page.figure


def _map_size_in(plan: Plan) -> tuple[float, float]:
    """Size of the map's axes that keeps one scale both ways. [in]"""
    x0, x1, y0, y1 = view_m(plan)
    widest = PAGE_WIDTH_IN - _LEFT_IN - BAR_ROOM_IN
    per_m = min(widest / (x1 - x0), _TALLEST_IN / (y1 - y0))
    return per_m * (x1 - x0), per_m * (y1 - y0)


def view_m(plan: Plan) -> tuple[float, float, float, float]:
    """Part of the plan that is shown: the tank with its glass. [m]"""
    margin = plan.glass_m + 0.012 * max(plan.length_m, plan.width_m)
    return -margin, plan.length_m + margin, -margin, plan.width_m + margin


def draw_plan(
    light: LightMap, plan: Plan, ax: Axes, *, scale: Scale, theme: Theme = LIGHT, unit: str = "cm",
    doubtful: np.ndarray | None = None, lines: str = "a plant band begins", key: bool = True,
) -> Axes:  # fmt: skip
    """Map, contours, hardscape, zones, lamps and tank on the axes given; parameters as in `plan_figure`."""
    unit_m = length_unit_m(unit)
    _frame(plan, ax, unit, unit_m, theme)
    ax.pcolormesh(
        light.x_edges_m / unit_m, light.y_edges_m / unit_m, light.value, cmap=scale.cmap, norm=scale.norm,
        rasterized=True, zorder=1,
    )  # fmt: skip
    placer = Placer(ax)
    for solid in plan.solids:
        placer.block(solid.above.curve(unit_m))
    for outline in (*plan.fixtures_m, *(zone.outline_m for zone in plan.zones)):
        placer.keep_off(np.vstack([outline, outline[:1]]) / unit_m)
    _points(light, plan, ax, scale, unit_m, placer)
    _zones(plan, ax, unit_m, theme, placer)
    _contours(light, plan, ax, scale, unit_m, placer)
    for solid in plan.solids:
        _solid(solid, ax, unit_m, theme)
    for outline in plan.fixtures_m:
        ax.add_patch(
            Polygon(
                outline / unit_m, fill=False, ls=(0, (5, 3)), lw=1.0, ec="#1b2226", zorder=5,
                path_effects=halo(theme, 2.2, "#ffffffa0"),
            )
        )  # fmt: skip
    if doubtful is not None:
        _dots(light, doubtful, ax, unit_m)
    if key:
        _key(plan, ax, theme, lines if scale.levels else "", doubtful is not None)
    return ax


def _dots(light: LightMap, doubtful: np.ndarray, ax: Axes, unit_m: float) -> None:
    y, x = np.meshgrid(light.y_m / unit_m, light.x_m / unit_m, indexing="ij")
    ax.plot(x[doubtful], y[doubtful], "o", ms=1.0, mew=0, color="#1b2226", zorder=2, rasterized=True)


def _frame(plan: Plan, ax: Axes, unit: str, unit_m: float, theme: Theme) -> None:
    """Tank walls, axes and their names."""
    x0, x1, y0, y1 = (v / unit_m for v in view_m(plan))
    length, width, glass = plan.length_m / unit_m, plan.width_m / unit_m, plan.glass_m / unit_m
    ax.set(xlim=(x0, x1), ylim=(y0, y1))
    ax.set_aspect("equal", adjustable="box")
    ax.add_patch(
        Rectangle(
            (-glass, -glass), length + 2 * glass, width + 2 * glass, fc=theme.glass, ec="none", zorder=0
        )
    )
    ax.add_patch(Rectangle((0, 0), length, width, fill=False, ec=theme.frame, lw=0.8, zorder=4))
    ax.spines[:].set_visible(False)
    ax.set_xlabel(f"from the left along the front pane ({unit})", labelpad=2)
    ax.set_ylabel(f"from the front ({unit})", labelpad=3)
    length_ticks(ax, length, width, 8)


def blur_cells(light: LightMap) -> float:
    """Width of the Gaussian blur, in cells, that contours are drawn after: 1, or as much more as the noise asks, up
    to 3.

    A blur of s cells (s >= 1) averages over 4 pi s^2 cells, so it divides the error by 2 sqrt(pi) s.
    """
    if light.std_err is None:
        return 1.0
    lit = light.value > 0
    if not lit.any():
        return 1.0
    relative = float(np.median(light.std_err[lit] / light.value[lit]))
    return float(np.clip(np.nan_to_num(relative) / (2 * np.sqrt(np.pi) * CONTOUR_ERR), 1.0, 3.0))


def covered_cells(light: LightMap, solids: Sequence[Solid]) -> np.ndarray:
    """Cells of the map at least half of which hardscape stands on, (ny, nx) bool."""
    covered = np.zeros(light.value.shape, bool)
    for solid in solids:
        standing = solid.standing
        share = RegularGridInterpolator(
            (standing.y_m, standing.x_m), standing.share, bounds_error=False, fill_value=0
        )
        covered |= share(tuple(np.meshgrid(light.y_m, light.x_m, indexing="ij"))) >= 0.5
    return covered


def _contours(light: LightMap, plan: Plan, ax: Axes, scale: Scale, unit_m: float, placer: Placer) -> None:
    """Contours of the map without what hardscape stands on; they run right to the panes."""
    free = ~covered_cells(light, plan.solids)
    value = np.pad(blurred(light.value, free.astype(float), blur_cells(light)), 1, mode="edge")
    x = np.concatenate([light.x_edges_m[:1], light.x_m, light.x_edges_m[-1:]])
    y = np.concatenate([light.y_edges_m[:1], light.y_m, light.y_edges_m[-1:]])
    draw_contours(x / unit_m, y / unit_m, value, scale, ax, placer)


def _solid(solid: Solid, ax: Axes, unit_m: float, theme: Theme) -> None:
    """Grey and hatched where it stands in the soil, an outline for what reaches out above it."""
    ax.add_patch(
        PathPatch(solid.standing.curve(unit_m), fc="#9a9fa2", ec="#5f6568", hatch="/////", lw=0.0, zorder=3.5)
    )
    ax.add_patch(
        PathPatch(
            solid.above.curve(unit_m), fill=False, ec="#101416", lw=1.1, zorder=4.5, joinstyle="round",
            path_effects=halo(theme, 2.4, "#ffffffb0"),
        )
    )  # fmt: skip


def _zones(plan: Plan, ax: Axes, unit_m: float, theme: Theme, placer: Placer) -> None:
    words_only = Placer(ax, placer.boxes)
    for zone in plan.zones:
        outline = zone.outline_m / unit_m
        ax.add_patch(
            Polygon(
                outline, fill=False, ec="#ffffff", lw=1.3, ls=_DOTS, zorder=4.2,
                path_effects=halo(theme, 2.6, "#0c4a29"),
            )
        )  # fmt: skip
        if not write_in(placer, outline, zone.name, LIGHT, "#0c4a29"):
            write_in(words_only, outline, zone.name, LIGHT, "#0c4a29")  # better over a branch than nowhere


def _dotted() -> Line2D:
    return Line2D([], [], color="#ffffff", lw=1.3, ls=_DOTS, path_effects=halo(LIGHT, 2.6, "#0c4a29"))


def _points(light: LightMap, plan: Plan, ax: Axes, scale: Scale, unit_m: float, placer: Placer) -> None:
    """Readings written at meter points."""
    for (x, y), reading in zip(plan.points_m, plan.readings, strict=True):
        column = int(np.clip(np.searchsorted(light.x_edges_m, x) - 1, 0, light.value.shape[1] - 1))
        row = int(np.clip(np.searchsorted(light.y_edges_m, y) - 1, 0, light.value.shape[0] - 1))
        colour = scale.contrast(np.nan_to_num(light.value[row, column]))
        at = np.array([x, y]) / unit_m
        ax.plot(*at, "+", ms=5, mew=1.0, color=colour, zorder=6)
        if np.isfinite(reading):
            ax.annotate(
                f"{reading:.0f}", (at[0], at[1]), xytext=(0, 4), textcoords="offset points", ha="center",
                fontsize=SMALL_PT, color=colour, zorder=6, fontweight="bold",
                path_effects=halo(None, 1.6, "#ffffffb0" if colour == "#000000" else "#000000a0"),
            )  # fmt: skip
        placer.take(at, 0.3, 0.4)


def _key(plan: Plan, ax: Axes, theme: Theme, lines: str, dotted: bool) -> None:
    """What the lines mean, in one row under the map."""
    entries: list = []
    if dotted:
        entries.append((Line2D([], [], color=theme.ink, marker="o", ms=1.6, mew=0, lw=0), "may be noise"))
    if lines:
        entries.append((Line2D([], [], color=theme.muted, lw=0.9), lines))
    if plan.solids:
        entries.append((Line2D([], [], color=theme.ink, lw=1.2), "hardscape from above"))
        entries.append((Patch(fc="#9a9fa2", ec="#5f6568", hatch="/////", lw=0), "stands in the soil"))
    if plan.zones:
        entries.append((_dotted(), "plant zone"))
    if len(plan.points_m):
        entries.append((Line2D([], [], color=theme.ink, marker="+", ms=5, lw=0), "meter"))
    if len(plan.fixtures_m):
        entries.append((Line2D([], [], color=theme.ink, lw=1.0, ls=(0, (5, 3))), "lamp"))
    if not entries:
        return
    handles, names = zip(*entries, strict=True)
    height_in = size_in(ax)[1]
    ax.legend(
        handles, names, loc="upper left", bbox_to_anchor=(0.0, -0.46 / height_in), ncols=len(handles),
        frameon=False, fontsize=SMALL_PT, handlelength=1.8, columnspacing=1.2, borderaxespad=0, borderpad=0,
        handletextpad=0.5, labelcolor=theme.muted,
    )  # fmt: skip
