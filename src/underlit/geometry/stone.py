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

TAPER = 0.16  # how much narrower a stone is at its top than at its middle: it lies on its broad side

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
        Broken rock, with plane faces, worn edges and layers; or a water-worn pebble.
    seed : int
        Same seed, same stone.
    roughness : float
        0 is smooth, 0.2 ordinary, 1 wild.
    triangles : int
        About this many, 100 to 500 000.

    Returns
    -------
    Mesh
        Watertight; the origin is under the middle of the bounding box, at its lowest point. The layers of
        all stones dip the same way until they are turned, as in one outcrop.

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
    cell = math.sqrt(
        4.0 * math.pi / len(faces) * 4.0 / math.sqrt(3.0)
    )  # side of a triangle on the unit sphere
    points = direction * shape(direction, rng, roughness, cell)[:, None]
    points[:, :2] *= (1.0 - TAPER * points[:, 2])[:, None]
    low, high = points.min(axis=0), points.max(axis=0)
    points = (points - 0.5 * (low + high)) / (high - low) + (0.0, 0.0, 0.5)
    return make_mesh(name, points * np.asarray(size, np.float64), faces)


def _check(size: Sequence[float], style: str, roughness: float, triangles: int) -> None:
    fewest, most = TRIANGLES
    faults = {
        f"size {tuple(size)}: give three lengths above zero.": len(size) == 3 and min(size) > 0.0,
        f"unknown style {style!r}: write one of {', '.join(STYLES)}.": style in STYLES,
        f"roughness {roughness}: give a value from 0 to 1.": 0.0 <= roughness <= 1.0,
        f"{triangles} triangles: give {fewest} to {most}.": fewest <= triangles <= most,
    }
    for what, fine in faults.items():
        if not fine:
            raise MeshError(what, where="stone")


def _faceted(direction: np.ndarray, rng: np.random.Generator, roughness: float, cell: float) -> np.ndarray:
    roughness = 1.2 * roughness / (1.0 + roughness)  # beyond 0.5 it would all be spikes
    normal, distance = _cuts(rng, chips=26)
    slope = np.maximum(direction @ normal.T, 0.0) / distance
    sharpness = 70.0 / (1.0 + 2.0 * roughness)
    radius = np.sum(slope**sharpness, axis=1) ** (-1.0 / sharpness)
    seed = int(rng.integers(1 << 30))
    point = direction * radius[:, None]
    drift = [fractal_noise(point * 1.4, seed + k, octaves=3, cell=1.4 * cell) for k in range(3)]
    warped = point + 0.10 * np.stack(drift, axis=1)
    relief = 0.10 * gradient_noise(point * 1.1, seed + 10)
    relief += 0.45 * roughness * _layers(warped, seed + 20)
    relief -= 0.30 * roughness * np.maximum(ridged_noise(warped * 1.3, seed + 30, cell=1.3 * cell) - 0.9, 0.0)
    relief += 0.22 * roughness * fractal_noise(warped * 4.0, seed + 40, octaves=6, gain=0.55, cell=4.0 * cell)
    return radius * (1.0 + relief)


def _cuts(rng: np.random.Generator, chips: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """Planes that bound the stone: unit normals (k, 3) and distances (k,) from its middle.

    Twelve broad ones spread evenly and then shaken, one it stands on, and chips that take off corners only.
    """
    k = np.arange(12) + 0.5
    z, phi = 1.0 - 2.0 * k / 12, math.pi * (1.0 + math.sqrt(5.0)) * k
    normal = np.stack([np.sqrt(1.0 - z * z) * np.cos(phi), np.sqrt(1.0 - z * z) * np.sin(phi), z], axis=1)
    normal += rng.normal(0.0, 0.3, normal.shape)
    normal = np.concatenate([normal, [[0.0, 0.0, -1.0]], rng.normal(0.0, 1.0, (chips, 3))])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    distance = np.concatenate([rng.uniform(0.75, 1.1, len(k)), [0.7], rng.uniform(0.98, 1.25, chips)])
    return normal, distance


def _layers(point: np.ndarray, seed: int) -> np.ndarray:
    """Steps and grooves of bedding planes of uneven strength, between about -0.7 and 0.7."""
    pole = np.array([math.sin(_DIP) * math.cos(_STRIKE), math.sin(_DIP) * math.sin(_STRIKE), math.cos(_DIP)])
    depth = point @ pole
    half = np.full_like(depth, 0.5)
    hardness = gradient_noise(np.stack([depth * 5.0, half, half], axis=1), seed)
    saw = depth * 4.0 % 1.0
    step = np.where(saw < 0.8, saw / 0.8, (1.0 - saw) / 0.2) - 0.5
    strength = np.clip(0.6 + 1.2 * gradient_noise(point * 1.5, seed + 1), 0.0, 1.0)
    return strength * (0.8 * hardness + 0.35 * step)


def _rounded(direction: np.ndarray, rng: np.random.Generator, roughness: float, cell: float) -> np.ndarray:
    normal, distance = _cuts(rng)
    slope = np.maximum(direction @ normal.T, 0.0) / distance
    radius = np.sum(slope**5.0, axis=1) ** (-0.2)
    seed = int(rng.integers(1 << 30))
    relief = (0.1 + 0.5 * roughness) * 0.5 * gradient_noise(direction * 1.1, seed)
    relief += 0.05 * roughness * fractal_noise(direction * 3.0, seed + 1, octaves=4, cell=3.0 * cell)
    return radius * (1.0 + relief)
