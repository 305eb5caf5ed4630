"""Stones from a seed: broken rock with facets and layers, or a pebble from a river."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from underlit.errors import MeshError
from underlit.geometry.mesh import Mesh, make_mesh
from underlit.geometry.noise import fractal_noise, gradient_noise, ridged_noise
from underlit.geometry.shapes import sphere

STYLES = ("faceted", "rounded")
TRIANGLES = (100, 500_000)

# Bedding of a faceted stone before it is turned: the same for all seeds, so that a group of stones shares
# its strike.
_DIP, _STRIKE = math.radians(24.0), math.radians(18.0)


def stone(
    size: Sequence[float],
    *,
    style: str = "faceted",
    seed: int = 1,
    roughness: float = 0.2,
    triangles: int = 20_000,
    name: str = "stone",
) -> Mesh:
    """A closed stone of a given bounding box.

    Parameters
    ----------
    size : sequence of 3 floats
        Bounding box along x, y, z. [m]
    style : {"faceted", "rounded"}
        Broken rock, with plane faces, worn edges and layers that dip to the right; or a water-worn pebble.
    seed : int
        Same seed, same stone.
    roughness : float
        0 is smooth, 0.2 ordinary, 1 wild.
    triangles : int
        About this many, 100 to 500 000.

    Returns
    -------
    Mesh
        Watertight; the origin is under the middle of the bounding box, at its lowest point.

    Raises
    ------
    MeshError
        A value out of its range.

    Notes
    -----
    Every ray from the stone's middle meets its surface once, so the mesh never crosses itself. The faceted
    stone is a polyhedron of random cuts, blunted by a p-norm of the distances to its planes.
    """
    _check(size, style, roughness, triangles)
    direction, faces = sphere(triangles)
    rng = np.random.default_rng(seed)
    shape = _faceted if style == "faceted" else _rounded
    points = direction * shape(direction, rng, roughness)[:, None]
    low, high = points.min(axis=0), points.max(axis=0)
    points = (points - 0.5 * (low + high)) / (high - low) + (0.0, 0.0, 0.5)
    return make_mesh(name, points * np.asarray(size, np.float64), faces)


def _check(size: Sequence[float], style: str, roughness: float, triangles: int) -> None:
    faults = {
        f"size {tuple(size)}: give three lengths above zero.": len(size) == 3 and min(size) > 0.0,
        f"unknown style {style!r}: write one of {', '.join(STYLES)}.": style in STYLES,
        f"roughness {roughness}: give a value from 0 to 1.": 0.0 <= roughness <= 1.0,
        f"{triangles} triangles: give {TRIANGLES[0]} to {TRIANGLES[1]}.": TRIANGLES[0]
        <= triangles
        <= TRIANGLES[1],
    }
    for what, fine in faults.items():
        if not fine:
            raise MeshError(what, where="stone")


def _faceted(direction: np.ndarray, rng: np.random.Generator, roughness: float) -> np.ndarray:
    normal, distance = _cuts(rng)
    slope = np.maximum(direction @ normal.T, 0.0) / distance
    sharpness = 36.0 / (1.0 + roughness)
    radius = np.sum(slope**sharpness, axis=1) ** (-1.0 / sharpness)
    seed = int(rng.integers(1 << 30))
    point = direction * radius[:, None]
    warp = point + 0.12 * np.stack(
        [fractal_noise(point * 1.7, seed + k, octaves=3) for k in range(3)], axis=1
    )
    relief = 0.22 * fractal_noise(warp * 1.3, seed + 10, octaves=3)
    relief += (
        0.55 * roughness * (_layers(warp, seed + 20) + 0.5 * (ridged_noise(warp * 2.1, seed + 30) - 0.8))
    )
    relief += 0.12 * roughness * fractal_noise(point * 7.0, seed + 40, octaves=5, gain=0.6)
    return radius * (1.0 + relief)


def _cuts(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Planes that the stone is broken along: unit normals (k, 3) and distances (k,) from its middle."""
    k = np.arange(14) + 0.5
    z, phi = 1.0 - 2.0 * k / 14, math.pi * (1.0 + math.sqrt(5.0)) * k  # even spread, then shaken
    normal = np.stack([np.sqrt(1.0 - z * z) * np.cos(phi), np.sqrt(1.0 - z * z) * np.sin(phi), z], axis=1)
    normal += rng.normal(0.0, 0.35, normal.shape)
    normal = np.concatenate([normal, [[0.0, 0.0, -1.0]]])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    return normal, np.append(rng.uniform(0.72, 1.15, len(k)), 0.8)


def _layers(point: np.ndarray, seed: int) -> np.ndarray:
    """Steps and grooves of bedding planes of uneven strength, between about -0.5 and 0.5."""
    pole = np.array([math.sin(_DIP) * math.cos(_STRIKE), math.sin(_DIP) * math.sin(_STRIKE), math.cos(_DIP)])
    depth = point @ pole * 3.4
    hardness = gradient_noise(np.stack([depth, np.full_like(depth, 0.5), point[:, 0] * 0.6], axis=1), seed)
    saw = depth * 1.5 % 1.0
    step = np.where(saw < 0.86, 0.4 * saw / 0.86, 0.4 * (1.0 - saw) / 0.14)
    strength = 0.5 + gradient_noise(point * 1.6, seed + 1)
    return 0.9 * hardness + (step - 0.2) * np.clip(strength, 0.0, 1.0)


def _rounded(direction: np.ndarray, rng: np.random.Generator, roughness: float) -> np.ndarray:
    normal, distance = _cuts(rng)
    slope = np.maximum(direction @ normal.T, 0.0) / distance
    radius = np.sum(slope**5.0, axis=1) ** (-0.2)
    seed = int(rng.integers(1 << 30))
    relief = (0.1 + 0.5 * roughness) * 0.5 * gradient_noise(direction * 1.1, seed)
    relief += 0.05 * roughness * fractal_noise(direction * 3.0, seed + 1, octaves=4)
    return radius * (1.0 + relief)
