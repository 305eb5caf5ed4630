"""The solid things of a scene as shapes in place: the soil and the hardscape."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from underlit import units
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
    slab,
    sloped_soil,
    stone,
    tube,
    wood,
)
from underlit.scene.hardscape import (
    CylinderPiece,
    DiscPiece,
    EllipsoidPiece,
    MeshPiece,
    Piece,
    SlabPiece,
    StonePiece,
    WoodPiece,
)
from underlit.scene.model import Scene

_STRAIGHT_RAD = 1e-3  # a rod that bends less is straight
_ARC_STEP_RAD = math.radians(5.0)  # of a bent one, the arc that one piece of the tube stands for
_TOUCH_M = 1e-3  # a piece may reach into a pane by its own roughness


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
    return sloped_soil(
        length,
        width,
        front=substrate.front,
        back=substrate.back,
        left=substrate.left,
        right=substrate.right,
    )


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
            return _rod(piece)
        case SlabPiece():
            return slab(piece.size, name=piece.name)
        case EllipsoidPiece():
            return ellipsoid(piece.size, triangles=piece.triangles, name=piece.name)
        case DiscPiece():
            return disc(0.5 * piece.diameter, piece.thickness, name=piece.name)
    raise TypeError(f"no way to make a {type(piece).__name__}")


def _rod(piece: CylinderPiece) -> Mesh:
    """A rod from the origin upwards; a bent one curves to the right along an arc of a circle."""
    if abs(piece.bend) < _STRAIGHT_RAD:
        return cylinder(0.5 * piece.diameter, piece.length, name=piece.name)
    turned = np.linspace(0.0, piece.bend, 3 + math.ceil(abs(piece.bend) / _ARC_STEP_RAD))
    arc = piece.length / piece.bend * np.stack([1.0 - np.cos(turned), 0.0 * turned, np.sin(turned)], axis=1)
    return tube(arc, 0.5 * piece.diameter, sides=32, name=piece.name)


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


def notes(scene: Scene, world: World) -> list[str]:
    """What is to be known of the pieces as they stand: what loading found, and which reach out of the tank.

    Parameters
    ----------
    scene : Scene
    world : World

    Returns
    -------
    list of str
        One sentence each.
    """
    found = []
    for piece, mesh in zip(scene.hardscape, world.hardscape, strict=True):
        found += [f'"{piece.name}": {note}.' for note in mesh.report.notes]
        found += [f'"{piece.name}" reaches {out}.' for out in _outside(scene, mesh)]
    return found


def _outside(scene: Scene, mesh: Mesh) -> list[str]:
    """How far a mesh reaches through panes."""
    low, high = mesh.vertices_m.min(axis=0), mesh.vertices_m.max(axis=0)
    tank = scene.tank
    beyond = {
        "left": -low[0],
        "right": high[0] - tank.length,
        "front": -low[1],
        "back": high[1] - tank.width,
    }
    return [
        f"{units.show(round(float(by), 3), 'length')} through the {side} pane"
        for side, by in beyond.items()
        if by > _TOUCH_M
    ]
