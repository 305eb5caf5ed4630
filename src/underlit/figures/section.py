"""Vertical sections: how light falls off from the water surface to the soil, in one upright plane."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Polygon, Rectangle
from matplotlib.path import Path as Curve

from underlit.figures.labels import Placer, blurred, draw_contours
from underlit.figures.outline import Coverage
from underlit.figures.scale import BAR_GAP_IN, BAR_IN, BAR_ROOM_IN, Scale, draw_scale, scale_for
from underlit.figures.style import (
    LIGHT,
    PAGE_WIDTH_IN,
    SMALL_PT,
    TEXT_PT,
    Theme,
    halo,
    length_ticks,
    length_unit_m,
    sheet,
    size_in,
    text_width_in,
    theme_of,
)

_LEFT_IN, _BOTTOM_IN, _GAP_IN, _TOP_IN = 0.48, 0.42, 0.32, 0.22
_TALLEST_IN = 3.4
_WORDS_IN = 1.4 * SMALL_PT / 72  # room over a view for words on a lamp beyond it
_FINE = 320  # columns of the interpolated picture
_ASIDE = 0.08  # of the length: how far a value is carried sideways over the top of a stone
_SMOOTH = 4.0  # of those columns: contours follow the picture after a Gaussian blur this wide


@dataclass(frozen=True)
class Section:
    """Light in an upright plane through the tank.

    Attributes
    ----------
    name : str
        Where the plane lies, in words.
    axis_name : str
        What runs to the right: "from the left", "from the front".
    x_edges_m : ndarray, shape (nx + 1,)
        Cell edges of the horizontal planes along the section. [m]
    z_m : ndarray, shape (nz,)
        Heights of the horizontal planes, rising. [m]
    value : ndarray, shape (nz, nx)
        PPFD on those planes; not looked at where a plane runs inside soil or solid. [umol m-2 s-1]
    soil_x_m, soil_z_m : ndarray, shape (n,)
        Soil profile. [m]
    soil_value : ndarray, shape (n,), optional
        PPFD on the soil, horizontal as on the planes.
    solid : Coverage, optional
        Hardscape cut by the plane.
    length_m, height_m, water_m : float
        Inside length along the section, height of the rim, water level. [m]
    lamps_m : sequence of (x0, x1, z)
        Glowing faces of the lamps above. [m]
    leaves_m : sequence of (x0, x1, height)
        Where leaves fill the water above the soil, and how high. [m]
    """

    name: str
    axis_name: str
    x_edges_m: np.ndarray
    z_m: np.ndarray
    value: np.ndarray
    soil_x_m: np.ndarray
    soil_z_m: np.ndarray
    length_m: float
    height_m: float
    water_m: float
    soil_value: np.ndarray | None = None
    solid: Coverage | None = None
    lamps_m: Sequence[tuple[float, float, float]] = ()
    leaves_m: Sequence[tuple[float, float, float]] = ()
    glass_m: float = 0.005


def section_figure(
    sections: Sequence[Section], *, scale: Scale | None = None, title: str = "", subtitle: str = "",
    notes: Sequence[str] = (), theme: str | Theme = "light", unit: str = "cm",
) -> Figure:  # fmt: skip
    """Sections side by side, all to one scale of length and of colour.

    Parameters
    ----------
    sections : sequence of Section
    scale : Scale, optional
    unit : str
        `cm` or `in`.

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    scale = scale or scale_for([s.value for s in sections])
    spans = _views_m(sections)
    wide, tall = sum(x1 - x0 for x0, x1, _, _ in spans), max(z1 - z0 for _, _, z0, z1 in spans)
    room = PAGE_WIDTH_IN - BAR_ROOM_IN - len(sections) * _LEFT_IN - (len(sections) - 1) * _GAP_IN
    per_m = min(room / wide, _TALLEST_IN / tall)
    width = wide * per_m + PAGE_WIDTH_IN - room
    beyond = any(_beyond(section, z1) for section, (_, _, _, z1) in zip(sections, spans, strict=True))
    above = _TOP_IN + (_WORDS_IN if beyond else 0.0)
    with theme.context():
        page = sheet(width, _BOTTOM_IN + tall * per_m + above, title, subtitle, notes, theme)
        left = _LEFT_IN
        for section, (x0, x1, z0, z1) in zip(sections, spans, strict=True):
            ax = page.axes(left, _BOTTOM_IN, (x1 - x0) * per_m, (z1 - z0) * per_m)
            draw_section(section, ax, scale=scale, theme=theme, unit=unit, view_m=(x0, x1, z0, z1))
            left += (x1 - x0) * per_m + _GAP_IN + _LEFT_IN
        bar = page.axes(width - BAR_ROOM_IN + BAR_GAP_IN, 0.06, BAR_IN, _BOTTOM_IN + tall * per_m - 0.06)
        draw_scale(scale, bar, theme)
    return page.figure


