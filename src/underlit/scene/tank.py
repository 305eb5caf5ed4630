"""The tank: its inside, its panes one by one, and what lies over its opening."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from underlit.scene.fields import Entries, Height, Point, Share, Table, Text, derived
from underlit.scene.materials import Material
from underlit.scene.values import Number, Quantity, fault

SIDES = ("front", "back", "left", "right")
FILM_COLOURS = ("black", "white", "frosted", "mirror")

InsideSize = Annotated[float, Quantity("length", "1 cm", "20 m", example="60 cm")]
Thickness = Annotated[float, Quantity("length", "0.5 mm", "60 mm", example="6 mm")]
Dirt = Annotated[float, Number(0.0, 0.9)]


class Pane(Table):
    """One pane and what is behind it."""

    state: Literal["clean", "dry film", "bonded film"] = Field(
        "clean",
        description="`clean`; `dry film`: a film or mat behind the pane with air between, so that total "
        "reflection "
        "stays; `bonded film`: glued, painted or wet on the glass, so that it does not",
    )
    colour: Material = derived(
        "of the film: `black`, `white`, `mirror`, `frosted` (bonded only), or a surface material; default "
        "black",
        ["black", "white"],
    )
    dirt: Dirt = Field(
        0.0, description="share of light lost at each crossing of the inner face", examples=[0.1]
    )
    behind: Material | None = Field(
        None, description="surface of a room wall close behind a clean pane", examples=["white wall"]
    )


def _pane(value: Any) -> Any:
    """A bare text is the state of the pane."""
    if isinstance(value, str):
        return {"state": value}
    if not isinstance(value, dict | Pane):
        raise fault(
            'a pane state such as "clean" or a table such as { state = "dry film", colour = "black" }'
        )
    return value


PaneEntry = Annotated[
    Pane,
    BeforeValidator(_pane, json_schema_input_type=Pane | Literal["clean", "dry film", "bonded film"]),
]


def _mat() -> Pane:
    """What a tank stands on: a dark mat, not glued to it."""
    return Pane(state="dry film")


class Panes(Table):
    """The five panes, seen from the front."""

    front: PaneEntry = Field(
        default_factory=Pane, description="towards the viewer, y = 0", examples=["clean"]
    )
    back: PaneEntry = Field(default_factory=Pane, description="y = width", examples=["dry film"])
    left: PaneEntry = Field(default_factory=Pane, description="x = 0", examples=["clean"])
    right: PaneEntry = Field(default_factory=Pane, description="x = length", examples=["clean"])
    bottom: PaneEntry = Field(
        default_factory=_mat, description="z = 0; by default on a black mat", examples=["dry film"]
    )


class Rim(Table):
    """An opaque frame round the opening, at the height of the rim."""

    width: Annotated[float, Quantity("length", above="0 m", high="50 cm", example="2 cm")] = Field(
        description="how far it reaches inwards over the opening", examples=["2 cm"]
    )


class Brace(Table):
    """A strip over the opening, at the height of the rim."""

    from_: Point = Field(
        alias="from", description="corner with the least x and y", examples=[["28 cm", "0 cm"]]
    )
    to: Point = Field(description="opposite corner", examples=[["32 cm", "30 cm"]])
    transmittance: Share = Field(0.0, description="share of light let through, straight on", examples=[0.0])

    @property
    def rectangle(self) -> tuple[float, float, float, float]:
        """x from, y from, x to, y to. [m]"""
        return (*self.from_, *self.to)  # type: ignore[return-value]


LID_GAP_M = 1e-4  # a lid that rests on the rim still has air beneath it


class Lid(Table):
    """A sheet over the opening."""

    material: Text = Field("float", description="glass material", examples=["float", "acrylic"])
    thickness: Thickness = Field(0.004, description="of the sheet", examples=["4 mm"])
    height: Height = Field(0.0, description="of its underside above the rim", examples=["0 cm"])
    condition: Literal["clean", "lived-in", "neglected", "condensation"] = Field(
        "clean", description="what is on it: nothing, some lime and dust, a crust, or droplets"
    )
    from_: Point = derived(
        "corner with the least x and y; default the whole tank with its panes",
        [["0 cm", "0 cm"]],
        alias="from",
    )
    to: Point = derived("opposite corner", [["30 cm", "30 cm"]])

    @property
    def rectangle(self) -> tuple[float, float, float, float]:
        """x from, y from, x to, y to. [m]"""
        return (*self.from_, *self.to)  # type: ignore[return-value]

    def faces(self, rim: float) -> tuple[float, float]:
        """Heights of its underside and its top, above the inside bottom, with the rim at a height. [m]"""
        under = rim + max(self.height, LID_GAP_M)
        return under, under + self.thickness


class Tank(Table):
    """The tank, in inside sizes: x to the right along the front pane, y to the back, z up from the bottom."""

    length: InsideSize = Field(description="inside, along the front pane (x)", examples=["60 cm"])
    width: InsideSize = Field(description="inside, from front to back (y)", examples=["30 cm"])
    height: InsideSize = Field(description="inside, from the bottom to the rim (z)", examples=["36 cm"])
    glass: Text = Field(
        "float",
        description="material of the panes: `float`, `low-iron`, `acrylic`, or a file of your own",
        examples=["low-iron"],
    )
    thickness: Thickness = derived(
        "of the four side panes; default a usual thickness for this size, an optical guess and no "
        "structural advice",
        ["6 mm"],
    )
    bottom_thickness: Thickness = derived("of the bottom pane; default as the sides", ["6 mm"])
    panes: Panes = Field(default_factory=Panes, description="the five panes: clean, filmed, dirty")
    rim: Rim | None = Field(None, description="an opaque frame round the opening")
    brace: Annotated[tuple[Brace, ...], Entries(50, least=0, what="braces")] = Field(
        (), description="strips over the opening, as `[[tank.brace]]`"
    )
    lid: Lid | None = Field(None, description="a sheet over the opening")
