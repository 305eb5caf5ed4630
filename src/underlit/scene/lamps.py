"""Lamps: fixtures, their channels, and light from a window."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from underlit.scene.fields import (
    Amount,
    Angle,
    Direction,
    Entries,
    Length,
    OneOf,
    Point,
    Share,
    Table,
    Text,
    derived,
)
from underlit.scene.values import Number, Quantity, Whole, fault

Power = Annotated[float, Quantity("power", above="0 W", high="20000 W", example="12 W")]
Efficacy = Annotated[
    float, Quantity("photon efficacy", above="0 umol/J", high="10 umol/J", example="2.2 umol/J")
]
Lumens = Annotated[float, Quantity("luminous flux", above="0 lm", high="10000000 lm", example="900 lm")]
Flux = Annotated[float, Quantity("photon flux", above="0 umol/s", high="100000 umol/s", example="20 umol/s")]
PhotonDensity = Annotated[
    float,
    Quantity("photon flux density", above="0 umol/m^2/s", high="5000 umol/m^2/s", example="85 umol/m^2/s"),
]
Nm = Annotated[float, Quantity("wavelength", "380 nm", "780 nm", example="660 nm")]
NmWidth = Annotated[float, Quantity("wavelength", "2 nm", "200 nm", example="20 nm")]
Kelvins = Annotated[float, Quantity("colour temperature", "1800 K", "25000 K", example="6500 K")]
FullWidth = Annotated[float, Quantity("angle", "1 deg", "179 deg", example="120 deg")]


_Phosphor = Annotated[tuple[Nm, NmWidth], Entries(2)]
_Phosphors = Annotated[tuple[_Phosphor, _Phosphor], Entries(2)]


class PeakSpectrum(Table):
    """One narrow band of light."""

    peak: Nm = Field(description="wavelength of the maximum", examples=["660 nm"])
    width: NmWidth = Field(20.0, description="full width at half maximum", examples=["20 nm"])


class WhiteSpectrum(Table):
    """White light of an LED: a blue pump and what its phosphors make of it."""

    cct: Kelvins = Field(description="colour temperature", examples=["6500 K"])
    duv: Annotated[float, Number(-0.05, 0.05, share=False)] = Field(
        0.0, description="distance from the Planckian locus, positive towards green", examples=[0.002]
    )
    pump: Nm | None = Field(
        None, description="wavelength of the pump; default that of usual LEDs", examples=["450 nm"]
    )
    pump_width: NmWidth | None = Field(None, description="its full width at half maximum", examples=["20 nm"])
    phosphors: _Phosphors | None = Field(
        None,
        description="peak and full width of the two phosphors; default those of usual LEDs",
        examples=[[["540 nm", "105 nm"], ["620 nm", "95 nm"]]],
    )


class FileSpectrum(Table):
    """A measured spectrum."""

    file: Text = Field(description="CSV or TM-27 XML, from the scene's folder", examples=["lamp.csv"])
    quantity: Literal["W/nm", "photons/nm"] | None = Field(
        None, description="what the numbers of a CSV count: they differ by the wavelength", examples=["W/nm"]
    )
    baseline: Annotated[float, Number(share=False)] | None = Field(
        None, description="dark reading to subtract, in the unit of the file", examples=[0.02]
    )


class MixSpectrum(Table):
    """Several named spectra in one channel."""

    mix: Annotated[dict[str, Share], Field(min_length=1, max_length=20)] = Field(
        description="share of the photons by name of the spectrum",
        examples=[{"white 6500 K": 0.8, "red 660": 0.2}],
    )


def _spectrum_form(table: dict[str, Any]) -> str | None:
    forms = (("file", "file"), ("peak", "peak"), ("white", "cct"), ("mix", "mix"))
    return next((form for form, key in forms if key in table), None)


def _plain(form: Any) -> Any:
    """What `spectra.lamp` takes: a name, or a mapping of plain numbers."""
    return form if isinstance(form, str | Mapping) else MappingProxyType(form.model_dump(exclude_none=True))


_FORMS = OneOf(
    _spectrum_form,
    {"text": Text, "peak": PeakSpectrum, "white": WhiteSpectrum, "file": FileSpectrum, "mix": MixSpectrum},
    'the name of a lamp spectrum, { peak = "660 nm", width = "20 nm" }, { cct = "6500 K" }, '
    '{ file = "lamp.csv", quantity = "W/nm" } or { mix = { "white 6500 K" = 0.8, "red 660" = 0.2 } }',
)
Spectrum = Annotated[str | Mapping[str, Any], _FORMS, AfterValidator(_plain)]


class Beam(Table):
    """How a channel's light spreads: by a full width at half maximum, or by a file."""

    fwhm: FullWidth = derived("full width at half maximum", ["120 deg"])
    lens: Literal["cosine", "gaussian"] = Field(
        "cosine", description="shape: a power of the cosine, as bare LEDs, or a bell, as behind lenses"
    )
    file: Text | None = Field(
        None, description="LM-63 (.ies), EULUMDAT (.ldt) or TM-33 (.xml) file", examples=["bar.ies"]
    )
    turn: Angle = Field(
        0.0,
        description="of the file's azimuth 0 from the fixture's x, anticlockwise seen from above",
        examples=["90 deg"],
    )
    face: Literal["fixture", "file"] = Field(
        "fixture",
        description="what gives the size of the glowing face: the fixture, or the luminous opening that the "
        "file states",
        examples=["file"],
    )


