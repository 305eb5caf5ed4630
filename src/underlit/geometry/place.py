"""Putting a mesh into the tank: scale, turn, lean, move, and lower it until it rests."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from underlit.geometry.mesh import Mesh
from underlit.geometry.soil import Soil

# Azimuth of the named directions, seen from above, counted from x (right) towards y (back). [rad]
TOWARDS = {"right": 0.0, "back": 0.5 * math.pi, "left": math.pi, "front": -0.5 * math.pi}


def place(
    mesh: Mesh,
    position: Sequence[float],
    *,
    turn: float = 0.0,
    lean: float = 0.0,
    lean_to: float | str = 0.0,
    scale: float = 1.0,
    height: float | None = None,
    soil: Soil | None = None,
    sink: float = 0.0,
) -> Mesh:
    """A mesh scaled, turned, leant and put at its place, in that order.

    Parameters
    ----------
    mesh : Mesh
        Its origin comes to `position` as seen from above.
    position : sequence of 2 or 3 floats
        x, y and, if given, z of the underside (the lowest vertex). [m] Without z the mesh is lowered onto
        the soil until it touches it anywhere; without soil it stands at height 0.
    turn : float
        About the vertical, counter-clockwise seen from above. [rad]
    lean : float
        How far the upright is tipped. [rad]
    lean_to : float or {"right", "back", "left", "front"}
        Where its top goes: azimuth from x towards y [rad], or a pane. In the tank's axes, whatever the turn.
    scale : float
        Factor on all lengths.
    height : float, optional
        Bounding height that the mesh is scaled to as it stands, after `turn` and `lean`, in place of
        `scale`. [m]
    soil : Soil, optional
    sink : float
        How much lower than resting or than z it is put: pressed into the soil. [m]

    Returns
    -------
    Mesh
    """
    vertices = mesh.vertices_m @ _rotation(turn, lean, lean_to).T
    if height is not None:
        scale = height / float(np.ptp(vertices[:, 2]))
    vertices = vertices * scale
    vertices[:, 0] += position[0]
    vertices[:, 1] += position[1]
    if len(position) > 2:
        vertices[:, 2] += position[2] - vertices[:, 2].min()
    else:
        ground = 0.0 if soil is None else soil.height(vertices[:, 0], vertices[:, 1])
        vertices[:, 2] -= (vertices[:, 2] - ground).min()
    vertices[:, 2] -= sink
    return mesh.moved_to(vertices)


def _rotation(turn: float, lean: float, lean_to: float | str) -> np.ndarray:
    azimuth = TOWARDS[lean_to] if isinstance(lean_to, str) else lean_to
    return _about_z(azimuth) @ _about_y(lean) @ _about_z(turn - azimuth)


def _about_z(angle: float) -> np.ndarray:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _about_y(angle: float) -> np.ndarray:
    """Turns the upright towards x."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
