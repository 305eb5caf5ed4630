"""Plant demand bands and the cautions the program prints: both plain data files that anyone may edit."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from underlit.spectra.tables import shipped


@dataclass(frozen=True)
class PlantBand:
    """Light a group of plants is kept at.

    Attributes
    ----------
    name : str
    low, high : float
        Working range of PPFD at plant height. [umol m-2 s-1]
    ceiling_without_co2 : float or None
        PPFD above which algae gain unless CO2 is added; None where CO2 is expected. [umol m-2 s-1]
    plants, source : str
    """

    name: str
    low: float
    high: float
    ceiling_without_co2: float | None
    plants: str
    source: str


@cache
def plant_bands() -> dict[str, PlantBand]:
    """Demand bands by name, from `data/plant_bands.csv`."""
    table = shipped("plant_bands")
    bands = {}
    for row in table.rows():
        ceiling = float(row["ceiling_without_co2"]) if row["ceiling_without_co2"] else None
        low, high = float(row["low"]), float(row["high"])
        bands[row["name"]] = PlantBand(row["name"], low, high, ceiling, row["plants"], row["source"])
    return bands


@cache
def cautions() -> dict[str, str]:
    """Standing cautions by subject, from `data/cautions.toml`; `short` goes on every report."""
    text = (files("underlit") / "data" / "cautions.toml").read_text(encoding="utf-8")
    return {key: " ".join(value.split()) for key, value in tomllib.loads(text).items()}
