"""A sweep as curves: light, evenness, spill and cost against the value that was moved."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from underlit.scene.plants import Plant
from underlit.studies.sweep import Sweep

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from underlit.figures import Curve

MOST_CURVES = 5  # that can be told apart


def draw(
    found: Sweep,
    plants: tuple[Plant, ...],
    folder: Path,
    fmt: str = "png",
    theme: str = "light",
    title: str = "",
) -> list[Path]:
    """Draw the curves of a sweep along its first axis; with more axes, one curve for each of their combinations.

    Parameters
    ----------
    found : Sweep
    plants : tuple of Plant
        The scene's zones.
    folder : Path
    fmt, theme : str
    title : str
        Of the scene.

    Returns
    -------
    list of Path
    """
    from underlit import figures

    drawn = []
    for name, (heading, keys) in _pages(found, plants).items():
        page = _page(found, heading, keys, theme, title)
        drawn.append(figures.save(page, folder / f"{name}.{fmt}", theme))
    return drawn


def _pages(found: Sweep, plants: tuple[Plant, ...]) -> dict[str, tuple[str, list[str]]]:
    """Heading and numbers of each picture, by file name."""
    names = [plant.name for plant in plants] or ["soil"]
    both = [f"{name} {what}" for what in ("median", "P10") for name in names]
    wanted = {
        "light": ("Light", both if len(names) == 1 else both[: len(names)]),
        "dark-tenth": ("Darkest tenth", both[len(names) :] if len(names) > 1 else []),
        "evenness": ("Evenness: P10 over median", [f"{name} P10 / median" for name in names]),
        "spill": ("Light into the room", ["spill"]),
        "yield": ("Light per watt", ["soil median per watt"]),
        "power": ("Power", ["power"]),
        "energy": ("Energy a year", ["energy a year"]),
        "price": ("Price", ["price"]),
    }
    moved = {"power", "energy a year", "price"}
    return {
        name: (heading, keys)
        for name, (heading, keys) in wanted.items()
        if keys and keys[0] in found.measures[0] and (keys[0] not in moved or _varies(found, keys[0]))
    }


def _varies(found: Sweep, key: str) -> bool:
    return np.ptp([each[key].value.value for each in found.measures if key in each]) > 0


def _page(found: Sweep, heading: str, keys: list[str], theme: str, title: str) -> Figure:
    from underlit.figures import curves_figure

    axis = found.axes[0]
    unit = found.measures[0][keys[0]].unit
    curves = _curves(found, keys)
    marked = axis.places[axis.values.index(found.points[found.marked][axis.path])]
    notes = [
        f"Error bars: one standard error of each point; {found.photons:,} photons each, seed {found.seed}. All points "
        "share their random numbers, so they differ by less noise than the bars show."
    ]
    if found.is_present:
        notes.append("Dashed: the scene as it is.")
    if len(curves) > MOST_CURVES:
        notes.append(f"The first {MOST_CURVES} of {len(curves)} curves.")
    return curves_figure(
        curves[:MOST_CURVES],
        x_name=axis.name,
        y_name=f"{heading.split(':')[0]} ({unit})" if unit else heading.split(": ")[-1],
        title=f"{title}: {heading[0].lower()}{heading[1:]}" if title else heading,
        subtitle=f"Against {axis.path}",
        notes=[" ".join(notes)],
        theme=theme,
        mark=float(marked) if found.is_present else None,
        ticks=() if axis.is_numeric else [str(value) for value in axis.values],
    )


def _curves(found: Sweep, keys: list[str]) -> list[Curve]:
    """One curve for each number and each combination of the values of the other axes."""
    from underlit.figures import Curve

    axis = found.axes[0]
    every: dict[tuple[str, str], list[tuple[float, float, float]]] = {}
    for point, each in zip(found.points, found.measures, strict=True):
        others = ", ".join(f"{value}" for path, value in point.items() if path != axis.path)
        place = float(axis.places[axis.values.index(point[axis.path])])
        for key in keys:
            if key in each:
                value = each[key].value
                every.setdefault((key, others), []).append((place, float(value.value), float(value.std_err)))
    curves = []
    for (key, others), points in every.items():
        x, y, error = np.array(sorted(points)).T
        name = others if len(keys) == 1 and others else f"{key}, {others}" if others else key
        curves.append(Curve(name, x, y, error))
    return curves
