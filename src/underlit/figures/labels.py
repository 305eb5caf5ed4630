"""Contours and their labels, and where to put words so that none lies on another."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from matplotlib.axes import Axes
from matplotlib.contour import QuadContourSet
from matplotlib.path import Path as Curve
from scipy.ndimage import gaussian_filter

from underlit.figures.scale import Scale
from underlit.figures.style import SMALL_PT, Theme, halo, size_in, text_width_in

_SPECK_IN = 0.25
_STEP_IN = 0.04  # between the points that stand for a line: less than the height of any word
_CORNERS = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])


@dataclass
class Placer:
    """Keeps account of boxes taken, outlines closed and lines to keep off, in inches from the lower left corner of
    the axes.

    Data limits and the place of the axes must be final.
    """

    ax: Axes
    boxes: list[tuple[float, float, float, float]] = field(default_factory=list)
    blocks: list[Curve] = field(default_factory=list)
    lines: list[np.ndarray] = field(default_factory=list)

    def __post_init__(self) -> None:
        (x0, x1), (y0, y1) = self.ax.get_xlim(), self.ax.get_ylim()
        self.size_in = size_in(self.ax)
        self._origin = np.array([x0, y0])
        self._scale = self.size_in / [x1 - x0, y1 - y0]

    def inches(self, xy: np.ndarray) -> np.ndarray:
        return (np.asarray(xy, float) - self._origin) * self._scale

    def data(self, inches: np.ndarray) -> np.ndarray:
        return np.asarray(inches, float) / self._scale + self._origin

    def room(self, xy: np.ndarray, width_in: float, height_in: float) -> np.ndarray:
        """How far boxes centred on points (n, 2) keep clear of others, lines and the edge; below 0: overlap. [in]"""
        centre = self.inches(xy)
        half = np.array([width_in, height_in]) / 2
        clear = np.minimum(centre - half, self.size_in - centre - half).min(-1)
        for x0, y0, x1, y1 in self.boxes:
            gap = np.maximum(np.array([x0, y0]) - (centre + half), (centre - half) - np.array([x1, y1])).max(
                -1
            )
            clear = np.minimum(clear, gap)
        for line in self.lines:
            gap = (np.abs(centre[:, None] - line) - half).max(-1).min(-1)
            clear = np.minimum(clear, gap)
        for curve in self.blocks:
            clear = np.where(curve.contains_points(centre), -1.0, clear)
        return clear

    def block(self, curve: Curve) -> None:
        """Keep words out of an outline given in display units, and off its line."""
        if len(np.asarray(curve.vertices)):
            self.blocks.append(Curve(self.inches(np.asarray(curve.vertices)), curve.codes))
            for line in curve.to_polygons():
                self.keep_off(np.asarray(line))

    def take(self, xy: np.ndarray, width_in: float, height_in: float) -> None:
        (x, y), w, h = self.inches(xy), width_in / 2, height_in / 2
        self.boxes.append((x - w, y - h, x + w, y + h))

    def keep_off(self, line: np.ndarray) -> None:
        """Keep words off a line (n, 2) given in display units."""
        xy = self.inches(line)
        along = np.concatenate([[0.0], np.linalg.norm(np.diff(xy, axis=0), axis=1).cumsum()])
        at = np.linspace(0.0, along[-1], int(along[-1] / _STEP_IN) + 2)
        self.lines.append(np.column_stack([np.interp(at, along, part) for part in xy.T]))

    def best(
        self, spots: np.ndarray, text: str, size_pt: float, enough_in: float = 0.25
    ) -> np.ndarray | None:
        """The first of some spots (n, 2) with room enough, else the one with most; None if all would overlap.

        The spot is taken.
        """
        if not len(spots):
            return None
        lines = text.split("\n")
        width = max(text_width_in(line, size_pt) for line in lines) + 0.04
        height = len(lines) * 1.2 * size_pt / 72 + 0.02
        room = self.room(spots, width, height)
        i = int(np.argmax(np.minimum(room, enough_in)))
        if room[i] < 0:
            return None
        self.take(spots[i], width, height)
        return spots[i]


def blurred(value: np.ndarray, weight: np.ndarray, cells: float) -> np.ndarray:
    """A map blurred by a Gaussian, each cell counting by its weight; NaN where there is nothing near."""
    weight = np.where(np.isfinite(value), weight, 0.0)
    total = gaussian_filter(np.nan_to_num(value) * weight, cells, mode="nearest")
    share = gaussian_filter(weight, cells, mode="nearest")
    return np.where(share > 1e-3, total / np.maximum(share, 1e-3), np.nan)


def draw_contours(
    x: np.ndarray, y: np.ndarray, value: np.ndarray, scale: Scale, ax: Axes, placer: Placer
) -> QuadContourSet | None:
    """Lines where plant bands begin, each labelled once; x and y in display units."""
    if not np.isfinite(value).any():
        return None
    levels = [level for level in scale.levels if np.nanmin(value) < level < np.nanmax(value)]
    if not levels:
        return None
    colours = {level: scale.contrast(level) for level in levels}
    contours = ax.contour(
        x, y, value, levels=levels, colors=[colours[v] for v in levels], linewidths=0.9, zorder=3
    )
    _drop_specks(contours, placer)
    label_contours(contours, colours, placer)
    return contours


def _drop_specks(contours: QuadContourSet, placer: Placer) -> None:
    """Take out lines too short to tell from noise."""
    kept = []
    for curve in contours.get_paths():
        lines = [line for line in _lines(curve) if _length_in(placer, line) > _SPECK_IN]
        kept.append(Curve.make_compound_path(*map(Curve, lines)) if lines else Curve(np.zeros((0, 2))))
    contours.set_paths(kept)


def label_contours(contours: QuadContourSet, colours: dict[float, str], placer: Placer) -> list[float]:
    """Write each level once on its longest line, where there is room; returns the levels labelled."""
    done = []
    for level, curve in zip(contours.levels, contours.get_paths(), strict=True):
        lines = [line for line in _lines(curve) if len(line) > 3]
        lines.sort(key=lambda line: -_length_in(placer, line))
        for line in lines[:3]:
            text = f"{level:g}"
            if _length_in(placer, line) < 3 * text_width_in(text, SMALL_PT):
                break
            spot = placer.best(_quiet_first(placer, line), text, SMALL_PT)
            if spot is not None:
                _write_on_line(contours.axes, placer, line, spot, text, colours[level])
                done.append(level)
                break
    return done


def _lines(curve: Curve) -> list[np.ndarray]:
    """The separate lines (n, 2) of a curve."""
    vertices = np.asarray(curve.vertices)
    if curve.codes is None:
        return [vertices]
    return np.split(vertices, np.flatnonzero(np.asarray(curve.codes) == Curve.MOVETO)[1:])


def _length_in(placer: Placer, vertices: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(placer.inches(vertices), axis=0), axis=1).sum())


def _quiet_first(placer: Placer, vertices: np.ndarray) -> np.ndarray:
    """Points of a line, those on its straight parts first."""
    xy = placer.inches(vertices)
    reach = 4
    if len(xy) < 2 * reach + 1:
        return vertices
    chord = np.linalg.norm(xy[2 * reach :] - xy[: -2 * reach], axis=1)
    step = np.linalg.norm(np.diff(xy, axis=0), axis=1)
    arc = np.convolve(step, np.ones(2 * reach), "valid")
    order = np.argsort(-np.round(chord / np.maximum(arc, 1e-12), 2), kind="stable")
    return vertices[reach:-reach][order]


def _write_on_line(
    ax: Axes, placer: Placer, vertices: np.ndarray, spot: np.ndarray, text: str, colour: str
) -> None:
    """Write along the line, never upside down."""
    at = int(np.argmin(np.abs(vertices - spot).sum(1)))
    ends = placer.inches(vertices[[max(at - 3, 0), min(at + 3, len(vertices) - 1)]])
    slope = float(np.degrees(np.arctan2(*(ends[1] - ends[0])[::-1])))
    slope = (slope + 90) % 180 - 90
    dark = colour == "#000000"
    ax.text(
        spot[0], spot[1], text, fontsize=SMALL_PT, color=colour, rotation=slope, ha="center", va="center",
        clip_on=True,
        fontweight="bold", path_effects=halo(None, 1.6, "#ffffffb0" if dark else "#000000a0"), zorder=6,
    )  # fmt: skip


def write_in(
    placer: Placer, outline: np.ndarray, text: str, theme: Theme, colour: str, size_pt: float = SMALL_PT
) -> bool:
    """Write a name wholly inside an outline (display units), in one line or two; says whether there was room."""
    two_lines = "\n".join(text.rsplit(" ", 1))
    return any(
        _write_in(placer, outline, one, theme, colour, size_pt) for one in dict.fromkeys((text, two_lines))
    )


def _write_in(
    placer: Placer, outline: np.ndarray, text: str, theme: Theme, colour: str, size_pt: float
) -> bool:
    lines = text.split("\n")
    wide = max(text_width_in(line, size_pt) for line in lines)
    half = np.array([wide + 0.08, 1.3 * len(lines) * size_pt / 72]) / 2
    inches = placer.inches(outline)
    lattice = _lattice(inches)
    corners = lattice[:, None] + half * _CORNERS
    fits = Curve(inches).contains_points(corners.reshape(-1, 2)).reshape(-1, 4).all(1)
    spot = placer.best(placer.data(lattice[fits]), text, size_pt, enough_in=0.03)
    if spot is None:
        return False
    placer.ax.text(
        spot[0], spot[1], text, fontsize=size_pt, color=colour, ha="center", va="center", zorder=7,
        parse_math=False,
        path_effects=halo(theme, 2.2),
    )  # fmt: skip
    return True


def write_over(
    placer: Placer, outline: np.ndarray, text: str, theme: Theme, colour: str, size_pt: float = SMALL_PT
) -> bool:
    """Write a name just above an outline, below it or beside it if there is room; says whether there was."""
    inches = placer.inches(outline)
    (x0, y0), (x1, y1) = inches.min(0), inches.max(0)
    half = np.array([text_width_in(text, size_pt) + 0.08, 1.4 * size_pt / 72]) / 2
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    spots = np.array([[x, y1 + half[1]], [x1 + half[0], y], [x0 - half[0], y], [x, y0 - half[1]]])
    spot = placer.best(placer.data(spots), text, size_pt, enough_in=0.0)
    if spot is None:
        return False
    placer.ax.text(
        spot[0], spot[1], text, fontsize=size_pt, color=colour, ha="center", va="center", zorder=7,
        parse_math=False,
        path_effects=halo(theme, 2.2),
    )  # fmt: skip
    return True


def _lattice(outline: np.ndarray) -> np.ndarray:
    """Points over the bounding box of a polygon, in reading order."""
    (x0, y0), (x1, y1) = outline.min(0), outline.max(0)
    x, y = np.meshgrid(np.linspace(x0, x1, 41), np.linspace(y1, y0, 41))
    return np.column_stack([x.ravel(), y.ravel()])
