"""The scene as it is understood, before any tracing: from above, from the front and from the right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Polygon, Rectangle

from underlit.figures.data import Zone
from underlit.figures.labels import Placer, write_in, write_over
from underlit.figures.lamp import Lamp, beam_edges
from underlit.figures.outline import FROM_ABOVE, FROM_THE_FRONT, FROM_THE_RIGHT, Coverage
from underlit.figures.style import (
    LIGHT,
    LINE,
    PAGE_WIDTH_IN,
    SMALL_PT,
    TEXT_PT,
    Theme,
    halo,
    length_ticks,
    length_unit_m,
    sheet,
    size_in,
    theme_of,
    wrap,
)  # fmt: skip

_LEFT_IN, _BOTTOM_IN, _TOP_IN, _GAP_IN = 0.46, 0.42, 0.22, 0.2
_TALLEST_IN = 7.2
VIEWS = {"from above": FROM_ABOVE, "from the front": FROM_THE_FRONT, "from the right": FROM_THE_RIGHT}
_AXIS_NAMES = ("from the left", "from the front", "height")
_PLANT = "#2f8f57"
_NAMED_BESIDE = 6  # with more pieces than this, names beside them would be a tangle
_TABLE_PT = SMALL_PT + 0.5


@dataclass(frozen=True)
class Outlines:
    """One piece of hardscape: what is seen of it in each view, by the view's name."""

    name: str
    views: dict[str, Coverage]


@dataclass(frozen=True)
class Draft:
    """All that the scene drawing shows, in metres.

    Attributes
    ----------
    size_m : ndarray, shape (3,)
        Inside of the tank.
    glass_m, bottom_m, water_m : float
        Thickness of side panes and bottom; water level.
    soil_x_m, soil_y_m, soil_z_m : ndarray, shape (nx,), (ny,), (ny, nx)
        Height of the soil.
    hardscape : sequence of Outlines
    lamps : sequence of Lamp
    zones : sequence of Zone
    covers_m : sequence of ndarray, shape (n, 2)
        Rim, braces and lid from above.
    points_m : ndarray, shape (n, 3)
        Meter points.
    lines : sequence of (str, str)
        What stands beside the views: heading and text.
    """

    size_m: np.ndarray
    glass_m: float
    bottom_m: float
    water_m: float
    soil_x_m: np.ndarray
    soil_y_m: np.ndarray
    soil_z_m: np.ndarray
    hardscape: Sequence[Outlines] = ()
    lamps: Sequence[Lamp] = ()
    zones: Sequence[Zone] = ()
    covers_m: Sequence[np.ndarray] = ()
    points_m: np.ndarray = field(default_factory=lambda: np.zeros((0, 3)))
    lines: Sequence[tuple[str, str]] = ()


