"""Where a lamp hangs and how its beam opens, for drawing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

N_WATER = 1.333  # for the drawing only


@dataclass(frozen=True)
class Lamp:
    """A glowing face and its beams.

    Attributes
    ----------
    name : str
    corners_m : ndarray, shape (n, 3)
        Outline of the face. [m]
    aim : ndarray, shape (3,)
        Unit vector that the face looks along.
    beams_rad : tuple of float
        Full widths at half maximum, one for each beam there is; empty where a file gives the beam. [rad]
    """

    name: str
    corners_m: np.ndarray
    aim: np.ndarray
    beams_rad: tuple[float, ...]

    @property
    def height_m(self) -> float:
        """Of the middle of the face."""
        return float(self.corners_m[:, 2].mean())


def face(
    shape: str,
    size_m: tuple[float, float],
    centre_m: tuple[float, float, float],
    turn: float,
    tilt: float,
    tilt_to: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Outline (n, 3) of a glowing face and the direction (3,) it looks along.

    Parameters
    ----------
    shape : str
        `disc` and `pendant` are round (ellipses if the sizes differ), all others rectangles.
    turn, tilt, tilt_to : float
        About the vertical; away from straight down; azimuth of the side it then faces. [rad]
    """
    if shape in ("disc", "pendant"):
        around = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        flat = 0.5 * np.column_stack([np.cos(around), np.sin(around)])
    else:
        flat = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    flat = flat * size_m
    c, s = np.cos(turn), np.sin(turn)
    corners = np.column_stack([flat @ np.array([[c, s], [-s, c]]), np.zeros(len(flat))])
    # Tilting lifts the side it faces: a turn about the horizontal axis across `tilt_to`.
    toward = np.array([np.cos(tilt_to), np.sin(tilt_to), 0.0])
    along = corners @ toward
    corners += np.outer(along, toward * (np.cos(tilt) - 1) + np.array([0, 0, np.sin(tilt)]))
    aim = np.sin(tilt) * toward - np.cos(tilt) * np.array([0, 0, 1.0])
    return corners + np.asarray(centre_m), aim


def beam_edges(
    lamp: Lamp, beam_rad: float, across: int, water_m: float, floor_m: float, length_m: float
) -> list[np.ndarray]:
    """The two edges of a beam in an upright view: straight in air, bent at the water, ended by pane or floor.

    Parameters
    ----------
    across : int
        Coordinate that runs to the right in the view: 0 from the front, 1 from the side.
    water_m, floor_m : float
        Water level and lowest soil. [m]
    length_m : float
        Inside length of the tank in that view. [m]

    Returns
    -------
    list of ndarray, shape (n, 2)
        Right and height. [m]
    """
    middle = float(np.arctan2(lamp.aim[across], -lamp.aim[2]))
    ends = lamp.corners_m[:, across].argmin(), lamp.corners_m[:, across].argmax()
    edges = []
    for end, sign in zip(ends, (-1.0, 1.0), strict=True):
        x, _, z = lamp.corners_m[end][[across, 1, 2]]
        angle = middle + sign * beam_rad / 2
        if abs(angle) >= np.radians(89):
            continue
        line = [(x, z)]
        x_water = x + np.tan(angle) * (z - water_m)
        line.append((x_water, water_m))
        if 0 < x_water < length_m:
            slope = np.tan(np.arcsin(np.sin(angle) / N_WATER))
            pane = length_m if slope > 0 else 0.0
            depth = water_m - floor_m
            if slope != 0:
                depth = min(depth, (pane - x_water) / slope)
            line.append((x_water + slope * depth, water_m - depth))
        edges.append(np.array(line))
    return edges
