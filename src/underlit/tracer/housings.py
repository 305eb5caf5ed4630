"""Lamp housings: a plate above the emitters and sides that reach below them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from underlit.geometry import Mesh, make_mesh
from underlit.scene.lamps import Fixture
from underlit.scene.model import Scene
from underlit.tracer.faces import fixture_axes

_CLEARANCE_M = 1e-3  # between the outermost emitters and the housing
_SIDES_OF_A_DISC = 48


def housing_meshes(scene: Scene) -> Iterator[tuple[Mesh, float]]:
    """Housings of the fixtures that have a shade, each with its reflectance.

    Parameters
    ----------
    scene : Scene

    Yields
    ------
    mesh : Mesh
        Open below. [m]
    reflectance : float
    """
    for fixture in scene.fixture:
        if fixture.shade is not None:
            yield housing_mesh(scene, fixture), fixture.shade.reflectance


def housing_mesh(scene: Scene, fixture: Fixture) -> Mesh:
    """Housing of a fixture that has a shade, in its place. [m]"""
    centre = np.array([*fixture.position, scene.emitter_height(fixture)])
    axes = fixture_axes(fixture.turn, fixture.tilt, fixture.tilt_to)
    mesh = _hood(_outline(fixture), fixture.shade.depth if fixture.shade else 0.0, fixture.name)
    return mesh.moved_to(centre + mesh.vertices_m @ axes)


def _outline(fixture) -> np.ndarray:
    """Corners of the housing in the fixture's plane, shape (n, 2). [m]"""
    sx, sy = (0.5 * size + _CLEARANCE_M for size in fixture.size)
    if fixture.shape in ("disc", "pendant"):
        angle = np.linspace(0.0, 2.0 * np.pi, _SIDES_OF_A_DISC, endpoint=False)
        # The polygon's sides, not its corners, touch the circle.
        radius = 1.0 / np.cos(np.pi / _SIDES_OF_A_DISC)
        return np.stack([sx * radius * np.cos(angle), sy * radius * np.sin(angle)], axis=1)
    return np.array([[-sx, -sy], [sx, -sy], [sx, sy], [-sx, sy]])


def _hood(outline: np.ndarray, depth: float, name: str) -> Mesh:
    """Sides and top over an outline; local z points the way the lamp faces."""
    n = len(outline)
    top = np.column_stack([outline, np.full(n, -_CLEARANCE_M)])
    low = np.column_stack([outline, np.full(n, depth)])
    i = np.arange(n)
    j = (i + 1) % n
    sides = np.concatenate([np.stack([i, j, j + n], axis=1), np.stack([i, j + n, i + n], axis=1)])
    plate = np.stack([np.zeros(n - 2, int), i[1:-1], i[2:]], axis=1)
    return make_mesh(name, np.concatenate([top, low]), np.concatenate([sides, plate]))
