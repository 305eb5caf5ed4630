"""The water: its level, what colours and clouds it, and its surface."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from underlit.scene.fields import Table, Text, derived
from underlit.scene.values import Number, Quantity

Absorption = Annotated[float, Quantity("absorption", "0 1/m", "1000 1/m", example="0.3 1/m")]
Slope = Annotated[float, Quantity("spectral slope", "0 1/nm", "0.1 1/nm", example="0.015 1/nm")]
Chlorophyll = Annotated[float, Quantity("concentration", "0 mg/m^3", "2000 mg/m^3", example="20 mg/m^3")]
WaterTemperature = Annotated[float, Quantity("temperature", "0 degC", "45 degC", example="25 degC")]
SurfaceSlope = Annotated[float, Quantity("angle", "0 deg", "20 deg", example="4 deg")]
WaterLevel = Annotated[float, Quantity("length", "0 cm", "20 m", example="32 cm")]


class Water(Table):
    """What fills the tank. `type` names a preset; the keys below it change single values of the preset."""

    level: WaterLevel = derived(
        'above the inside of the bottom; "0 cm" for a tank without water; default 3 cm below the rim',
        ["32 cm"],
    )
    type: Text = Field(
        "clear",
        description="a preset: pure, clear, straw, light tea, tea, blackwater, green, cloudy, bubble mist",
        examples=["light tea"],
    )
    colour_a440: Absorption = derived(
        "absorption by dissolved colour at 440 nm; default by type", ["1.5 1/m"]
    )
    colour_slope: Slope = derived(
        "how fast that absorption falls with wavelength; default by type", ["0.015 1/nm"]
    )
    chlorophyll: Chlorophyll = derived("of floating algae; default by type", ["20 mg/m^3"])
    scattering: Absorption = derived("scattering coefficient of haze or silt; default by type", ["0.3 1/m"])
    asymmetry: Annotated[float, Number(-0.99, 0.99, share=False)] = derived(
        "mean cosine of the scattering angle; default by type", [0.9]
    )
    temperature: WaterTemperature = Field(25.0, description="of the water", examples=["25 degC"])
    surface_slope_rms: SurfaceSlope = Field(
        0.0,
        description="ripple: root mean square slope of the water surface, averaged over time",
        examples=["4 deg"],
    )
