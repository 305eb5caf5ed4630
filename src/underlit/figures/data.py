"""What the drawing functions take: plain arrays in metres, free of any result or scene."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from underlit.figures.outline import Coverage


@dataclass(frozen=True)
class LightMap:
    """Light on a rectangular grid of cells.

    Attributes
    ----------
    x_edges_m, y_edges_m : ndarray, shape (nx + 1,), (ny + 1,)
        Cell edges, to the right and up in the picture. [m]
    value : ndarray, shape (ny, nx)
        [umol m-2 s-1], or what the figure's scale says.
    std_err : ndarray, shape (ny, nx), optional
        Standard error, unit of `value`.
    """

    x_edges_m: np.ndarray
    y_edges_m: np.ndarray
    value: np.ndarray
    std_err: np.ndarray | None = None

    @property
    def x_m(self) -> np.ndarray:
        return 0.5 * (self.x_edges_m[1:] + self.x_edges_m[:-1])

    @property
    def y_m(self) -> np.ndarray:
        return 0.5 * (self.y_edges_m[1:] + self.y_edges_m[:-1])


@dataclass(frozen=True)
class Zone:
    """A plant zone on the soil: what to call it, closed outline (n, 2) seen from above, height of leaves. [m]"""

    name: str
    outline_m: np.ndarray
    leaves_m: float = 0.0


@dataclass(frozen=True)
class Solid:
    """A piece of hardscape in plan: what is seen of it from above, and where it stands in the soil."""

    name: str
    above: Coverage
    standing: Coverage


@dataclass(frozen=True)
class Plan:
    """What is drawn over a map of the soil.

    Attributes
    ----------
    length_m, width_m : float
        Inside of the tank. [m]
    glass_m : float
        Thickness of the panes. [m]
    solids : sequence of Solid
    zones : sequence of Zone
    fixtures_m : sequence of ndarray, shape (n, 2)
        Outlines of the lamps from above. [m]
    points_m : ndarray, shape (n, 2)
        Meter points seen from above. [m]
    readings : ndarray, shape (n,)
        What to write at them. [umol m-2 s-1]
    """

    length_m: float
    width_m: float
    glass_m: float = 0.005
    solids: Sequence[Solid] = ()
    zones: Sequence[Zone] = ()
    fixtures_m: Sequence[np.ndarray] = ()
    points_m: np.ndarray = field(default_factory=lambda: np.zeros((0, 2)))
    readings: np.ndarray = field(default_factory=lambda: np.zeros(0))
