"""The tank in perspective, its hardscape and soil painted with the light that falls on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from scipy.spatial import cKDTree

from underlit.figures.camera import Camera, Painted
from underlit.figures.scale import BAR_GAP_IN, BAR_IN, BAR_ROOM_IN, Scale, draw_scale, scale_for
from underlit.figures.style import DPI, LIGHT, PAGE_WIDTH_IN, Theme, sheet, theme_of


@dataclass(frozen=True)
class LitMesh:
    """A mesh with a value on each cell of its triangles.

    Attributes
    ----------
    name : str
    vertices_m : ndarray, shape (V, 3)
    faces : ndarray, shape (F, 3)
    cell_of_face : ndarray, shape (F,)
    value : ndarray, shape (C,)
        [umol m-2 s-1]
    """

    name: str
    vertices_m: np.ndarray
    faces: np.ndarray
    cell_of_face: np.ndarray
    value: np.ndarray


@dataclass(frozen=True)
class Glass:
    """Inside of the tank and the water in it. [m]"""

    length_m: float
    width_m: float
    height_m: float
    water_m: float = 0.0


def painted_figure(
    solids: Sequence[LitMesh], soil: LitMesh | None, glass: Glass, *, scale: Scale | None = None,
    title: str = "",
    subtitle: str = "", notes: Sequence[str] = (), theme: str | Theme = "light", azimuth_deg: float = -24.0,
    elevation_deg: float = 20.0,
) -> Figure:  # fmt: skip
    """The painted view on a page of its own.

    Parameters
    ----------
    solids : sequence of LitMesh
        Hardscape, PPFD on the surface normal. [umol m-2 s-1]
    soil : LitMesh, optional
        The soil, PPFD on the horizontal. [umol m-2 s-1]
    glass : Glass
    azimuth_deg, elevation_deg : float
        Where the viewer stands: to the right of the front, and above. [deg]

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    scale = scale or scale_for([lit.value for lit in (*solids, *([soil] if soil else []))])
    width = PAGE_WIDTH_IN - BAR_ROOM_IN
    camera = Camera.on_box(
        (0, 0, 0), (glass.length_m, glass.width_m, glass.height_m), round(width * DPI),
        azimuth_deg=azimuth_deg,
        elevation_deg=elevation_deg,
    )  # fmt: skip
    width, height = camera.size[0] / DPI, camera.size[1] / DPI
    with theme.context():
        page = sheet(width + BAR_ROOM_IN, height, title, subtitle, notes, theme)
        draw_painted(
            solids, soil, glass, page.axes(0, 0, width, height), scale=scale, camera=camera, theme=theme
        )
        bar_height = min(height - 0.2, 3.2)
        bar = page.axes(width + BAR_GAP_IN, (height - 0.1 - bar_height) / 2, BAR_IN, bar_height)
        draw_scale(scale, bar, theme)
    return page.figure


def draw_painted(
    solids: Sequence[LitMesh], soil: LitMesh | None, glass: Glass, ax: Axes, *, scale: Scale, camera: Camera,
    theme: Theme = LIGHT,
) -> Axes:  # fmt: skip
    """The view on axes given, one unit of the axes for each pixel of the camera."""
    layers = [_painted(lit, scale) for lit in solids]
    if soil is not None:
        layers += [_painted(soil, scale), _soil_sides(soil, theme)]
    width, height = camera.size
    picture, seen = camera.render(layers, to_rgb("#0d1113"))
    ax.imshow(picture, extent=(0, width, height, 0), interpolation="none", zorder=2)
    for line, style in _tank_lines(glass, theme):
        points = line[0] + np.linspace(0, 1, 241)[:, None] * (line[1] - line[0])
        if soil is not None and line[0, 2] == line[1, 2] == glass.water_m:
            points = points[~_buried(points, soil)]
        pixel, _ = camera.project(points)
        shown = camera.visible(points, seen)
        ax.plot(*np.where(shown, pixel.T, np.nan), zorder=3, solid_capstyle="round", **style)
        if style.get("alpha", 1) == 1:
            ax.plot(*np.where(shown, np.nan, pixel.T), zorder=3, **(style | {"alpha": 0.16}))
    ax.set(xlim=(0, width), ylim=(height, 0))
    ax.axis("off")
    return ax


def _painted(lit: LitMesh, scale: Scale) -> Painted:
    return Painted(lit.vertices_m, lit.faces, scale.rgb(lit.value)[lit.cell_of_face])


def _soil_sides(soil: LitMesh, theme: Theme) -> Painted:
    """Walls of soil seen through the panes: from the rim of the soil mesh down to the bottom."""
    rim = _rim_edges(soil.faces)
    top = soil.vertices_m[rim]
    foot = top * [1, 1, 0]
    n = len(rim)
    vertices = np.concatenate([top[:, 0], top[:, 1], foot[:, 0], foot[:, 1]])
    i = np.arange(n)
    faces = np.concatenate(
        [np.column_stack([i, i + n, i + 2 * n]), np.column_stack([i + n, i + 3 * n, i + 2 * n])]
    )
    return Painted(vertices, faces, np.tile(to_rgb(theme.soil), (len(faces), 1)))


def _buried(points: np.ndarray, soil: LitMesh) -> np.ndarray:
    """Which points (n, 3) lie under the nearest corner of the soil."""
    nearest = cKDTree(soil.vertices_m[:, :2]).query(points[:, :2])[1]
    return soil.vertices_m[nearest, 2] > points[:, 2]


def _rim_edges(faces: np.ndarray) -> np.ndarray:
    """Edges (n, 2) that belong to one triangle only."""
    edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    unique, count = np.unique(edges, axis=0, return_counts=True)
    return unique[count == 1]


def _tank_lines(glass: Glass, theme: Theme) -> list[tuple[np.ndarray, dict]]:
    """Edges of the tank's inside and of the water surface, with how each is drawn."""
    size = np.array([glass.length_m, glass.width_m, 1.0])
    ring = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]], float)

    def around(z: float) -> list[np.ndarray]:
        corners = np.column_stack([ring, np.full(5, z)]) * size
        return [corners[i : i + 2] for i in range(4)]

    frame = dict(color=theme.frame, lw=0.9)
    lines = [(line, frame) for line in around(0.0) + around(glass.height_m)]
    lines += [
        (np.stack([a[0], b[0]]), frame) for a, b in zip(around(0.0), around(glass.height_m), strict=True)
    ]
    if glass.water_m > 0:
        lines += [(line, dict(color="#3c8ea3", lw=0.9)) for line in around(glass.water_m)]
    return lines
