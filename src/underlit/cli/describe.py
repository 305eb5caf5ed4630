"""What a scene holds, as tables."""

from __future__ import annotations

import numpy as np

from underlit import units
from underlit.metrics.summary import Table, Value, facts, lamp_table
from underlit.scene import Scene
from underlit.scene.tank import SIDES
from underlit.scene.world import World
from underlit.tracer.sources import build_lamps


def describe(scene: Scene, world: World) -> list[Table]:
    """Tables of a scene: tank, hardscape, plant zones, lamps, and what was assumed.

    Parameters
    ----------
    scene : Scene
    world : World
        Its shapes.

    Returns
    -------
    list of Table
        Without those that would be empty.
    """
    lamps = build_lamps(scene).channels
    settings = np.array([channel.dim for channel in lamps])
    tables = [
        tank_table(scene, world),
        hardscape_table(scene, world),
        plant_table(scene),
        lamp_table(lamps, scene, settings),
        assumed_table(scene),
    ]
    return [table for table in tables if table.rows and (table.name != "lamps" or lamps)]


def tank_table(scene: Scene, world: World) -> Table:
    """Tank, water and soil."""
    tank, water = scene.tank, scene.water
    low, high = (units.show(float(z), "length") for z in (world.soil.z_m.min(), world.soil.z_m.max()))
    size = " x ".join(units.show(side, "length") for side in (tank.length, tank.width, tank.height))
    rows: list[tuple[str, Value, str]] = [
        ("scene", scene.title or "(no title)", ""),
        ("inside size", size, ""),
        ("panes", f"{tank.glass}, {units.show(tank.thickness, 'length')}", ""),
        *(
            (f"{side} pane", _pane(scene, side), "")
            for side in SIDES
            if getattr(tank.panes, side).state != "clean"
        ),
        (
            "water",
            f"{water.type}, {units.show(water.level, 'length')} high" if water.level > 0 else "none",
            "",
        ),
        ("soil", f"{low} to {high} high", ""),
        ("water volume", _litres(scene, world), "litres, hardscape not taken off"),
    ]
    return facts("tank", "Tank", rows)


def hardscape_table(scene: Scene, world: World) -> Table:
    """Each piece in place: size, triangles, and whether its surface is closed."""
    columns = {"piece": "", "kind": "", "size": "cm", "top": "cm", "triangles": "", "surface": ""}
    rows: list[dict[str, Value]] = []
    for piece, mesh in zip(scene.hardscape, world.hardscape, strict=True):
        size = " x ".join(f"{100 * side:.3g}" for side in np.ptp(mesh.vertices_m, axis=0))
        report = mesh.report
        surface = "closed" if report.watertight else f"open, {report.open_edges} open edges"
        rows.append({"piece": piece.name, "kind": piece.shape, "size": size, "triangles": report.triangles,
                     "top": 100 * float(mesh.vertices_m[:, 2].max()), "surface": surface})  # fmt: skip
    notes = [f"{piece.name}: {note}" for piece, mesh in zip(scene.hardscape, world.hardscape, strict=True)
             for note in mesh.report.notes]  # fmt: skip
    return Table("hardscape", "Hardscape", columns, rows, " ".join(["Size and top edge in place.", *notes]))


def plant_table(scene: Scene) -> Table:
    """Each plant zone with the light it wants."""
    unit = "µmol m⁻² s⁻¹"
    columns = {"zone": "", "where": "", "band": unit, "target": unit, "ceiling": unit}
    rows: list[dict[str, Value]] = [
        {"zone": plant.name, "where": plant.on or "soil", "band": "{:g}-{:g}".format(*plant.band),
         "target": plant.target, "ceiling": plant.ceiling}
        for plant in scene.plant
    ]  # fmt: skip
    return Table("plants", "Plant zones", columns, rows)


def assumed_table(scene: Scene) -> Table:
    """What the file left out, and was worked out from the rest."""
    return facts(
        "assumed",
        "Assumed, as the file does not say",
        [(key, text, "") for key, text in scene.derived.items()],
    )


def _pane(scene: Scene, side: str) -> str:
    pane = getattr(scene.tank.panes, side)
    return " ".join(str(word) for word in (pane.state, pane.colour) if word)


def _litres(scene: Scene, world: World) -> float:
    """Volume between soil and water level, in litres."""
    depth = np.maximum(scene.water.level - world.soil.z_m, 0.0)
    mean = (depth[:-1, :-1] + depth[1:, :-1] + depth[:-1, 1:] + depth[1:, 1:]).mean() / 4
    return float(1000 * mean * scene.tank.length * scene.tank.width)
