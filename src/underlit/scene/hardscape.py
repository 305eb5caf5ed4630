"""Stones, wood and other opaque things: from a mesh file, or generated."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from pydantic import Field

from underlit.scene.fields import Angle, Direction, Entries, Height, Length, OneOf, Place, Table, Text
from underlit.scene.materials import Material
from underlit.scene.values import Number, Quantity, Whole

Triangles = Annotated[int, Whole(100, 500_000)]
Seed = Annotated[int, Whole(0, 2**31 - 1)]
Factor = Annotated[float, Number(0.0, 1e6, above=True, share=False)]
PatchSize = Annotated[float, Quantity("length", "0.5 mm", "1 m", example="1 cm")]
Size3 = Annotated[tuple[Length, Length, Length], Entries(3)]


class Piece(Table):
    """What every piece of hardscape has: a place, a turn, a surface."""

    name: Text = Field(description="unique name", examples=["main stone"])
    position: Place = Field(
        description="x, y of its middle, set down on the soil; or x, y, z of the middle of its underside",
        examples=[["24 cm", "18 cm"]],
    )
    sink: Height = Field(0.0, description="how deep it is pressed into the soil", examples=["1 cm"])
    turn: Angle = Field(
        0.0, description="about the vertical, anticlockwise seen from above", examples=["30 deg"]
    )
    lean: Angle = Field(0.0, description="away from the vertical", examples=["15 deg"])
    lean_to: Direction = Field(
        0.0,
        description="to which side it leans: `left`, `right`, `front`, `back` or an angle",
        examples=["left"],
    )
    scale: Factor = Field(1.0, description="factor on its size", examples=[1.0])
    height: Length | None = Field(
        None, description="scale it so that it stands this high, once leant", examples=["13 cm"]
    )
    material: Material = Field("grey rock", description="surface material", examples=["grey rock"])
    patch: PatchSize = Field(
        0.01, description="size of the patches on which its light is mapped", examples=["1 cm"]
    )


class MeshPiece(Piece):
    """A mesh from a file: STL, OBJ, PLY or GLB."""

    mesh: Text = Field(description="file, from the scene's folder", examples=["stones/main.stl"])
    unit: Literal["mm", "cm", "m", "in", "ft"] = Field(
        description="unit of the file's coordinates", examples=["mm"]
    )

    @property
    def shape(self) -> str:
        """The word that stands for a mesh file among the shapes."""
        return "mesh"


class StonePiece(Piece):
    """A generated stone."""

    shape: Literal["stone"] = Field(description="a generated stone")
    size: Size3 = Field(
        description="x, y, z extents before it is turned", examples=[["14 cm", "10 cm", "18 cm"]]
    )
    style: Literal["faceted", "rounded"] = Field("faceted", description="broken rock or a pebble")
    seed: Seed = Field(1, description="another number, another stone", examples=[3])
    roughness: Annotated[float, Number(0.0, 1.0)] = Field(
        0.2, description="0 for smooth, 1 for deeply furrowed", examples=[0.2]
    )
    triangles: Triangles = Field(20_000, description="about how many triangles", examples=[20_000])


class WoodPiece(Piece):
    """Generated driftwood: it stands on its root crown and reaches to the right, until turned."""

    shape: Literal["wood"] = Field(description="generated branching wood")
    reach: Length = Field(
        description="from the middle of the crown to the farthest tip, sideways", examples=["60 cm"]
    )
    thickness: Length = Field(0.05, description="diameter at the crown", examples=["7 cm"])
    tip: Length = Field(0.008, description="diameter of the finest twigs", examples=["1 cm"])
    branches: Annotated[int, Whole(1, 30)] = Field(6, description="main limbs", examples=[7])
    forks: Annotated[int, Whole(0, 5)] = Field(
        2, description="how often limbs fork; 0 for bare limbs", examples=[3]
    )
    spread: Angle = Field(
        math.radians(150),
        description="angle of the fan of limbs seen from above",
        examples=["150 deg"],
    )
    rise: Angle = Field(math.radians(25), description="mean slope of the limbs", examples=["25 deg"])
    gnarl: Annotated[float, Number(0.0, 1.0)] = Field(
        0.5, description="0 for straight limbs, 1 for wildly bent ones", examples=[0.5]
    )
    seed: Seed = Field(1, description="another number, another piece", examples=[3])
    triangles: Annotated[int, Whole(1_000, 500_000)] = Field(
        60_000, description="about how many triangles", examples=[60_000]
    )
    material: Material = Field("dark wood", description="surface material", examples=["dark wood"])


class CylinderPiece(Piece):
    """A round rod, upright unless leant; a reed, a pipe, a branch when bent."""

    shape: Literal["cylinder"] = Field(description="a round rod, upright unless leant")
    length: Length = Field(description="of the rod", examples=["30 cm"])
    diameter: Length = Field(description="of the rod", examples=["2 cm"])
    bend: Angle = Field(0.0, description="how far it curves from end to end", examples=["60 deg"])


class SlabPiece(Piece):
    """A box with flat faces."""

    shape: Literal["slab"] = Field(description="a box with flat faces")
    size: Size3 = Field(
        description="x, y, z extents before it is turned", examples=[["12 cm", "8 cm", "2 cm"]]
    )


class EllipsoidPiece(Piece):
    """A smooth pebble."""

    shape: Literal["ellipsoid"] = Field(description="a smooth pebble")
    size: Size3 = Field(
        description="x, y, z diameters before it is turned", examples=[["9 cm", "8 cm", "6 cm"]]
    )
    triangles: Triangles = Field(2_000, description="about how many triangles", examples=[2_000])


class DiscPiece(Piece):
    """A flat round disc, such as a fallen leaf."""

    shape: Literal["disc"] = Field(description="a flat round disc")
    diameter: Length = Field(description="across", examples=["6 cm"])
    thickness: Length = Field(0.002, description="of the disc", examples=["2 mm"])


SHAPES: dict[str, type[Piece]] = {
    "stone": StonePiece,
    "wood": WoodPiece,
    "cylinder": CylinderPiece,
    "slab": SlabPiece,
    "ellipsoid": EllipsoidPiece,
    "disc": DiscPiece,
}


def _choose(table: dict[str, Any]) -> str | None:
    shape = table.get("shape")
    if "shape" in table:
        return shape if isinstance(shape, str) else None
    return "mesh" if "mesh" in table else None


Hardscape = Annotated[
    MeshPiece | StonePiece | WoodPiece | CylinderPiece | SlabPiece | EllipsoidPiece | DiscPiece,
    OneOf(
        _choose,
        {"mesh": MeshPiece, **SHAPES},
        'a piece with mesh = "FILE" or with shape = ' + ", ".join(f'"{name}"' for name in SHAPES),
    ),
]
