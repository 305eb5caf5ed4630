"""From a scene to its drawing: shapes, lamps, zones, and the table beside the views."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from underlit.figures.drawing import VIEWS, Draft, Outlines, drawing_figure
from underlit.figures.outline import seen_parts
from underlit.figures.reading import lamps_of, zones_of
from underlit.figures.style import Theme, length_unit_m, save
from underlit.scene.model import Scene
from underlit.scene.tank import SIDES

if TYPE_CHECKING:
    from underlit.scene.world import World

_CELLS_ACROSS = 400
_LISTED = 6  # more pieces than this are only counted


def scene_figure(
    scene: Scene, *, world: World | None = None, theme: str | Theme = "light", unit: str = "cm"
) -> Figure:
    """Drawing of a scene from above, from the front and from the right; nothing is traced.

    Parameters
    ----------
    scene : Scene
    world : World, optional
        Its shapes, if they are at hand; made from the scene otherwise.
    theme : str
        `light` or `dark`.
    unit : str
        `cm` or `in`.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    MeshError, DataError
        A file of the scene that cannot be used.
    """
    if world is None:
        from underlit.scene.world import (
            build_world,
        )  # loads the mesh library, which a result's figures do not need

        world = build_world(scene)
    draft = draft_of(scene, world, unit)
    notes = [
        "White lines on the soil join equal heights, " + ("2 cm" if unit == "cm" else "1 in") + " apart."
    ]
    if any(lamp.beams_rad for lamp in draft.lamps):
        notes.append(
            "Beams are drawn at half their maximum, bent by the water, up to the first pane or the bottom."
        )
    return drawing_figure(
        draft, title=scene.title or "Scene", subtitle="The scene as it will be traced",
        notes=[" ".join(notes)],
        theme=theme, unit=unit,
    )  # fmt: skip


def scene_drawing(
    scene: Scene, path: str | Path, *, world: World | None = None, theme: str = "light", unit: str = "cm"
) -> Path:
    """Draw a scene into a file, PNG, SVG or PDF by its suffix; parameters as in `scene_figure`."""
    return save(scene_figure(scene, world=world, theme=theme, unit=unit), path, theme)


def draft_of(scene: Scene, world: World, unit: str = "cm") -> Draft:
    """What the drawing shows, in metres."""
    tank = scene.tank
    points = [point for meter in scene.meter for point in meter.points]
    return Draft(
        size_m=np.array([tank.length, tank.width, tank.height]),
        glass_m=tank.thickness,
        bottom_m=tank.bottom_thickness,
        water_m=scene.water.level,
        soil_x_m=world.soil.x_m,
        soil_y_m=world.soil.y_m,
        soil_z_m=world.soil.z_m,
        hardscape=_pieces(scene, world),
        lamps=lamps_of(scene),
        zones=zones_of(scene),
        covers_m=_covers(scene),
        points_m=np.array(points).reshape(-1, 3),
        lines=_lines(scene, world, unit),
    )


def _pieces(scene: Scene, world: World) -> list[Outlines]:
    tank = scene.tank
    size = np.array([tank.length, tank.width, tank.height])
    if not scene.hardscape:
        return []
    points = np.concatenate([mesh.vertices_m for mesh in world.hardscape])
    meshes = [(mesh.vertices_m, mesh.faces) for mesh in world.hardscape]
    views = {}
    for view, axes in VIEWS.items():
        box = _around(points[:, axes], size[list(axes)])
        views[view] = seen_parts(meshes, axes, box, float(size.max()) / _CELLS_ACROSS)
    return [
        Outlines(piece.name, {view: parts[number] for view, parts in views.items()})
        for number, piece in enumerate(scene.hardscape)
    ]


def _around(points_m: np.ndarray, size_m: np.ndarray) -> tuple[float, float, float, float]:
    """Box about all pieces in one view, kept near the tank: a stray mesh must not ask for a huge picture. [m]"""
    low = np.clip(points_m.min(0) - 0.004, -0.3 * size_m, size_m)
    high = np.clip(points_m.max(0) + 0.004, low + 0.01, 1.3 * size_m + 0.01)
    return float(low[0]), float(high[0]), float(low[1]), float(high[1])


def _covers(scene: Scene) -> list[np.ndarray]:
    """Rim and braces from above, outlines (n, 2). [m]"""
    tank = scene.tank
    found = [_rectangle(*brace.rectangle) for brace in tank.brace]
    if tank.rim is not None:
        w, length, width = tank.rim.width, tank.length, tank.width
        found += [_rectangle(0, 0, length, w), _rectangle(0, width - w, length, width)]
        found += [_rectangle(0, w, w, width - w), _rectangle(length - w, w, length, width - w)]
    return found


def _rectangle(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def _lines(scene: Scene, world: World, unit: str) -> list[tuple[str, str]]:
    """The table: what the tank is and what is in it."""
    tank, water, soil = scene.tank, scene.water, world.soil.z_m

    def long(value_m: float, digits: int = 3) -> str:
        return f"{float(f'{value_m / length_unit_m(unit):.{digits}g}'):g}"

    litres = 1000 * tank.length * tank.width * max(water.level - float(soil.mean()), 0.0)
    volume = f"about {float(f'{litres:.2g}'):g} litres"
    size = " × ".join(long(v) for v in (tank.length, tank.width, tank.height))
    lines = [
        (
            "Tank, inside",
            f"{size} {unit}; {tank.glass} glass {1000 * tank.thickness:.3g}\u00a0mm{_films(scene)}",
        )
    ]
    if tank.lid is not None:
        lines.append(
            ("Lid", f"{tank.lid.material}, {1000 * tank.lid.thickness:.3g} mm, {tank.lid.condition}")
        )
    if water.level > 0:
        lines.append(("Water", f"{water.type}, {long(water.level)} {unit} high, {volume}"))
    else:
        lines.append(("Water", "none"))
    material = scene.substrate.material if isinstance(scene.substrate.material, str) else "own material"
    depths = dict.fromkeys((long(soil.min(), 2), long(soil.max(), 2)))
    lines.append(("Soil", f"{material}, {' to '.join(depths)} {unit} deep"))
    if scene.hardscape:
        lines.append(("Hardscape", _hardscape_words(scene, world)))
    for fixture in scene.fixture:
        watts = sum(channel.power for channel in fixture.channel)
        height = scene.emitter_height(fixture) - water.level
        where = f"{long(height)} {unit} above the water"
        lines.append((f"Lamp {fixture.name}", f"{fixture.shape}, {watts:.3g} W, {where}"))
    if scene.plant:
        zones = [f"{plant.name} {plant.band[0]:g}–{plant.band[1]:g}" for plant in scene.plant]
        lines.append(("Plants, with the PPFD they want", "; ".join(zones)))
    return lines


def _films(scene: Scene) -> str:
    panes = [(side, getattr(scene.tank.panes, side)) for side in SIDES]
    filmed = [f"{side} {pane.state} {_colour(pane.colour)}" for side, pane in panes if pane.state != "clean"]
    return "; " + ", ".join(filmed) if filmed else ""


def _colour(colour) -> str:
    return colour if isinstance(colour, str) else "of own colour"


def _hardscape_words(scene: Scene, world: World) -> str:
    triangles = sum(len(mesh.faces) for mesh in world.hardscape)
    names = [piece.name for piece in scene.hardscape]
    listed = ", ".join(names) if len(names) <= _LISTED else f"{len(names)} pieces"
    return f"{listed}; {_thousands(triangles)} triangles"


def _thousands(n: int) -> str:
    """A count with thin spaces."""
    return f"{n:,}".replace(",", "\u2009")
