"""Plants: zones that want a certain light, and the leaves that take it."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from underlit.scene.fields import Entries, Height, Length, Point, Share, Table, Text, derived
from underlit.scene.values import Number

Ppfd = Annotated[float, Number(0.0, 3000.0, share=False)]
Outline = Annotated[tuple[Point, ...], Entries(500, least=3)]
Band = Annotated[tuple[Ppfd, Ppfd], Entries(2)]
LeafArea = Annotated[float, Number(0.0, 30.0, share=False)]


def _as_list(value: Any) -> Any:
    """One leaf-area index is a list of one growth stage."""
    return value if isinstance(value, list | tuple) else [value]


Stages = Annotated[
    tuple[LeafArea, ...],
    Entries(20, least=1),
    BeforeValidator(_as_list, json_schema_input_type=LeafArea | list[LeafArea]),
]


class Canopy(Table):
    """Leaves as a cloud that fills the zone from the soil up."""

    height: Length = Field(description="of the plants above the soil", examples=["20 cm"])
    leaf_area_index: Stages = Field(
        description="one-sided leaf area per ground area; a list gives growth stages, young to old",
        examples=[3, [0.5, 3, 5]],
    )
    leaf_angle: Literal["spherical", "planophile", "erectophile", "plagiophile", "horizontal"] = Field(
        "spherical",
        description="rule of leaf inclinations: even over the sphere, mostly flat, upright, oblique, or flat",
    )
    clumping: Annotated[float, Number(0.0, 1.0, above=True)] = Field(
        1.0, description="1 for leaves spread at random, less where they bunch", examples=[0.8]
    )
    leaf: Text = Field("submersed leaf", description="leaf material", examples=["submersed leaf"])


class Plant(Table):
    """A zone of the tank with the light its plants want."""

    name: Text = Field(description="unique name", examples=["carpet"])
    demand: Text | None = Field(
        None, description="a named band: very low, low, medium, high, show; default medium", examples=["high"]
    )
    band: Band = derived("wanted PPFD from and to, umol m-2 s-1; default by demand", [[50, 90]])
    target: Ppfd = derived("wanted median PPFD, umol m-2 s-1; default the middle of the band", [60])
    ceiling: Ppfd = derived("PPFD not to pass, umol m-2 s-1; default by demand or the top of the band", [90])
    outline: Outline = derived(
        "corners of the zone on the soil, in order",
        [[["2 cm", "2 cm"], ["58 cm", "2 cm"], ["30 cm", "15 cm"]]],
    )
    from_: Point | None = Field(
        None,
        alias="from",
        description="corner of a rectangular zone, with the least x and y",
        examples=[["0 cm", "0 cm"]],
    )
    to: Point | None = Field(None, description="its opposite corner", examples=[["60 cm", "15 cm"]])
    on: Text | None = Field(
        None, description="name of the hardscape it grows on, in place of a zone", examples=["stone"]
    )
    above: Height | None = Field(
        None, description="with `on`: only parts higher than this above the bottom", examples=["10 cm"]
    )
    below: Height | None = Field(
        None, description="with `on`: only parts lower than this above the bottom", examples=["20 cm"]
    )
    read_height: Height = Field(
        0.0, description="height above the soil at which the zone is read", examples=["3 cm"]
    )
    canopy: Canopy | None = Field(None, description="its leaves, when they are to take light")


class Ring(Table):
    """A ring that keeps floating plants in place."""

    centre: Point = Field(description="x, y", examples=[["15 cm", "15 cm"]])
    radius: Length = Field(description="inside the ring", examples=["10 cm"])


class Floaters(Table):
    """Plants that float on the water."""

    cover: Share = Field(
        description="share of the water surface that they cover, or of the ring when there is one",
        examples=[0.4],
    )
    transmittance: Share = Field(
        0.08, description="share of light that a closed cover lets through, made diffuse", examples=[0.08]
    )
    reflectance: Share = Field(0.06, description="share of light that it sends back up", examples=[0.06])
    leaf: Text | None = Field(
        None,
        description="leaf material, in place of transmittance and reflectance",
        examples=["floating leaf"],
    )
    ring: Ring | None = Field(
        None, description="keeps them in place; default: they drift over the whole surface"
    )
