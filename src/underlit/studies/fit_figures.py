"""Readings against the fit: a scatter plot, and where in the tank they are off."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from underlit.results.result import Result
from underlit.studies.fit import OUTLIER
from underlit.studies.fitted import Fit
from underlit.studies.meter import by_height

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_CELL_M, _PATCH_M = 0.002, 0.015  # grain and radius of the patch of colour round a reading


def draw(found: Fit, res: Result, folder: Path, fmt: str = "png", theme: str = "light") -> list[Path]:
    """Draw the readings against the fit.

    Parameters
    ----------
    found : Fit
    res : Result
        Of the scene, for its plan.
    folder : Path
    fmt, theme : str

    Returns
    -------
    list of Path
    """
    from underlit import figures
    from underlit.figures.scatter import scatter_figure

    read = np.array([spot.reading for spot in found.spots])
    left_out = int(found.outlier.sum())
    page = scatter_figure(
        found.after, read, found.expected_error, doubtful=found.outlier, name="meter (µmol m⁻² s⁻¹)",
        title="Readings and fit", subtitle=f"{len(read)} readings, {left_out} left out", theme=theme,
        notes=[f"Bars: one expected error. Crosses: {OUTLIER:g} errors or more off, left out of the fit."],
    )  # fmt: skip
    drawn = [figures.save(page, folder / f"scatter.{fmt}", theme)]
    for z, members in by_height(found.spots).items():
        page = _residual_map(found, res, z, members, theme)
        drawn.append(figures.save(page, folder / f"off-{1000 * z:.0f}-mm.{fmt}", theme))
    return drawn


def _residual_map(found: Fit, res: Result, z_m: float, members: list[int], theme: str) -> Figure:
    from underlit.figures import plan
    from underlit.figures.data import LightMap
    from underlit.figures.reading import Reading
    from underlit.figures.scale import difference_scale

    read = np.array([spot.reading for spot in found.spots])
    with np.errstate(divide="ignore", invalid="ignore"):
        off = 100 * (read / found.after - 1)
    kept = off[np.isfinite(off) & ~found.outlier]  # outliers would leave the others no colour
    reading = Reading(res)
    tank = res.scene.tank
    x, y = (np.linspace(0.0, side, round(side / _CELL_M) + 1) for side in (tank.length, tank.width))
    places = np.array([found.spots[i].place_m[:2] for i in members])
    light = LightMap(x, y, np.full((len(y) - 1, len(x) - 1), np.nan))
    for (px, py), value in zip(places, off[members], strict=True):
        light.value[np.hypot(light.x_m - px, light.y_m[:, None] - py) < _PATCH_M] = value
    marked = replace(reading.plan(), points_m=places, readings=off[members])
    return plan.plan_figure(
        light, marked, scale=difference_scale([kept], unit="%"), theme=theme,
        title=f"Readings at {100 * z_m:g} cm: how far off the fit", lines="",
        subtitle="Reading over fit, less 100 %: amber where the meter shows more than the fit",
        notes=["Usual errors of a reading: 5 %, and what 1 cm of place makes."],
    )  # fmt: skip