def _beam(value: Any) -> Any:
    """A bare angle is the full width at half maximum."""
    if isinstance(value, str):
        return {"fwhm": value}
    if not isinstance(value, dict | Beam):
        raise fault(
            'a beam such as "120 deg", { lens = "gaussian", fwhm = "60 deg" } or { file = "bar.ies" }'
        )
    return value


BeamEntry = Annotated[Beam, BeforeValidator(_beam, json_schema_input_type=Beam | FullWidth)]


class Reading(Table):
    """One meter reading in air below the middle of the fixture, this channel alone at full power."""

    ppfd: PhotonDensity = Field(description="what the meter showed", examples=["85 umol/m^2/s"])
    distance: Length = Field(description="from the emitters down to the meter", examples=["30 cm"])


class Channel(Table):
    """LEDs or tubes that are dimmed together."""

    name: Text = derived("name, unique in its fixture; default the name of its spectrum", ["white"])
    spectrum: Spectrum = Field(
        description='a named spectrum, `{ peak = "660 nm", width = "20 nm" }`, `{ cct = "6500 K" }`, or a '
        "file",
        examples=["white 6500 K"],
    )
    power: Power = Field(description="electrical, at the plug, at full setting", examples=["9 W"])
    efficacy: Efficacy | None = Field(
        None, description="photons of 380-780 nm per joule at the plug; or give lumens, flux or reading",
        examples=["1.6 umol/J"],
    )  # fmt: skip
    lumens: Lumens | None = Field(None, description="luminous flux at full setting", examples=["900 lm"])
    flux: Flux | None = Field(
        None, description="photons of 380-780 nm at full setting", examples=["14.4 umol/s"]
    )
    reading: Reading | None = Field(None, description="one meter reading in air below the lamp")
    beam: BeamEntry = Field(
        default_factory=Beam,
        description="full width at half maximum, or a table for a lens or a file; default 120 deg",
        examples=["120 deg"],
    )
    leds: Annotated[int, Whole(0, 100_000)] = Field(
        0, description="LEDs spread over the fixture; 0 for an evenly glowing face", examples=[60]
    )
    positions: Text | None = Field(
        None,
        description="CSV of LED places from the middle of the fixture, x_mm, y_mm",
        examples=["leds.csv"],
    )
    led_size: Annotated[float, Quantity("length", "0.1 mm", "10 cm", example="3 mm")] = Field(
        0.003, description="side of the glowing face of one LED", examples=["3 mm"]
    )
    dim: Share = Field(1.0, description="usual setting, as a share of full", examples=[0.8])


