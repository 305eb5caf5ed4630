"""The substrate: what it is made of and how its surface runs."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from underlit.scene.fields import Entries, Height, Point, Table, Text, derived
from underlit.scene.materials import Material

Profile = Annotated[tuple[Point, ...], Entries(200, least=2)]


class Substrate(Table):
    """The soil, given in one of four ways: `depth`, depths at the walls, a `profile`, or a `height_map`."""

    material: Material = Field(
        "dark soil",
        description="surface material, or `{ reflectance = 0.05 }`, or reflectances at wavelengths in nm",
        examples=["dark soil"],
    )
    depth: Height | None = Field(None, description="of flat soil", examples=["4 cm"])
    front: Height = derived("depth at the front pane; default 3 cm", ["3 cm"])
    back: Height = derived("depth at the back pane; default 6 cm", ["6 cm"])
    left: Height | None = Field(
        None, description="depth at the left pane, half way to the back", examples=["4 cm"]
    )
    right: Height | None = Field(
        None, description="depth at the right pane, half way to the back", examples=["6 cm"]
    )
    profile: Profile | None = Field(
        None,
        description="points (distance, depth) of the soil's outline, joined by a smooth curve that does not "
        "overshoot",
        examples=[[["0 cm", "4 cm"], ["30 cm", "12 cm"]]],
    )
    along: Literal["y", "x"] = Field(
        "y", description="which way the profile runs: `y` from front to back, `x` from left to right"
    )
    height_map: Text | None = Field(
        None,
        description="CSV of depths: one row per line from front to back, columns from left to right; the "
        "first line "
        "names the unit, as `cm`",
        examples=["soil.csv"],
    )
