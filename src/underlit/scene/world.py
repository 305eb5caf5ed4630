"""The solid things of a scene as shapes in place: the soil and the hardscape."""

from __future__ import annotations

import math
from dataclasses import dataclass

from underlit.geometry import (
    Mesh,
    Soil,
    cylinder,
    disc,
    load_mesh,
    mapped_soil,
    place,
    profile_soil,
    read_height_map,
    slab,
    sloped_soil,
    stone,
    wood,
)
from underlit.scene.hardscape import (
    CylinderPiece,
    DiscPiece,
    MeshPiece,
    Piece,
    SlabPiece,
    StonePiece,
    WoodPiece,
)
from underlit.scene.model import Scene


@dataclass(frozen=True, eq=False)
class World:
    """Soil and hardscape of a scene, in the tank's coordinates.

    Parameters
    ----------
    soil : Soil
    hardscape : tuple of Mesh
        In the order of the scene file.
    """

    soil: Soil
    hardscape: tuple[Mesh, ...]


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
    MeshError, DataError
        A file that cannot be used.
    """
    soil = shape_soil(scene)
    return World(soil, tuple(set_piece(piece, make_piece(piece, scene), soil) for piece in scene.hardscape))


def shape_soil(scene: Scene) -> Soil:
    """The soil's surface over the whole floor."""
    length, width, substrate = scene.tank.length, scene.tank.width, scene.substrate
    if substrate.height_map is not None:
        return mapped_soil(length, width, read_height_map(scene.file(substrate.height_map)))
    if substrate.profile is not None:
        return profile_soil(length, width, substrate.profile, along=substrate.along)
    sides = {"left": substrate.left, "right": substrate.right}
    if substrate.left is None and substrate.right is None:
        sides = {}
    return sloped_soil(length, width, front=substrate.front, back=substrate.back, **sides)


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
                depth=max(piece.forks, 1),
                rise=math.atan2(piece.rise, piece.reach),
                gnarl=piece.roughness,
                seed=piece.seed,
                triangles=piece.triangles,
                name=piece.name,
            )
        case CylinderPiece():
            return cylinder(0.5 * piece.diameter, piece.length, name=piece.name)
        case SlabPiece():
            return slab(piece.size, name=piece.name)
        case DiscPiece():
            return disc(0.5 * piece.diameter, piece.thickness, name=piece.name)
    raise TypeError(f"no way to make a {type(piece).__name__}")


def set_piece(piece: Piece, mesh: Mesh, soil: Soil) -> Mesh:
    """Turn, lean, scale and set down a piece; without a height given it rests on the soil."""
    return place(
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
