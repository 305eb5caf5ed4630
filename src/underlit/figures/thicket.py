"""Leaves as the eye sees them: a cloud that hides what is behind it and sends back part of the light in it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from matplotlib.path import Path
from numpy.typing import ArrayLike
from scipy.ndimage import gaussian_filter, map_coordinates

from underlit.figures.glow import Glow
from underlit.kernels.leaves import ANGLE_RULES, HORIZONTAL, SPHERICAL, VERTICAL, relative_frequency

_STEPS = 8  # along a line of sight through one cloud
_FAINTEST = 0.01  # of what is behind, shining through: below it, the rest of a cloud is not looked at
_COLUMN_M = 0.004  # fineness of outline and ground
_MEAN_COSINE = 0.7  # of light going down among leaves: light from all sides over that on the horizontal
_CLUMPS = (((0.014, 0.014, 0.030), 0.9), ((0.005, 0.005, 0.009), 1.1))  # decoration: sizes [m] and unevenness
_RAGGED_M, _RAGGED = 0.012, 0.12  # decoration: size of tufts [m], and how uneven the top, of the height


@dataclass(frozen=True)
class Thicket:
    """A canopy.

    Attributes
    ----------
    low_m, high_m : ndarray, shape (2,)
        Rectangle round the outline. [m]
    ground_m : ndarray, shape (ny, nx)
        Height of the soil in columns over that rectangle; infinite outside the outline. [m]
    height_m : float
        Of the leaves above the soil. [m]
    hiding_per_m : float
        Leaf area per volume as seen by a level line of sight. [m-1]
    glow : Glow
        Light that closely packed leaves would send out, at the corners of boxes. [ln cd m-2]
    corners_m : (z, y, x)
        Of those boxes. [m]
    """

    low_m: np.ndarray
    high_m: np.ndarray
    ground_m: np.ndarray
    height_m: float
    hiding_per_m: float
    glow: Glow
    corners_m: tuple[np.ndarray, np.ndarray, np.ndarray]

    def along(
        self, at_m: np.ndarray, way: np.ndarray, length_m: np.ndarray, path_m: np.ndarray, wet: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Light that stretches of sight gather in the leaves, X, Y, Z of each light, and what they let through, (n,).

        Parameters
        ----------
        at_m, way : ndarray, shape (n, 3)
            Start and unit direction. [m]
        length_m : ndarray, shape (n,)
            [m]
        path_m : ndarray, shape (n,)
            Water between the start and the front pane. [m]
        wet : ndarray of bool, shape (n,)
        """
        light, left = np.zeros((len(at_m), self.glow.log_xyz.shape[-1])), np.ones(len(at_m))
        near, far = self._span(at_m, way, length_m)
        crosses = np.flatnonzero(far > near)
        step = (far - near)[crosses] / _STEPS
        # Each line starts its steps elsewhere, or the steps would show as rings.
        rng = np.random.default_rng(1)
        start = near[crosses] + step * rng.random(len(crosses))
        for k in range(_STEPS):
            t = start + k * step
            point = at_m[crosses] + t[:, None] * way[crosses]
            inside = self._holds(point) & (left[crosses] > _FAINTEST)
            ray, point = crosses[inside], point[inside]
            kept = np.exp(-self.hiding_per_m * _clumps(point) * step[inside])
            sent = self._sent(point, path_m[ray] + np.where(wet[ray], t[inside], 0.0), rng)
            light[ray] += (left[ray] * (1.0 - kept))[:, None] * sent
            left[ray] *= kept
        return light, left

    def _span(self, at_m: np.ndarray, way: np.ndarray, length_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Where a stretch enters and leaves the box round the outline. [m]"""
        low, high = self.low_m, self.high_m
        with np.errstate(divide="ignore", invalid="ignore"):
            one, other = (low - at_m[:, :2]) / way[:, :2], (high - at_m[:, :2]) / way[:, :2]
        enter = np.fmax(np.fmin(one, other).max(axis=1), 0.0)
        leave = np.fmin(np.fmax(one, other).min(axis=1), length_m)
        return enter, leave

    def _holds(self, point: np.ndarray) -> np.ndarray:
        """Which points lie among the leaves; the top is drawn ragged."""
        shape = np.array(self.ground_m.shape[::-1])
        column = ((point[:, :2] - self.low_m) / (self.high_m - self.low_m) * shape).astype(np.int64)
        i, j = np.clip(column, 0, shape - 1).T
        above = point[:, 2] - self.ground_m[j, i]
        tufts = unevenness(point * np.array([1.0, 1.0, 0.0]) / _RAGGED_M)
        return (above > 0.0) & (above < self.height_m * (1.0 + _RAGGED * tufts))

    def _sent(self, point: np.ndarray, path_m: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Light at one of the eight corners around each point, drawn by nearness: right on average, and quick."""
        index = []
        for corners, axis in zip(self.corners_m, (2, 1, 0), strict=True):
            i, u = between(corners, point[:, axis])
            index.append(i + (rng.random(len(u)) < u))
        vertex = np.ravel_multi_index(index, [len(corners) for corners in self.corners_m])
        return self.glow.seen(vertex[:, None], np.ones((len(vertex), 1), np.float32), path_m)


def scattered(reflectance: np.ndarray, transmittance: np.ndarray) -> np.ndarray:
    """Reflectance of a level matt surface that is as bright, in the same light, as closely packed leaves.

    A cloud of leaves sends out its single-scattering albedo times the light from all sides over 4 pi; that light is
    taken as the downward irradiance over a mean cosine of 0.7.
    """
    return (reflectance + transmittance) / (4.0 * _MEAN_COSINE)


def seen_level(leaf_angle: str) -> float:
    """Area that leaves show to a level line of sight, of their own: 0.5 for a spherical rule."""
    rule = ANGLE_RULES.index(leaf_angle)
    if rule in (SPHERICAL, HORIZONTAL, VERTICAL):
        return {SPHERICAL: 0.5, HORIZONTAL: 0.0, VERTICAL: 2.0 / math.pi}[rule]
    inclination = np.linspace(0.0, 0.5 * math.pi, 181)
    frequency = np.array([relative_frequency(rule, angle) for angle in inclination])
    return 2.0 / math.pi * float(frequency @ np.sin(inclination) / frequency.sum())


def columns(
    outline_m: ArrayLike, ground: Callable[[tuple[np.ndarray, np.ndarray]], np.ndarray]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rectangle round an outline, low and high corner, and the ground in it: see `Thicket`."""
    corners = np.asarray(outline_m, float)
    low, high = corners.min(axis=0), corners.max(axis=0)
    nx, ny = np.maximum(np.ceil((high - low) / _COLUMN_M), 1).astype(int)
    x = low[0] + (np.arange(nx) + 0.5) * (high[0] - low[0]) / nx
    y = low[1] + (np.arange(ny) + 0.5) * (high[1] - low[1]) / ny
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    height = np.where(Path(corners).contains_points(points), ground((points[:, 1], points[:, 0])), np.inf)
    return low, high, height.reshape(ny, nx)


def _clumps(point_m: np.ndarray) -> np.ndarray:
    density = np.ones(len(point_m))
    for size, spread in _CLUMPS:
        density += spread * unevenness(point_m / np.array(size))
    return np.maximum(density, 0.0)


def unevenness(point: np.ndarray) -> np.ndarray:
    """Decoration: the same smooth noise in space for everybody, features about 2 across, mean 0, spread 1."""
    return map_coordinates(_lattice(), np.asarray(point).T, order=1, mode="grid-wrap")


@cache
def _lattice() -> np.ndarray:
    noise = gaussian_filter(np.random.default_rng(20).standard_normal((64, 64, 64)), 0.8, mode="wrap")
    return ((noise - noise.mean()) / noise.std()).astype(np.float32)


def between(corners: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corner before each coordinate, and how far it is on to the next, 0..1."""
    i = np.clip(np.searchsorted(corners, at, side="right") - 1, 0, len(corners) - 2)
    return i, np.clip((at - corners[i]) / (corners[i + 1] - corners[i]), 0.0, 1.0)