def _views_m(sections: Sequence[Section]) -> list[tuple[float, float, float, float]]:
    """Parts of the planes that are shown: the tank, and lamps that hang near enough; all of one height."""
    edge = max(0.012 * section.length_m + section.glass_m for section in sections)
    height = max(section.height_m for section in sections)
    near = [z for section in sections for _, _, z in section.lamps_m if z < 1.6 * height]
    top = max([height, *(z + 0.03 * height for z in near)]) + 0.04 * height
    return [(-edge, section.length_m + edge, -edge, top) for section in sections]


def draw_section(
    section: Section, ax: Axes, *, scale: Scale, theme: Theme = LIGHT, unit: str = "cm",
    view_m: tuple[float, float, float, float] | None = None,
) -> Axes:  # fmt: skip
    """One section on the axes given: light, contours, soil, cut hardscape, water line, glass, lamps."""
    unit_m = length_unit_m(unit)
    view_m = view_m or _views_m([section])[0]
    x, z, light = interpolated(section)
    ax.imshow(
        light, extent=(0, section.length_m / unit_m, z[0] / unit_m, (z[-1] + z[1] - z[0]) / unit_m),
        origin="lower",
        cmap=scale.cmap, norm=scale.norm, interpolation="none", aspect="auto", zorder=1,
    )  # fmt: skip
    _frame(section, ax, unit, unit_m, theme, view_m)
    even = np.where(np.isnan(light), np.nan, blurred(light, ~np.isnan(light), _SMOOTH))
    placer = Placer(ax)
    for outline in _closed(section, view_m):
        placer.block(Curve(outline / unit_m))
    if section.solid is not None:
        placer.block(section.solid.curve(unit_m))
    draw_contours(x / unit_m, (z + (z[1] - z[0]) / 2) / unit_m, even, scale, ax, placer)
    _leaves(section, ax, unit_m, theme)
    _ground(section, ax, unit_m, theme)
    _lamps(section, ax, unit, theme, view_m[3])
    return ax


def _closed(section: Section, view_m: tuple[float, float, float, float]) -> list[np.ndarray]:
    """Outlines (n, 2) of what no word may lie on: soil, and all above the water. [m]"""
    x0, x1, _, top = view_m
    profile = np.column_stack([section.soil_x_m, section.soil_z_m])
    soil = np.vstack([profile, [[profile[-1, 0], 0], [profile[0, 0], 0]]])
    air = np.array([[x0, section.water_m], [x1, section.water_m], [x1, top], [x0, top]])
    return [soil, air]


