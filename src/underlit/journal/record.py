"""One result as the page takes it: a head of words and numbers, its arrays in a parcel."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import ndimage

from underlit.figures.reading import Reading
from underlit.figures.scale import round_up
from underlit.journal import facts, light, shapes
from underlit.journal.front import front_record
from underlit.journal.parcel import Parcel
from underlit.metrics.day import hours_of

_SOME_LIGHT = 0.15  # of the median of the soil; darker spots have little to show
_SIDES = ("front", "back", "left", "right")


def record(read: Reading, parcel: Parcel, replicates: int) -> dict[str, Any]:
    """Everything the page shows of one result.

    Parameters
    ----------
    read : Reading
        The result at the settings of its scene.
    parcel : Parcel
        Takes in the arrays.
    replicates : int
        How many replicates to keep for error bars.

    Returns
    -------
    dict
        Plain data.
    """
    scene, res = read.scene, read.res
    zones, unread = facts.zone_records(read, parcel)
    return {
        "title": read.title,
        "file": res.scene_file,
        "size": read.size_m.tolist(),
        "glass": scene.tank.thickness,
        "water": scene.water.level,
        "waterIndex": _water_index(read),
        "day": _day(read),
        "channels": facts.channel_records(read, parcel),
        "fixtures": shapes.lamp_records(read),
        "zones": zones,
        "unread": unread,
        "surfaces": _surfaces(read, {"soil", *(zone["surface"] for zone in zones)}, parcel, replicates),
        "meshes": shapes.hardscape_meshes(read, parcel),
        "outlines": shapes.outlines(read, parcel),
        "leaves": shapes.leaf_records(read),
        "meters": [
            {"name": meter.name, "points": np.round(np.array(meter.points), 4).tolist()}
            for meter in scene.meter
        ],
        "front": front_record(read, parcel),
        "soil": light.soil_quantities(read, parcel, replicates),
        "budget": facts.budget_record(res, parcel, replicates),
        "spot": list(_first_spot(read)),
        "top": _top(read),
    }


def _water_index(read: Reading) -> float:
    from underlit.spectra import water_index

    return float(water_index(np.array([550.0]), read.scene.water.temperature)[0])


def _day(read: Reading) -> dict[str, Any]:
    day = read.scene.schedule
    return {
        "hours": day.hours,
        "ramp": day.ramp,
        "course": None if day.course is None else hours_of(day) / day.hours,  # its mean
        "tariff": facts.number(day.tariff),
        "currency": day.currency,
    }


def _surfaces(read: Reading, with_errors: set[str], parcel: Parcel, replicates: int) -> list[dict[str, Any]]:
    """Soil, planes from below, panes, hardscape; only those that plants are read on keep all replicates."""
    planes = sorted(read.names("plane"), key=lambda name: read.res.surface(name).cell_centre_m[0, 2])
    panes = [f"pane {side}" for side in _SIDES if f"pane {side}" in read.res.surfaces]
    names = ["soil", *planes, *panes, *read.names("hardscape")]
    return [_surface(read, name, parcel, replicates if name in with_errors else 0) for name in names]


def _surface(read: Reading, name: str, parcel: Parcel, replicates: int) -> dict[str, Any]:
    surface = read.res.surface(name)
    found: dict[str, Any] = {
        "name": name,
        "kind": name.split(" ")[0],
        "plane": surface.plane,
        "cells": surface.n_cells,
        "area": parcel.add(surface.cell_area_m2, "f4"),
        "centre": parcel.add(surface.cell_centre_m, "f4"),
        "normal": parcel.add(surface.cell_normal, "f4"),
    }
    if surface.shape is not None and surface.x_edges_m is not None and surface.y_edges_m is not None:
        found |= {"shape": list(surface.shape), "xEdges": np.round(surface.x_edges_m, 6).tolist(),
                  "yEdges": np.round(surface.y_edges_m, 6).tolist()}  # fmt: skip
    share = light.open_steps(read, surface)
    if share is not None:
        found["open"] = parcel.add(share, "u1")
    if name == "soil":
        found["mesh"] = shapes.mesh_record(surface, read.size_m, len(surface.faces), parcel)
    return found | light.surface_light(read, name, parcel, replicates)


def _first_spot(read: Reading) -> tuple[float, float]:
    """Open soil near the highest stone or branch: there shade is of interest, if some light is left. [m]"""
    soil = read.res.surface("soil")
    away = np.hypot(*(soil.cell_centre_m[:, :2] - read.section_places()).T)
    around = ndimage.minimum_filter(read.open_share(soil).reshape(soil.shape), size=5)
    away[around.ravel() < 1.0] += 1e3
    light = read.ppfd("soil").value.ravel()
    away[light < _SOME_LIGHT * np.median(light)] += 1e3
    x, y = soil.cell_centre_m[np.argmin(away), :2]
    return float(x), float(y)


def _top(read: Reading) -> dict[str, float]:
    """Round upper ends of the colour scales, at the traced setting: near the soil, anywhere in
    the tank, and on its panes."""
    low = [read.horizontal_map("soil").value.ravel(), *(read.ppfd(n).value for n in read.names("hardscape"))]
    high = [read.horizontal_map(name).value.ravel() for name in read.names("plane")]
    wet = read.scene.water.level or np.inf
    panes = [p.light.value[p.light.y_edges_m[1:] <= wet].ravel() for p in read.panes().values()]
    return {"soil": _reach(low), "tank": _reach(low + high), "panes": _reach(panes)}


def _reach(values: list[np.ndarray]) -> float:
    data = np.concatenate([*values, np.zeros(0)])
    data = data[np.isfinite(data)]
    return round_up(float(np.percentile(data, 99.5)) if data.size else 0.0)