def drawing_figure(
    draft: Draft, *, title: str = "", subtitle: str = "", notes: Sequence[str] = (),
    theme: str | Theme = "light",
    unit: str = "cm",
) -> Figure:  # fmt: skip
    """The three views to one scale on a page, with a table of what the scene holds.

    Parameters
    ----------
    draft : Draft
    unit : str
        `cm` or `in`.

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    places, table = _layout(draft)
    left, _, column, _ = table
    text = [(head, wrap(body, column, _TABLE_PT)) for head, body in draft.lines]
    needed = sum(LINE * (len(body) + 1.3) * _TABLE_PT / 72 for _, body in text)
    lift = max(needed - table[3], 0.0)  # of all that stands above the lower row, for a long table
    with theme.context():
        page = sheet(left + column, table[1] + table[3] + lift, title, subtitle, notes, theme)
        for view, (x, y, width, height) in places.items():
            ax = page.axes(x, y + (lift if view == "from above" else 0.0), width, height)
            draw_view(draft, view, ax, theme=theme, unit=unit)
        _table(text, page.axes(left, table[1], column, table[3] + lift), theme)
    return page.figure


Place = tuple[float, float, float, float]


def _layout(draft: Draft) -> tuple[dict[str, Place], Place]:
    """Left, bottom, width and height of each view, all to one scale, and of the table. [in]"""
    boxes = _boxes_m(draft)
    above, front, _ = size = [np.array([box[1] - box[0], box[3] - box[2]]) for box in boxes.values()]
    room = PAGE_WIDTH_IN - 2 * _LEFT_IN - _GAP_IN
    rows = _TALLEST_IN - 2 * (_BOTTOM_IN + _TOP_IN)
    per_m = min(room / (size[1][0] + size[2][0]), rows / (above[1] + front[1]))
    right = 2 * _LEFT_IN + per_m * front[0] + _GAP_IN
    upper = 2 * _BOTTOM_IN + per_m * front[1] + _TOP_IN
    corners = [(_LEFT_IN, upper), (_LEFT_IN, _BOTTOM_IN), (right, _BOTTOM_IN)]
    places = {
        view: (x, y, *(float(v) for v in per_m * extent))
        for view, (x, y), extent in zip(boxes, corners, size, strict=True)
    }
    return places, (right, upper, max(places["from the right"][2], 1.9), places["from above"][3] + _TOP_IN)


def _boxes_m(draft: Draft) -> dict[str, tuple[float, float, float, float]]:
    """Part of space that each view shows: the tank with its glass, and the lamps."""
    corners = [lamp.corners_m for lamp in draft.lamps]
    glass = np.array([draft.glass_m, draft.glass_m, draft.bottom_m])
    points = np.vstack([-glass, draft.size_m + glass * [1, 1, 0], *corners])
    margin = 0.02 * draft.size_m.max()
    low, high = points.min(0) - margin, points.max(0) + margin
    return {name: (low[i], high[i], low[j], high[j]) for name, (i, j) in VIEWS.items()}


def draw_view(draft: Draft, view: str, ax: Axes, *, theme: Theme = LIGHT, unit: str = "cm") -> Axes:
    """One view on the axes given: `from above`, `from the front` or `from the right`."""
    unit_m = length_unit_m(unit)
    i, j = VIEWS[view]
    box = np.array(_boxes_m(draft)[view]) / unit_m
    ax.set(xlim=box[:2], ylim=box[2:])
    ax.set_aspect("equal", adjustable="box")
    _scales(draft, view, ax, unit, unit_m, theme)
    placer = Placer(ax)
    if view == "from above":
        _from_above(draft, ax, unit_m, theme, placer)
    else:
        _upright(draft, view, ax, unit_m, theme, placer)
    for x, y in draft.points_m[:, [i, j]] / unit_m:
        ax.plot(x, y, "+", color=theme.alarm, ms=4, mew=0.9, zorder=6)
    return ax


def _scales(draft: Draft, view: str, ax: Axes, unit: str, unit_m: float, theme: Theme) -> None:
    i, j = VIEWS[view]
    ax.spines[:].set_visible(False)
    ax.set_title(view, fontsize=TEXT_PT, color=theme.ink, loc="left", pad=4)
    ax.set_xlabel(f"{_AXIS_NAMES[i]} ({unit})", labelpad=2)
    ax.set_ylabel(f"{_AXIS_NAMES[j]} ({unit})", labelpad=3)
    ends = (draft.size_m[i] / unit_m, draft.size_m[j] / unit_m if j == 1 else ax.get_ylim()[1])
    length_ticks(ax, *ends, 7)


def _from_above(draft: Draft, ax: Axes, unit_m: float, theme: Theme, placer: Placer) -> None:
    length, width, _ = draft.size_m / unit_m
    glass = draft.glass_m / unit_m
    _box(ax, -glass, -glass, length + 2 * glass, width + 2 * glass, theme.glass, 0)
    _box(ax, 0, 0, length, width, theme.soil, 1)
    _heights(draft, ax, unit_m)
    for piece in draft.hardscape:
        _piece(piece, "from above", ax, unit_m, theme)
    for zone in draft.zones:
        outline = zone.outline_m / unit_m
        ax.add_patch(Polygon(outline, fc=_PLANT, ec="none", alpha=0.28, zorder=3.2))
        ax.add_patch(
            Polygon(
                outline, fill=False, ec="#ffffff", lw=1.2, ls=(0, (1, 1.2)), zorder=4,
                path_effects=halo(theme, 2.4, "#0c4a29"),
            )
        )  # fmt: skip
        write_in(placer, outline, zone.name, LIGHT, "#0c4a29")
    for outline in draft.covers_m:
        ax.add_patch(Polygon(outline / unit_m, fc=theme.muted, ec=theme.ink, alpha=0.35, lw=0.6, zorder=4.6))
    for lamp in draft.lamps:
        ax.add_patch(Polygon(lamp.corners_m[:, :2] / unit_m, fc=theme.lamp, ec="none", alpha=0.16, zorder=5))
        ax.add_patch(
            Polygon(
                lamp.corners_m[:, :2] / unit_m, fill=False, ec=theme.lamp, lw=1.2, ls=(0, (5, 2.5)), zorder=5
            )
        )
    _name_pieces(draft, "from above", ax, unit_m, placer)


def _heights(draft: Draft, ax: Axes, unit_m: float) -> None:
    """Lines of equal soil height, 2 cm or 1 in apart."""
    step = 0.02 if unit_m == 0.01 else 0.0254
    levels = np.arange(np.ceil(draft.soil_z_m.min() / step - 1e-6), draft.soil_z_m.max() / step) * step
    levels = levels[(levels > draft.soil_z_m.min() + 1e-6) & (levels < draft.soil_z_m.max() - 1e-6)]
    if len(levels):
        ax.contour(
            draft.soil_x_m / unit_m, draft.soil_y_m / unit_m, draft.soil_z_m, levels=levels, colors="#ffffff",
            linewidths=0.6, alpha=0.45, zorder=1.5,
        )  # fmt: skip


def _upright(draft: Draft, view: str, ax: Axes, unit_m: float, theme: Theme, placer: Placer) -> None:
    i, _ = VIEWS[view]
    length, height, water = (v / unit_m for v in (draft.size_m[i], draft.size_m[2], draft.water_m))
    glass, bottom = draft.glass_m / unit_m, draft.bottom_m / unit_m
    for left in (-glass, length):
        _box(ax, left, -bottom, glass, height + bottom, theme.glass, 2)
    _box(ax, 0, -bottom, length, bottom, theme.glass, 2)
    _box(ax, 0, 0, length, water, theme.water, 0)
    ax.plot([0, length], [water, water], color="#3c8ea3", lw=1.0, zorder=2.3)
    across = draft.soil_x_m if i == 0 else draft.soil_y_m
    far, near = draft.soil_z_m.max(axis=i), _nearest_soil(draft, view)
    _soil(ax, across / unit_m, far / unit_m, theme, 0.55, 0.9)
    for piece in draft.hardscape:
        _piece(piece, view, ax, unit_m, theme)
    _soil(ax, across / unit_m, near / unit_m, theme, 1.0, 2.5)
    for zone in draft.zones:
        x, z = _along_soil(draft, zone, i) / unit_m
        if zone.leaves_m:
            ax.fill_between(x, z, z + zone.leaves_m / unit_m, color=_PLANT, alpha=0.25, lw=0, zorder=1.8)
        ax.plot(
            x, z, color=_PLANT, lw=2.2, solid_capstyle="butt", zorder=4.5,
            path_effects=halo(theme, 3.4, "#ffffffb0"),
        )  # fmt: skip
    for lamp in draft.lamps:
        _lamp(draft, lamp, i, ax, unit_m, theme, placer)
    _name_pieces(draft, view, ax, unit_m, placer)


def _nearest_soil(draft: Draft, view: str) -> np.ndarray:
    """Soil against the pane that is looked through: the front pane, or the right one."""
    return draft.soil_z_m[0] if view == "from the front" else draft.soil_z_m[:, -1]


def _along_soil(draft: Draft, zone: Zone, i: int) -> np.ndarray:
    """A zone as a line on the soil through its middle, (2, n). [m]"""
    middle = zone.outline_m.mean(0)
    across, other = (draft.soil_x_m, draft.soil_y_m)[:: 1 if i == 0 else -1]
    at = int(np.abs(other - middle[1 - i]).argmin())
    profile = draft.soil_z_m[at] if i == 0 else draft.soil_z_m[:, at]
    x = np.linspace(zone.outline_m[:, i].min(), zone.outline_m[:, i].max(), 60)
    return np.stack([x, np.interp(x, across, profile)])


def _soil(ax: Axes, x: np.ndarray, z: np.ndarray, theme: Theme, alpha: float, zorder: float) -> None:
    outline = np.vstack([np.column_stack([x, z]), [[x[-1], 0], [x[0], 0]]])
    ax.add_patch(Polygon(outline, fc=theme.soil, ec="none", alpha=alpha, zorder=zorder))


def _piece(piece: Outlines, view: str, ax: Axes, unit_m: float, theme: Theme) -> None:
    curve = piece.views[view].curve(unit_m)
    ax.add_patch(PathPatch(curve, fc=theme.hardscape, ec="#15191b", lw=0.9, alpha=0.92, zorder=2))


def _name_pieces(draft: Draft, view: str, ax: Axes, unit_m: float, placer: Placer) -> None:
    """Names inside the pieces of which enough is seen, else beside them, off all others."""
    largest = {}
    for piece in draft.hardscape:
        lines = sorted(piece.views[view].lines(), key=len)
        if lines:
            largest[piece.name] = lines[-1] / unit_m
    left = {
        name: line for name, line in largest.items() if not write_in(placer, line, name, LIGHT, "#15191b")
    }
    if len(draft.hardscape) <= _NAMED_BESIDE:
        beside = Placer(ax, placer.boxes, list(placer.blocks), list(placer.lines))
        for piece in draft.hardscape:
            beside.block(piece.views[view].curve(unit_m))
        for name, line in left.items():
            write_over(beside, line, name, LIGHT, "#15191b")


def _lamp(draft: Draft, lamp: Lamp, i: int, ax: Axes, unit_m: float, theme: Theme, placer: Placer) -> None:
    """Glowing face, its name, and the edges of its beams as they go through air and water."""
    across, z = lamp.corners_m[:, i], lamp.corners_m[:, 2]
    first, last = across.argmin(), across.argmax()
    face = np.array([[across[first], z[first]], [across[last], z[last]]]) / unit_m
    ax.plot(*face.T, color=theme.lamp, lw=3.2, solid_capstyle="butt", zorder=5)
    for beam in lamp.beams_rad:
        edges = beam_edges(lamp, beam, i, draft.water_m, float(draft.soil_z_m.min()), draft.size_m[i])
        for edge in edges:
            ax.plot(*edge.T / unit_m, color=theme.lamp, lw=0.9, ls=(0, (4, 2)), zorder=4)
        if len(edges) == 2:
            _fan(draft, edges, i, ax, unit_m, theme)
    beams = ", ".join(f"{np.degrees(beam):.0f}°" for beam in lamp.beams_rad)
    name = f"{lamp.name}  {beams}" if beams else lamp.name
    spot = placer.best(_beside(face, placer), name, SMALL_PT, enough_in=0.0)
    if spot is not None:
        ax.text(
            spot[0],
            spot[1],
            name,
            fontsize=SMALL_PT,
            color=theme.lamp,
            ha="center",
            va="center",
            parse_math=False,
            zorder=6,
        )


def _fan(draft: Draft, edges: list[np.ndarray], i: int, ax: Axes, unit_m: float, theme: Theme) -> None:
    """Tint between the edges of a beam: in air as far as they go, in water within the panes."""
    air = np.vstack([edges[0][:2], edges[1][:2][::-1]])
    wet = []
    for edge, pane in zip(edges, (0.0, draft.size_m[i]), strict=True):
        wet.append(
            edge[1:] if len(edge) > 2 else np.array([[pane, draft.water_m], [pane, draft.soil_z_m.min()]])
        )
    floor = min(wet[0][-1, 1], wet[1][-1, 1])
    feet = [[wet[0][-1, 0], floor], [wet[1][-1, 0], floor]]
    for fan in (air, np.vstack([wet[0], feet, wet[1][::-1]])):
        ax.add_patch(Polygon(fan / unit_m, fc=theme.lamp, ec="none", alpha=0.10, zorder=1.2))


def _beside(face: np.ndarray, placer: Placer) -> np.ndarray:
    """Places for a lamp's name: over its middle, farther along, or under it."""
    lift = placer.data(np.array([0.0, 0.11])) - placer.data(np.zeros(2))
    along = np.array([0, 0.1, -0.1, 0.25, -0.25, 0.4, -0.4])[:, None] * (face[1] - face[0])
    return np.vstack([face.mean(0) + lift + along, face.mean(0) - lift + along])


def _box(ax: Axes, x: float, y: float, width: float, height: float, colour: str, zorder: float) -> None:
    ax.add_patch(Rectangle((x, y), width, height, fc=colour, ec="none", zorder=zorder))


def _table(text: Sequence[tuple[str, list[str]]], ax: Axes, theme: Theme) -> None:
    """Headings and what they say, from the top down."""
    ax.axis("off")
    height = size_in(ax)[1]
    step = LINE * (_TABLE_PT) / 72 / height
    y = 1.0
    for head, body in text:
        ax.text(0, y, head, fontsize=_TABLE_PT, color=theme.muted, va="top", parse_math=False)
        y -= step
        for line in body:
            ax.text(0, y, line, fontsize=_TABLE_PT, color=theme.ink, va="top", parse_math=False)
            y -= step
        y -= 0.35 * step / LINE
