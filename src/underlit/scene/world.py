"""The solid things of a scene as shapes in place: the soil and the hardscape."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import repeat

from underlit import units
from underlit.errors import DataError, Fault, MeshError, SceneError
from underlit.geometry import (
    Mesh,
    Soil,
    cylinder,
    disc,
    ellipsoid,
    load_mesh,
    mapped_soil,
    place,
    profile_soil,
    read_height_map,
    refine,
    slab,
    sloped_soil,
    stone,
    wood,
)
from underlit.scene.document import Document, Path
from underlit.scene.hardscape import (
    CylinderPiece,
    DiscPiece,
    EllipsoidPiece,
    Hardscape,
    MeshPiece,
    Piece,
    SlabPiece,
    StonePiece,
    WoodPiece,
)
from underlit.scene.model import Scene

_TOUCH_M = 1e-3  # a piece may reach into a pane by its own roughness


@dataclass(frozen=True, eq=False)
class World:
    """Soil and hardscape of a scene, in the tank's coordinates.

    Parameters
    ----------
    soil : Soil
    hardscape : tuple of Mesh
        In the order of the scene file.
    warnings : tuple of str
        Pieces that reach out of the tank, one sentence each.
    """

    soil: Soil
    hardscape: tuple[Mesh, ...]
    warnings: tuple[str, ...] = ()


def build_world(scene: Scene) -> World:
    """Shape the soil, make or load each piece of hardscape, and set it in place.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    World

    Raises
    ------
    SceneError
        All files that cannot be used, and pieces far too large, each with its line in the scene file.
    """
    document = Document(scene.text, scene.name)
    faults: list[Fault] = []
    with _noting(faults, document, ("substrate", "height_map")):
        soil = shape_soil(scene)
    meshes = []
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        made = [pool.submit(_made, piece, scene) for piece in scene.hardscape]
        for i, mesh in enumerate(made):
            with _noting(faults, document, ("hardscape", i, "mesh")):
                meshes.append(mesh.result())
        if faults:
            raise SceneError(faults)
        placed = tuple(pool.map(set_piece, scene.hardscape, meshes, repeat(soil)))
    return World(soil, placed, tuple(_all_outside(scene, placed)))


@contextmanager
def _noting(faults: list[Fault], document: Document, path: Path) -> Iterator[None]:
    """Turn what is wrong with a file into a fault of the scene."""
    try:
        yield
    except (MeshError, DataError) as error:
        what = f"{error.where}: {error.what}" if error.where else error.what
        faults.append(Fault(document.where(path), what, error.hint))


def _made(piece: Hardscape, scene: Scene) -> Mesh:
    """A piece before it is set in place, of a size that a tank can hold."""
    mesh, tank = make_piece(piece, scene), scene.tank
    largest = max(mesh.report.size) * (piece.scale if piece.height is None else 0.0)
    if largest > 2.0 * math.hypot(tank.length, tank.width, tank.height):
        size = units.show(round(largest, 3), "length")
        raise MeshError(
            f"the piece is {size} large, in a tank of {units.show(tank.length, 'length')} length.",
            hint="Is its `unit` right? Or give its `height`.",
        )
    return mesh


def shape_soil(scene: Scene) -> Soil:
    """The soil's surface over the whole floor; below the rim, as the checks of the scene see to for the others."""
    length, width, substrate = scene.tank.length, scene.tank.width, scene.substrate
    if substrate.height_map is not None:
        soil = mapped_soil(length, width, read_height_map(scene.file(substrate.height_map)))
        if soil.z_m.max() >= scene.tank.height:
            high, rim = (
                units.show(round(float(z), 4), "length") for z in (soil.z_m.max(), scene.tank.height)
            )
            what = f"the soil rises to {high}, expected less than the height of the tank, {rim}."
            raise DataError(what, where=substrate.height_map, hint="Is the unit in its first line right?")
        return soil
    if substrate.profile is not None:
        return profile_soil(length, width, substrate.profile, along=substrate.along)
    front, back, left, right = substrate.front, substrate.back, substrate.left, substrate.right
    return sloped_soil(length, width, front=front, back=back, left=left, right=right)


def make_piece(piece: Piece, scene: Scene) -> Mesh:
    """A piece of hardscape at the origin, before it is turned and set down."""
    match piece:
        case MeshPiece():
            return load_mesh(scene.file(piece.mesh), piece.unit)
        case StonePiece():
            return stone(
                piece.size,
                style=piece.style,
                seed=piece.seed,
                roughness=piece.roughness,
                triangles=piece.triangles,
                name=piece.name,
            )
        case WoodPiece():
            return wood(
                piece.reach,
                radius_base=0.5 * piece.thickness,
                radius_tip=0.5 * piece.tip,
                branches=piece.branches,
                depth=piece.forks + 1,
                spread=piece.spread,
                rise=piece.rise,
                gnarl=piece.gnarl,
                seed=piece.seed,
                triangles=piece.triangles,
                name=piece.name,
            )
        case CylinderPiece():
            return cylinder(0.5 * piece.diameter, piece.length, bend=piece.bend, name=piece.name)
        case SlabPiece():
            return slab(piece.size, name=piece.name)
        case EllipsoidPiece():
            return ellipsoid(piece.size, triangles=piece.triangles, name=piece.name)
        case DiscPiece():
            return disc(0.5 * piece.diameter, piece.thickness, name=piece.name)
    raise TypeError(f"no way to make a {type(piece).__name__}")


def set_piece(piece: Piece, mesh: Mesh, soil: Soil) -> Mesh:
    """Turn, lean, scale and set down a piece; without a height given it rests on the soil.

    Triangles too large for the patches on which its light is mapped are cut.
    """
    placed = place(
        mesh,
        piece.position,
        turn=piece.turn,
        lean=piece.lean,
        lean_to=piece.lean_to,
        scale=piece.scale,
        height=piece.height,
        soil=soil,
        sink=piece.sink,
    )
    return refine(placed, 0.5 * piece.patch)


def _all_outside(scene: Scene, placed: tuple[Mesh, ...]) -> Iterator[str]:
    for piece, mesh in zip(scene.hardscape, placed, strict=True):
        yield from _outside(scene, piece, mesh)


def _outside(scene: Scene, piece: Hardscape, mesh: Mesh) -> list[str]:
    """How far a mesh reaches through panes, in sentences."""
    low, high = mesh.vertices_m.min(axis=0), mesh.vertices_m.max(axis=0)
    beyond = {
        "left": -low[0],
        "right": high[0] - scene.tank.length,
        "front": -low[1],
        "back": high[1] - scene.tank.width,
    }
    return [
        f'"{piece.name}" reaches {units.show(round(float(by), 3), "length")} through the {side} pane.'
        for side, by in beyond.items()
        if by > _TOUCH_M
    ]