def interpolated(section: Section) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Light on a fine grid, straight between planes, never across soil nor from above a solid to below it.

    Returns
    -------
    x_m, z_m : ndarray
        Columns (centres) and lower edges of the rows. [m]
    light : ndarray, shape (rows, columns)
        NaN in soil, in solids, above the water and where no plane reaches.
    """
    step = section.length_m / _FINE
    x = (np.arange(_FINE) + 0.5) * step
    z = np.arange(0.0, section.water_m, step)
    soil_row = np.interp(x, section.soil_x_m, section.soil_z_m) / step
    row = np.arange(len(z))[:, None] + 0.5
    ground = row < soil_row
    blocked = ground | _solid_at(section, x, (row[:, 0]) * step)
    known = np.full(blocked.shape, np.nan)
    centre = 0.5 * (section.x_edges_m[1:] + section.x_edges_m[:-1])
    for height, value in zip(section.z_m, section.value, strict=True):
        k = int(height / step)
        if k < len(z):
            at = np.clip((centre / step).astype(int), 0, _FINE - 1)
            free = ~blocked[k, at]
            if free.any():
                known[k] = np.interp(x, centre[free], value[free])
    if section.soil_value is not None:
        first = np.clip(np.ceil(soil_row - 0.5).astype(int), 0, len(z) - 1)
        known[first, np.arange(_FINE)] = np.interp(x, section.soil_x_m, section.soil_value)
    # Above a stone light falls off as beside it, towards what its neighbours have on a plane that it stands through;
    # what is known below it ends at its lowest row.
    lowest = blocked.copy()
    lowest[1:] &= ~blocked[:-1]
    below = _carried(np.where(ground, np.nan, known), lowest)
    known[blocked] = np.nan
    spacing = np.median(np.diff(section.z_m)) if len(section.z_m) > 1 else 0.1 * section.height_m
    light = _between(known, blocked, 1.2 * spacing / step, below)
    # Over a stone that no plane clears there is only what is known to its left and right.
    return x, z, _between(light.T, blocked.T, _ASIDE * _FINE).T


def _between(known: np.ndarray, blocked: np.ndarray, reach: float, from_below=None) -> np.ndarray:
    """Fill each free stretch of a column straight between known values, and flat for `reach` rows beyond.

    `from_below` replaces what is carried up from known values, as from `_carried`.
    """
    below, down = from_below or _carried(known, blocked)
    above, up = (a[::-1] for a in _carried(known[::-1], blocked[::-1]))
    both = np.where(down + up == 0, known, (below * up + above * down) / np.maximum(down + up, 1))
    alone = np.where(
        np.isnan(below), np.where(up <= reach, above, np.nan), np.where(down <= reach, below, np.nan)
    )
    return np.where(blocked, np.nan, np.where(np.isnan(below) | np.isnan(above), alone, both))


def _carried(known: np.ndarray, blocked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The last known value at or before each row, not carried through blocked ones, and how many rows ago."""
    value, age = np.full(known.shape, np.nan), np.zeros(known.shape)
    last, since = np.full(known.shape[1], np.nan), np.zeros(known.shape[1])
    for k in range(len(known)):
        fresh = ~np.isnan(known[k])
        last = np.where(blocked[k], np.nan, np.where(fresh, known[k], last))
        since = np.where(fresh, 0, since + 1)
        value[k], age[k] = last, since
    return value, age