class Shade(Table):
    """Sides of the housing that reach below the emitters."""

    depth: Annotated[float, Quantity("length", above="0 m", high="1 m", example="2 cm")] = Field(
        description="how far they reach", examples=["2 cm"]
    )
    reflectance: Share = Field(0.0, description="of their inside", examples=[0.8])


def _size(value: Any) -> Any:
    """One diameter stands for both extents."""
    return [value, value] if isinstance(value, str) else value


Size2 = Annotated[
    tuple[Length, Length],
    Entries(2),
    BeforeValidator(_size, json_schema_input_type=Length | Annotated[tuple[Length, Length], Entries(2)]),
]


class Fixture(Table):
    """A lamp."""

    name: Text = derived("unique name; default its number", ["bar"])
    shape: Literal["panel", "bar", "disc", "pendant", "tube"] = Field(
        description="`panel` and `bar` glow over a rectangle, `disc` and `pendant` over a circle, `tube` "
        "all round",
        examples=["bar"],
    )
    size: Size2 = Field(
        description="extent of the glowing face in x and y, or its diameter; of a tube its length and "
        "diameter",
        examples=[["54 cm", "7 cm"], "8 cm"],
    )
    position: Point = derived("x, y of its middle; default the middle of the tank", [["15 cm", "15 cm"]])
    height: Length = Field(description="of the emitters, above what `height_above` names", examples=["12 cm"])
    height_above: Literal["water", "rim", "bottom"] = Field(
        "water", description="from where the height counts: the water surface, the rim, or the inside bottom"
    )
    turn: Angle = Field(
        0.0, description="about the vertical, anticlockwise seen from above", examples=["90 deg"]
    )
    tilt: Annotated[float, Quantity("angle", "0 deg", "90 deg", example="10 deg")] = Field(
        0.0, description="away from facing straight down", examples=["10 deg"]
    )
    tilt_to: Direction = Field(
        0.5 * math.pi,
        description="to which side it faces when tilted: `front`, `back`, `left`, `right` or an angle",
        examples=["back"],
    )
    shade: Shade | None = Field(None, description="housing sides below the emitters")
    price: Amount | None = Field(None, description="in the currency of the schedule", examples=[120.0])
    l70_hours: Annotated[float, Number(100, 1e6, share=False)] | None = Field(
        None, description="hours until 70 % of the first output is left", examples=[40_000]
    )
    channel: Annotated[tuple[Channel, ...], Entries(50, least=1, what="channels")] = Field(
        description="its channels, as `[[fixture.channel]]`",
        examples=[[{"spectrum": "white 6500 K", "power": "20 W", "efficacy": "1.9 umol/J"}]],
    )


class Window(Table):
    """A window of the room as a patch of even, diffuse light that faces the tank."""

    side: Literal["front", "back", "left", "right"] = Field(
        description="side of the tank it faces", examples=["left"]
    )
    distance: Length = Field(description="from that pane's outer face to the window", examples=["150 cm"])
    size: Annotated[tuple[Length, Length], Entries(2)] = Field(
        description="width and height of the window", examples=[["100 cm", "120 cm"]]
    )
    sill: Annotated[float, Quantity("length", "-3 m", "5 m", example="0 cm")] = Field(
        0.0, description="height of its lower edge above the inside bottom of the tank", examples=["0 cm"]
    )
    offset: Annotated[float, Quantity("length", "-10 m", "10 m", example="0 cm")] = Field(
        0.0, description="of its middle from the middle of that pane, along it", examples=["0 cm"]
    )
    exitance: PhotonDensity = Field(
        description="photons that each area of the window sends into the room", examples=["100 umol/m^2/s"]
    )
    spectrum: Spectrum = Field("D65", description="of that light", examples=["D65"])
