"""Looking at the tank: a camera, painted triangles, and which part of a line is hidden behind them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from underlit.figures.raster import Fragments, rasterise

FINE = 3  # sub-pixels along each side of a pixel of the picture
_JUMP = 0.012  # a step in relative depth larger than this between neighbours is drawn as an edge


@dataclass(frozen=True)
class Painted:
    """Triangles with a colour each.

    Attributes
    ----------
    vertices_m : ndarray, shape (V, 3)
        [m]
    faces : ndarray, shape (F, 3)
    rgb : ndarray, shape (F, 3)
        sRGB, 0..1.
    """

    vertices_m: np.ndarray
    faces: np.ndarray
    rgb: np.ndarray


@dataclass(frozen=True)
class Camera:
    """A perspective view on a picture of `size` (width, height) pixels.

    Attributes
    ----------
    eye_m : ndarray, shape (3,)
    axes : ndarray, shape (3, 3)
        Rows: right, up and forward, unit vectors.
    focal_px : float
    centre_px : ndarray, shape (2,)
    """

    eye_m: np.ndarray
    axes: np.ndarray
    focal_px: float
    centre_px: np.ndarray
    size: tuple[int, int]

    @classmethod
    def on_box(
        cls, low_m: Sequence[float], high_m: Sequence[float], width_px: int, *, azimuth_deg: float = -24.0,
        elevation_deg: float = 20.0, distance: float = 2.6, tallest: float = 0.75, margin_px: int = 6,
    ) -> Camera:  # fmt: skip
        """A view that just holds a box.

        Parameters
        ----------
        azimuth_deg : float
            Where the viewer stands: 0 before the front pane, positive to the right.
        distance : float
            Of the eye from the middle, in diagonals of the box.
        tallest : float
            Largest height of the picture over its width.
        """
        low, high = np.asarray(low_m, float), np.asarray(high_m, float)
        azimuth, elevation = np.radians([azimuth_deg, elevation_deg])
        forward = np.array(
            [-np.sin(azimuth) * np.cos(elevation), np.cos(azimuth) * np.cos(elevation), -np.sin(elevation)]
        )
        right = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
        axes = np.stack([right, np.cross(right, forward), forward])
        eye = (low + high) / 2 - forward * distance * np.linalg.norm(high - low)
        unit = cls(eye, axes, 1.0, np.zeros(2), (0, 0))
        corners, _ = unit.project(np.stack(np.meshgrid(*zip(low, high, strict=True)), -1).reshape(-1, 3))
        span = np.ptp(corners, axis=0)
        focal = min((width_px - 2 * margin_px) / span[0], (tallest * width_px - 2 * margin_px) / span[1])
        size = np.ceil(span * focal + 2 * margin_px).astype(int)
        centre = size / 2 - focal * (corners.max(0) + corners.min(0)) / 2
        return cls(eye, axes, float(focal), centre, (int(size[0]), int(size[1])))

    def project(self, points_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Pixels (n, 2), counted from the top left, and nearness (n,), one over the depth."""
        across, up, depth = self.axes @ (np.asarray(points_m, float) - self.eye_m).T
        flip = -1.0  # rows of a picture are counted downwards
        pixel = self.focal_px * np.column_stack([across / depth, flip * up / depth]) + self.centre_px
        return pixel, 1.0 / depth

    def render(self, layers: Sequence[Painted], ink: Sequence[float]) -> tuple[np.ndarray, Fragments]:
        """Picture (height, width, 4) in 0..1, clear where nothing is seen; and its fragments."""
        offsets = np.cumsum([0, *(len(layer.vertices_m) for layer in layers)])
        faces = np.concatenate([layer.faces + at for layer, at in zip(layers, offsets, strict=False)])
        rgb = np.concatenate([layer.rgb for layer in layers])
        owner = np.repeat(np.arange(len(layers)), [len(layer.faces) for layer in layers])
        pixel, nearness = self.project(np.concatenate([layer.vertices_m for layer in layers]))
        width, height = self.size
        seen = rasterise(pixel * FINE, nearness, faces, (height * FINE, width * FINE))
        return _shrink(_paint(seen, rgb, owner, ink)), seen

    def visible(self, points_m: np.ndarray, seen: Fragments, slack: float = 0.004) -> np.ndarray:
        """Which points (n, 3) no triangle hides."""
        pixel, nearness = self.project(points_m)
        height, width = seen.face.shape
        column = np.clip((pixel[:, 0] * FINE).astype(int), 0, width - 1)
        row = np.clip((pixel[:, 1] * FINE).astype(int), 0, height - 1)
        return nearness >= seen.nearness[row, column] * (1 - slack)


def _paint(seen: Fragments, rgb: np.ndarray, owner: np.ndarray, ink: Sequence[float]) -> np.ndarray:
    """Fine picture with alpha; contours of things and steps in depth are inked."""
    covered = seen.face >= 0
    picture = np.zeros((*seen.face.shape, 4))
    picture[covered, :3] = rgb[seen.face[covered]]
    picture[covered, 3] = 1.0
    thing = np.where(covered, owner[seen.face], -1)
    edge = np.zeros(seen.face.shape, bool)
    near = np.where(covered, seen.nearness, 0.0)
    for axis in (0, 1):
        one, other = _neighbours(near, axis)
        a, b = _neighbours(thing, axis)
        step = (np.abs(one - other) > _JUMP * np.maximum(one, other)) & (a == b)
        mark = (a != b) | step
        for part in _neighbours(edge, axis):
            part |= mark
    picture[edge] = (*ink, 1.0)
    return picture


def _neighbours(array: np.ndarray, axis: int) -> tuple[np.ndarray, np.ndarray]:
    """Views of all cells but the last and all but the first along an axis."""
    return (array[:-1], array[1:]) if axis == 0 else (array[:, :-1], array[:, 1:])


def _shrink(fine: np.ndarray) -> np.ndarray:
    """Average sub-pixels, colours weighted by alpha."""
    height, width = fine.shape[0] // FINE, fine.shape[1] // FINE
    blocks = fine.reshape(height, FINE, width, FINE, 4)
    alpha = blocks[..., 3].mean((1, 3))
    colour = (blocks[..., :3] * blocks[..., 3:]).mean((1, 3)) / np.maximum(alpha, 1e-9)[..., None]
    return np.concatenate([np.clip(colour, 0, 1), alpha[..., None]], axis=-1)
