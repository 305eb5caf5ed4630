"""What a result says in words and single numbers: scene, lamps, plant zones, where it comes from."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

import numpy as np

from underlit import units
from underlit.errors import StudyError
from underlit.figures.reading import Reading
from underlit.journal.light import OPEN_STEPS, grouped
from underlit.journal.parcel import Parcel
from underlit.journal.rendering import photon_weights
from underlit.metrics import maps
from underlit.metrics.day import hours_of
from underlit.metrics.estimate import Estimate
from underlit.metrics.summary import Table
from underlit.metrics.zones import ceiling_without_co2, find_zone
from underlit.results.result import Result
from underlit.scene.model import Scene
from underlit.scene.plants import Plant
from underlit.scene.tank import SIDES
from underlit.scene.use import Schedule
from underlit.spectra import weighting


def scene_facts(scene: Scene) -> list[tuple[str, str]]:
    """The tank in a few lines: what it is, what fills it, what lights it."""
    tank, water, day = scene.tank, scene.water, scene.schedule
    size = " × ".join(_length(side) for side in (tank.length, tank.width, tank.height))
    lamps = ", ".join(f"{f.name} ({f.shape}, {_power(f)})" for f in scene.fixture)
    facts = [
        ("Tank", f"{size} inside; {tank.glass} glass, {_length(tank.thickness)}"),
        ("Panes", "; ".join(_pane(scene, side) for side in SIDES)),
        ("Water", f"{water.type}, {_length(water.level)} high" if water.level > 0 else "none"),
        ("Soil", _soil(scene)),
        ("Hardscape", ", ".join(piece.name for piece in scene.hardscape)),
        ("Plants", ", ".join(f"{plant.name} ({_band(plant)})" for plant in scene.plant)),
        ("Floating plants", f"{100 * scene.floaters.cover:.0f} % cover" if scene.floaters else ""),
        ("Lid", f"{tank.lid.material}, {tank.lid.condition}" if tank.lid else ""),
        ("Lamps", lamps),
        ("Light's day", _day(day)),
    ]
    return [(name, text) for name, text in facts if text]


def _day(day: Schedule) -> str:
    if day.course is not None:
        return f"{day.hours:.3g} h in a course of {len(day.course)} points, as much as {hours_of(day):.3g} h at full"
    return f"{day.hours:g} h, {60 * min(day.ramp, day.hours / 2):.0f} min rise and fall"


def _length(value_m: float) -> str:
    return units.show(value_m, "length")


def _power(fixture: Any) -> str:
    return f"{sum(channel.power for channel in fixture.channel):.3g} W"


def _pane(scene: Scene, side: str) -> str:
    pane = getattr(scene.tank.panes, side)
    words = [str(word) for word in (pane.state, pane.colour) if word]
    return f"{side} " + " ".join(words) + (f", {100 * pane.dirt:.0f} % dirt" if pane.dirt else "")


def _soil(scene: Scene) -> str:
    material = scene.substrate.material
    return material if isinstance(material, str) else "of its own reflectance"


def _band(plant: Plant) -> str:
    low, high = plant.band
    return f"{low:g}–{high:g}"


def channel_records(read: Reading, parcel: Parcel) -> list[dict[str, Any]]:
    """Every channel: what it draws, emits and costs, its settings now and in the scene, its colour and spectrum."""
    colours = photon_weights().values()
    return [
        {
            "fixture": channel.fixture,
            "name": channel.name,
            "label": channel.label,
            "source": channel.source,
            "power": channel.power_w,
            "dim": float(dim),
            "inScene": channel.dim,
            "price": number(channel.price),
            "ppf": float(channel.spectrum @ weighting("PAR")),
            "photons": float(channel.spectrum @ weighting("all")),
            "colours": [float(channel.spectrum @ weight) for weight in colours],
            "spectrum": parcel.steps(channel.spectrum[None, :]),
        }
        for channel, dim in zip(read.res.channels, read.dims, strict=True)
    ]


def zone_records(read: Reading, parcel: Parcel) -> tuple[list[dict[str, Any]], list[str]]:
    """Plant zones with the cells they are read on, and what to say of those that cannot be read."""
    found, notes = [], []
    for plant in read.scene.plant:
        try:
            found.append(_zone(read, plant, parcel))
        except StudyError as error:
            notes.append(error.what)
    return found, notes


def _zone(read: Reading, plant: Plant, parcel: Parcel) -> dict[str, Any]:
    zone = find_zone(read.res, plant)
    return {
        "name": plant.name,
        "band": list(plant.band),
        "target": plant.target,
        "ceiling": plant.ceiling,
        "carbon": ceiling_without_co2(plant),
        "surface": zone.surface,
        "plane": zone.plane,
        "height": number(zone.height_m),
        "outline": None if plant.outline is None else np.round(np.array(plant.outline), 5).tolist(),
        "leaves": plant.canopy.height if plant.canopy is not None else 0.0,
        "cells": parcel.add(zone.cells, "u4"),
        "open": parcel.add(np.round(zone.open_share * OPEN_STEPS), "u1"),
        "area": parcel.add(zone.area_m2, "f4"),
    }


def budget_record(res: Result, parcel: Parcel, replicates: int) -> dict[str, Any]:
    """Photons of each channel at full setting by where they end, (K, M, N)."""
    weights = maps.channel_weights(res, "all")
    source = [channel.source for channel in res.channels]
    ends = np.einsum("kmnb,mb->kmn", res.budget.share[:, source], weights)
    names = res.budget.names
    kept = [n for n in range(len(names)) if ends[:, :, n].any()]
    samples = grouped(Estimate(ends[:, :, kept]), replicates)
    return {
        "names": [names[n] for n in kept],
        "replicates": replicates,
        "samples": parcel.add(samples, "f4"),
    }


def provenance(res: Result) -> list[tuple[str, str]]:
    """How the result came about."""
    asked = "" if math.isnan(res.rel_err_asked) else f" ({100 * res.rel_err_asked:.2g} % asked for)"
    facts = [
        ("Scene file", res.scene_file),
        ("Photons traced", f"{res.n_photons:,}".replace(",", " ")),
        ("Replicates", str(res.replicates)),
        ("Seed", str(res.seed)),
        ("Standard error of the median soil cell", f"{100 * res.rel_err:.2g} %{asked}"),
        ("Ended by", res.stop_reason),
        ("Traced", _moment(res.created)),
        ("Tracing took", f"{res.wall_s:.0f} s"),
        *((f"Version of {name}", version) for name, version in res.versions.items()),
        *((f"SHA-256 of {name}", digest) for name, digest in res.file_digests.items()),
        *((f"Counted by the tracer: {name}", str(count)) for name, count in res.counters.items() if count),
    ]
    return [(name, text) for name, text in facts if text]


def _moment(stamp: str) -> str:
    """A time stamp for people: 25 November 2026, 10:46 UTC; as it is where it is no such stamp."""
    try:
        moment = datetime.fromisoformat(stamp).astimezone(UTC)
    except ValueError:
        return stamp
    return f"{moment.day} {moment:%B %Y, %H:%M} UTC"


def table_rows(table: Table) -> tuple[list[str], list[list[str]]]:
    """Headings and cells of a table, as text."""
    rows = [list(row.values()) for row in table.texts()]
    if table.is_facts:
        return ["", "value", "unit"], rows
    return [f"{name} ({unit})" if unit else name for name, unit in table.columns.items()], rows


def number(value: float | None) -> float | None:
    """A number JSON knows; NaN and infinity are none."""
    return None if value is None or not math.isfinite(value) else float(value)
