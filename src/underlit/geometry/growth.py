"""The skeleton of a piece of driftwood: limbs that wander, taper, kink and fork."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from underlit.geometry.shapes import frames
from underlit.kernels.limb import lower_to_limb

LOBES = 0.10  # how far the cross-section of a limb departs from a circle, as a share of its radius
TWIST_PER_M = 9.0  # how fast the lobes wind round the limb [rad m-1]


@dataclass(frozen=True, eq=False)
class Limb:
    """One unforked limb: its axis (n, 3) [m] and its radius at each point (n,) [m]."""

    points: np.ndarray
    radii: np.ndarray

    @cached_property
    def along(self) -> np.ndarray:
        """Distance from the start along the axis, shape (n,). [m]"""
        return np.append(0.0, np.cumsum(np.linalg.norm(np.diff(self.points, axis=0), axis=1)))

    @cached_property
    def _uv(self) -> tuple[np.ndarray, np.ndarray]:
        _, u, v = frames(self.points)
        c, s = np.cos(TWIST_PER_M * self.along)[:, None], np.sin(TWIST_PER_M * self.along)[:, None]
        return c * u + s * v, c * v - s * u

    @property
    def u(self) -> np.ndarray:
        """First cross direction at each point, winding round the axis, shape (n, 3)."""
        return self._uv[0]

    @property
    def v(self) -> np.ndarray:
        """Second cross direction, shape (n, 3)."""
        return self._uv[1]

    @property
    def area_m2(self) -> float:
        """Surface of a round limb of these radii. [m²]"""
        return float(np.sum(np.diff(self.along) * math.pi * (self.radii[1:] + self.radii[:-1])))

    def finer(self, n: int) -> Limb:
        """The same limb with n points for every one, each on the straight line between its neighbours."""
        at = np.linspace(0.0, len(self.radii) - 1.0, n * (len(self.radii) - 1) + 1)
        old = np.arange(len(self.radii))
        points = np.stack([np.interp(at, old, p) for p in self.points.T], axis=1)
        return Limb(points, np.interp(at, old, self.radii))

    def at_least(self, radius: float) -> Limb:
        """The same limb, nowhere thinner than this. [m]"""
        return replace(self, radii=np.maximum(self.radii, radius))

    def lower(self, block: np.ndarray, origin: np.ndarray, step: float, margin: float) -> None:
        """Lower a block of samples to their distance from the limb, as far as `margin` outside it. [m]

        See `kernels.limb.lower_to_limb`.
        """
        lobes = np.float32(LOBES)
        lower_to_limb(self.points, self.radii, self.u, lobes, block, origin, step, np.float32(margin))


def grow(
    rng: np.random.Generator,
    reach: float,
    radius_base: float,
    radius_tip: float,
    branches: int,
    depth: int,
    spread: float,
    rise: float,
    gnarl: float,
) -> list[Limb]:
    """Limbs of a whole piece, each after the one that it leaves; the crown stands at x = y = 0."""
    grower = _Grower(rng, reach, radius_tip, depth, gnarl)
    crown = np.array([0.0, 0.0, 1.3 * radius_base])
    limbs = grower.roots(crown, radius_base, spread)
    azimuths = (np.arange(branches) + 0.5) / branches - 0.5
    main = int(np.argmin(np.abs(azimuths)))
    for b in range(branches):
        azimuth = spread * (azimuths[b] + rng.uniform(-0.3, 0.3) / branches) if b != main else 0.0
        slope = rise + (-1.0) ** b * rng.uniform(0.1, 0.4) if b != main else rise
        length = reach * math.cos(slope) * rng.uniform(0.5, 0.9) if b != main else 1.2 * reach
        radius = radius_base * (rng.uniform(0.4, 0.65) if b != main else 0.8)
        heading = _heading(azimuth, slope)
        limbs += grower.limb(crown, heading, length, radius, level=1)
    farthest = max(limb.points[:, 0].max() for limb in limbs)
    return [replace(limb, points=limb.points * (reach / farthest)) for limb in limbs]


@dataclass(frozen=True)
class _Grower:
    rng: np.random.Generator
    reach: float
    radius_tip: float
    depth: int
    gnarl: float

    def roots(self, crown: np.ndarray, radius: float, spread: float) -> list[Limb]:
        """Short thick roots away from the fan, down to the ground: what the crown stands on."""
        n = int(self.rng.integers(4, 7))
        free = max(2.0 * math.pi - 0.6 * spread, math.pi)
        limbs = []
        for k in range(n):
            azimuth = math.pi + free * ((k + 0.5) / n - 0.5) + self.rng.uniform(-0.2, 0.2)
            length = radius * self.rng.uniform(2.6, 5.0)
            walk = self._walk(crown, _heading(azimuth, -0.35), length, radius, droop=0.5)
            taper = np.linspace(1.0, 0.0, len(walk)) ** 1.1
            limbs.append(Limb(walk, radius * (0.14 + self.rng.uniform(0.5, 0.68) * taper)))
        return limbs

    def limb(
        self, start: np.ndarray, heading: np.ndarray, length: float, radius: float, level: int
    ) -> list[Limb]:
        """A limb and all that leaves it."""
        walk = self._walk(start, heading, length, radius, droop=self.rng.uniform(-0.5, 0.6))
        share = np.linspace(0.0, 1.0, len(walk))
        end = max(self.radius_tip, 0.12 * radius)
        radii = end + (radius - end) * (1.0 - share) ** 0.85
        limbs = []
        for at in self._forks(level):
            i = min(int(at * (len(walk) - 1)), len(walk) - 2)
            radii = radii * (1.0 + 0.22 * np.exp(-(((share - at) * length / (1.5 * radii[i])) ** 2)))
            limbs += self._fork(walk, radii, i, length * (1.0 - at), level)
        return [Limb(walk, radii), *limbs]

    def _forks(self, level: int) -> list[float]:
        """Where along a limb others leave it, as shares of its length."""
        if level >= self.depth:
            return []
        n = int(self.rng.integers(2, 5)) if level == 1 else int(self.rng.integers(1, 4))
        return [float(0.3 + 0.62 * (k + self.rng.uniform(0.1, 0.9)) / n) for k in range(n)]

    def _fork(self, walk: np.ndarray, radii: np.ndarray, i: int, rest: float, level: int) -> list[Limb]:
        """A side limb at point i, or now and then only the stub of one that broke off."""
        ahead = walk[i + 1] - walk[i]
        ahead /= np.linalg.norm(ahead)
        side = np.cross(ahead, self.rng.normal(0.0, 1.0, 3) + np.array([0.0, 0.0, 0.6]))
        side /= np.linalg.norm(side)
        angle = self.rng.uniform(0.6, 1.1)
        heading = math.cos(angle) * ahead + math.sin(angle) * side
        radius = max(self.radius_tip, radii[i] * self.rng.uniform(0.45, 0.72))
        if self.rng.random() < 0.18:
            stub = walk[i] + np.linspace(0.0, 1.0, 4)[:, None] * heading * (
                radii[i] * self.rng.uniform(1.6, 2.6)
            )
            return [Limb(stub, np.linspace(radius, 0.7 * radius, 4))]
        length = rest * self.rng.uniform(0.55, 0.95)
        if length < 7.0 * radius:  # a bud: it would only be a knob
            return []
        return self.limb(walk[i], heading, length, radius, level + 1)

    def _walk(
        self, start: np.ndarray, heading: np.ndarray, length: float, radius: float, droop: float
    ) -> np.ndarray:
        """Points of a wandering line: bends persist, kinks come now and then, the first aim draws it back."""
        step = min(max(0.5 * radius, 0.006), length / 5.0)
        n = max(5, round(length / step))
        aim, bend, point, line = heading, np.zeros(3), start, [start]
        for _ in range(n):
            bend = 0.75 * bend + self.rng.normal(0.0, 0.12 * self.gnarl, 3)
            if self.rng.random() < 0.06:
                heading = heading + self.rng.normal(0.0, 0.6 * self.gnarl, 3)
            aim = aim - np.array([0.0, 0.0, droop / n])
            heading = heading + bend + 0.14 * (aim - heading)
            if point[2] < 0.9 * radius and heading[2] < 0.0:  # it lies on the ground
                heading[2] *= -0.3
                aim = aim * [1.0, 1.0, 0.0]
            heading /= np.linalg.norm(heading)
            point = point + heading * (length / n)
            line.append(point)
        return np.array(line)


def _heading(azimuth: float, slope: float) -> np.ndarray:
    c = math.cos(slope)
    return np.array([c * math.cos(azimuth), c * math.sin(azimuth), math.sin(slope)])
