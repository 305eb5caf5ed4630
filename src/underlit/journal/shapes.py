"""Shapes of a tank for the page: meshes light enough to turn by hand, outlines, lamps, leaves."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from underlit.figures.reading import Reading
from underlit.journal.parcel import MOST, Parcel
from underlit.results.result import Surface

MOST_TRIANGLES = 15_000  # of all hardscape together, in three dimensions
_LEAF_ANGLES_RAD = np.radians(np.arange(0.5, 90.0))


def coarse_mesh(
    vertices_m: np.ndarray, faces: np.ndarray, cell_of_face: np.ndarray, most: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A mesh with fewer triangles, each of which still knows its cell.

    Vertices that fall into one small cube become one; triangles that lose their area go. Of each cube the vertex
    nearest to their mean stays: the mean itself lies inside of anything round, and thin branches would lose girth.

    Parameters
    ----------
    vertices_m : ndarray, shape (V, 3)
        [m]
    faces : ndarray, shape (F, 3)
    cell_of_face : ndarray, shape (F,)
    most : int
        Triangles wanted, at most.

    Returns
    -------
    vertices_m, faces, cell_of_face : ndarray
        As given, but coarser; as given, if there are few enough.
    """
    if len(faces) <= most:
        return vertices_m, faces, cell_of_face
    corners = vertices_m[faces]
    area = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    side = float(np.sqrt(2.0 * area.sum() / most))
    while True:
        merged, kept, cell = _clustered(vertices_m, faces, cell_of_face, side)
        if len(kept) <= most:
            return merged, kept, cell
        side *= 1.12


def _clustered(
    vertices_m: np.ndarray, faces: np.ndarray, cell_of_face: np.ndarray, side_m: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    _, cube = np.unique(np.floor(vertices_m / side_m).astype(np.int64), axis=0, return_inverse=True)
    cube = cube.ravel()
    count = np.bincount(cube)
    mean = np.stack([np.bincount(cube, along) / count for along in vertices_m.T], axis=1)
    nearest_first = np.lexsort((np.linalg.norm(vertices_m - mean[cube], axis=1), cube))
    merged = vertices_m[nearest_first[np.searchsorted(cube[nearest_first], np.arange(len(count)))]]
    a, b, c = cube[faces].T
    whole = (a != b) & (b != c) & (c != a)
    return merged, cube[faces][whole], cell_of_face[whole]


def mesh_record(surface: Surface, size_m: np.ndarray, most: int, parcel: Parcel) -> dict[str, Any]:
    """Vertices in steps of the tank's size, triangles, and the cell of each."""
    vertices, faces, cell = coarse_mesh(surface.vertices_m, surface.faces, surface.cell_of_face, most)
    low, high = np.minimum(vertices.min(axis=0), 0.0), np.maximum(vertices.max(axis=0), size_m)
    steps = np.round((vertices - low) / (high - low) * MOST)
    return {
        "low": low.tolist(),
        "high": high.tolist(),
        "vertices": parcel.add(steps, "u2"),
        "faces": parcel.add(faces, "u4"),
        "cell": parcel.add(cell, "u4"),
    }


def hardscape_meshes(read: Reading, parcel: Parcel) -> dict[str, Any]:
    """A mesh for each piece; the triangles are shared out by area."""
    pieces = {name: read.res.surface(name) for name in read.names("hardscape")}
    total = sum(float(piece.cell_area_m2.sum()) for piece in pieces.values())
    return {
        name: mesh_record(
            piece, read.size_m, max(60, int(MOST_TRIANGLES * piece.cell_area_m2.sum() / total)), parcel
        )
        for name, piece in pieces.items()
    }


def outlines(read: Reading, parcel: Parcel) -> list[dict[str, Any]]:
    """Each piece of hardscape from above, and where it stands in the soil: closed lines, in mm."""
    return [
        {
            "name": solid.name,
            "above": [_line(line, parcel) for line in solid.above.lines()],
            "standing": [_line(line, parcel) for line in solid.standing.lines()],
        }
        for solid in read.solids
    ]


def _line(points_m: np.ndarray, parcel: Parcel) -> dict[str, Any]:
    """Points of a line to the tenth of a millimetre."""
    return parcel.add(np.round(points_m, 4), "f4")


def lamp_records(read: Reading) -> list[dict[str, Any]]:
    """Where each fixture hangs, and how its channels send out light."""
    return [
        {
            "name": fixture.name,
            "round": fixture.shape in ("disc", "pendant"),
            "corners": np.round(lamp.corners_m, 5).tolist(),
            "aim": lamp.aim.tolist(),
            "shade": fixture.shade.depth if fixture.shade else 0.0,
            "beams": [beam_words(channel.beam) for channel in fixture.channel],
        }
        for fixture, lamp in zip(read.scene.fixture, read.lamps, strict=True)
    ]


def beam_words(beam: Any) -> dict[str, Any]:
    """How one channel's light spreads, as the page knows beams: a cosine power or a bell of a full width."""
    if beam.file is not None:
        return {"lens": "file", "fwhm": 0.0}
    return {"lens": beam.lens, "fwhm": beam.fwhm}


def leaf_records(read: Reading) -> list[dict[str, Any]]:
    """Leaves over the soil: outline, height, and what they take from a ray at each angle from the vertical."""
    found = []
    for plant in read.scene.plant:
        if plant.canopy is not None and plant.outline is not None:
            canopy = plant.canopy
            density = canopy.leaf_area_index[-1] * canopy.clumping / canopy.height
            found.append(
                {
                    "name": plant.name,
                    "outline": np.round(np.array(plant.outline), 5).tolist(),
                    "height": canopy.height,
                    "taken_per_m": np.round(density * projection(canopy.leaf_angle), 5).tolist(),
                }
            )
    return found


def projection(rule: str) -> np.ndarray:
    """Mean shadow of a leaf on the plane across a ray, per leaf area, at 0, 5, .. 90 degrees of the ray.

    Ross's function G for de Wit's rules of leaf inclination, averaged over azimuth.
    """
    ray = np.radians(np.arange(0.0, 91.0, 5.0))[:, None, None]
    leaf = _LEAF_ANGLES_RAD[None, :, None]
    azimuth = (np.arange(180) + 0.5)[None, None, :] * np.pi / 180
    facing = np.cos(ray) * np.cos(leaf) + np.sin(ray) * np.sin(leaf) * np.cos(azimuth)
    by_leaf = np.abs(facing).mean(axis=2)
    if rule == "horizontal":
        return np.cos(ray[:, 0, 0])
    weight = _FREQUENCY[rule](_LEAF_ANGLES_RAD)
    return by_leaf @ weight / weight.sum()


_FREQUENCY: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "spherical": np.sin,
    "planophile": lambda t: 1.0 + np.cos(2.0 * t),
    "erectophile": lambda t: 1.0 - np.cos(2.0 * t),
    "plagiophile": lambda t: 1.0 - np.cos(4.0 * t),
}