def _solid_at(section: Section, x: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Whether points of a grid lie in the cut hardscape, (len(z), len(x))."""
    if section.solid is None:
        return np.zeros((len(z), len(x)), bool)
    cut = section.solid
    column = np.clip(np.rint((x - cut.x_m[0]) / (cut.x_m[1] - cut.x_m[0])).astype(int), 0, len(cut.x_m) - 1)
    row = np.rint((z - cut.y_m[0]) / (cut.y_m[1] - cut.y_m[0])).astype(int)
    inside = (row >= 0) & (row < len(cut.y_m))
    return (cut.share[np.ix_(np.clip(row, 0, len(cut.y_m) - 1), column)] > 0.5) & inside[:, None]


def _frame(section: Section, ax: Axes, unit: str, unit_m: float, theme: Theme, view_m) -> None:
    x0, x1, z0, z1 = (v / unit_m for v in view_m)
    length, height, glass = section.length_m / unit_m, section.height_m / unit_m, section.glass_m / unit_m
    ax.set(xlim=(x0, x1), ylim=(z0, z1))
    ax.set_aspect("equal", adjustable="box")
    ax.add_patch(Rectangle((0, 0), length, section.water_m / unit_m, fc=theme.water, ec="none", zorder=0))
    for left in (-glass, length):
        ax.add_patch(Rectangle((left, -glass), glass, height + glass, fc=theme.glass, ec="none", zorder=2))
    ax.add_patch(Rectangle((0, -glass), length, glass, fc=theme.glass, ec="none", zorder=2))
    ax.plot([0, length], [section.water_m / unit_m] * 2, color="#3c8ea3", lw=1.0, zorder=3.3)
    for z in section.z_m / unit_m:
        ax.plot([length + glass, x1], [z, z], color=theme.muted, lw=0.6)
    ax.spines[:].set_visible(False)
    ax.set_xlabel(f"{section.axis_name} ({unit})", labelpad=2)
    ax.set_ylabel(f"height ({unit})", labelpad=3)
    pad = 5 + (72 * _WORDS_IN if _beyond(section, view_m[3]) else 0)
    ax.set_title(section.name, fontsize=TEXT_PT, color=theme.ink, loc="left", pad=pad, parse_math=False)
    length_ticks(ax, length, height, 6)


def _leaves(section: Section, ax: Axes, unit_m: float, theme: Theme) -> None:
    """Outline of leaves that fill part of the water."""
    for x0, x1, height in section.leaves_m:
        x = np.linspace(x0, x1, 40)
        z = np.interp(x, section.soil_x_m, section.soil_z_m)
        outline = np.vstack([np.column_stack([x, z]), np.column_stack([x, z + height])[::-1]]) / unit_m
        ax.add_patch(
            Polygon(
                outline, fill=False, ec="#ffffff", lw=1.2, ls=(0, (1, 1.2)), zorder=3.2,
                path_effects=halo(theme, 2.4, "#0c4a29"),
            )
        )  # fmt: skip


def _ground(section: Section, ax: Axes, unit_m: float, theme: Theme) -> None:
    """Cut hardscape, then soil over what of it is buried."""
    if section.solid is not None:
        ax.add_patch(
            PathPatch(
                section.solid.curve(unit_m),
                fc=theme.hardscape,
                ec="#101416",
                lw=0.9,
                hatch="////",
                zorder=3.4,
            )
        )
    profile = np.column_stack([section.soil_x_m, section.soil_z_m]) / unit_m
    soil = np.vstack([profile, [[profile[-1, 0], 0], [profile[0, 0], 0]]])
    ax.add_patch(Polygon(soil, fc=theme.soil, ec="none", zorder=3.6))
    ax.plot(*profile.T, color="#3a2f26", lw=0.9, zorder=3.7)


def _beyond(section: Section, top_m: float) -> list[float]:
    """Heights of the lamps that hang too high to be drawn. [m]"""
    return [z for _, _, z in section.lamps_m if z >= top_m]


def _lamps(section: Section, ax: Axes, unit: str, theme: Theme, top: float) -> None:
    unit_m = length_unit_m(unit)
    for x0, x1, z in section.lamps_m:
        if z < top:
            ax.plot(
                [x0 / unit_m, x1 / unit_m], [z / unit_m] * 2, color=theme.lamp, lw=3.0, solid_capstyle="butt"
            )
    if far := _beyond(section, top):
        above = (min(far) - section.water_m) / unit_m
        words = f"lamp {above:.0f} {unit} above the water ↑"
        if text_width_in(words, SMALL_PT) > 0.8 * size_in(ax)[0]:
            words = f"lamp {above:.0f} {unit} ↑"
        ax.annotate(
            words,
            (0.5, 1),
            xycoords="axes fraction",
            ha="center",
            va="bottom",
            fontsize=SMALL_PT,
            color=theme.muted,
        )
