"""What a light meter shows at given spots, by trace: a sheet to take to the tank."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from underlit.errors import StudyError
from underlit.metrics import maps, spots
from underlit.metrics.estimate import Estimate
from underlit.metrics.summary import PPFD_UNIT, Table, Value
from underlit.results.result import Result
from underlit.scene.edit import change
from underlit.scene.model import Scene
from underlit.studies.readings import Head, Spot, write_sheet
from underlit.studies.store import PHOTONS, Job, Store, run_all, write_text

GRID_STEP_M = 0.001  # heights of spots are taken to the millimetre
ABOVE_SOIL_M, BELOW_WATER_M = 0.03, 0.05  # where heads are usually held [common practice, no source]


@dataclass(frozen=True, eq=False)
class Prediction:
    """What a meter is to show.

    Parameters
    ----------
    spots : list of Spot
    shown : Estimate, samples of shape (K, n)
        What the meter shows. [umol m-2 s-1]
    light : Estimate, samples of shape (K, n)
        PPFD that falls on its head. [umol m-2 s-1]
    results : list of Result
        The traces that this rests on: of the tank as it is, and of the empty tank if need be.
    """

    spots: list[Spot]
    shown: Estimate
    light: Estimate
    results: list[Result]

    def table(self) -> Table:
        """One row for each spot."""
        rows: list[dict[str, Value]] = [
            {"x": 100 * x, "y": 100 * y, "z": 100 * z, "meter shows": self.shown[i], "PPFD": self.light[i]}
            for i, (x, y, z) in enumerate(spot.place_m for spot in self.spots)
        ]
        columns = {"x": "cm", "y": "cm", "z": "cm", "meter shows": PPFD_UNIT, "PPFD": PPFD_UNIT}
        return Table("meter", "What the meter shows", columns, rows, "Head facing up.")

    def write_sheet(self, path: Path) -> None:
        """Write the sheet, with the column `reading` left to be filled in."""
        extra = {"predicted": self.shown.value, "predicted_std_err": self.shown.std_err}
        write_text(path, write_sheet(self.spots, extra))


def usual_spots(scene: Scene) -> list[Spot]:
    """Spots of the scene's meters, or else the trade's grid: 3 x 3 up to 75 cm, 5 x 3 to 105 cm, 7 x 3 beyond.

    The grid is read 3 cm above the soil, 5 cm below the surface, and half way.
    """
    level = scene.water.level
    if scene.meter:
        every = [point for meter in scene.meter for point in meter.points]
        return [Spot((x, y, z), in_water=z < level) for x, y, z in every]
    from underlit.scene.world import shape_soil

    soil, tank = shape_soil(scene), scene.tank
    across = 3 if tank.length <= 0.75 else 5 if tank.length <= 1.05 else 7
    found = []
    top = (level if level > 0 else tank.height) - BELOW_WATER_M
    for share in (0.0, 0.5, 1.0):
        for j in range(3):
            for i in range(across):
                x, y = (i + 0.5) / across * tank.length, (j + 0.5) / 3 * tank.width
                low = float(soil.height(x, y)) + ABOVE_SOIL_M
                z = round((low + share * max(top - low, 0.0)) / 0.005) * 0.005
                found.append(Spot((round(x, 3), round(y, 3), round(z, 3)), in_water=z < level))
    return list(dict.fromkeys(found))


def predict(
    scene: Scene,
    where: Sequence[Spot],
    folder: Path,
    head: Head | None = None,
    *,
    photons: int | None = None,
    seed: int | None = None,
) -> Prediction:
    """What a meter is to show.

    Parameters
    ----------
    scene : Scene
    where : sequence of Spot
    folder : Path
        Where the traces are kept.
    head : Head, optional
        Default a perfect one.
    photons, seed : int, optional
        Default those of the scene, or 4 million photons.

    Returns
    -------
    Prediction
    """
    head = head or Head()
    factors = np.array([head.shown(spot) for spot in where])
    store, wanted = Store(folder), jobs(scene, where, photons, seed)
    results = [result for _, result in run_all(list(wanted.values()), store)]
    traced = dict(zip(wanted, results, strict=True))
    weights = lit(results[0], where)
    shown = by_channel(traced, where, head.weights())
    light = by_channel(traced, where, "PAR")
    return Prediction(
        list(where),
        Estimate(np.einsum("knm,nm->kn", shown.samples, weights * factors[:, None])),
        Estimate(np.einsum("knm,nm->kn", light.samples, weights)),
        results,
    )


def jobs(
    scene: Scene,
    where: Sequence[Spot],
    photons: int | None,
    seed: int | None,
    values: dict[str, Any] | None = None,
) -> dict[bool, Job]:
    """Traces that the spots need, by whether the tank is full: planes at their heights, and 1 cm above and below."""
    level, high = scene.water.level, scene.tank.height
    found: dict[bool, Job] = {}
    for spot in where:
        if spot.in_water and spot.place_m[2] >= level:
            raise StudyError(
                f"a spot at {100 * spot.place_m[2]:g} cm is not under water: that stands at {100 * level:g} cm.",
                where=f"row {spot.row}" if spot.row else "",
            )
    heights = {spot.place_m[2] + step for spot in where for step in (-0.01, 0.0, 0.01)}
    planes = sorted({round(z / GRID_STEP_M) for z in heights if 0.0 < z < high})
    wanted = {"run.planes": [f"{z} mm" for z in planes], **(values or {})}
    for full in sorted({is_full(spot, level) for spot in where}, reverse=True):
        made = change(scene, wanted if full else wanted | _emptied(scene))
        found[full] = Job(
            made, photons or scene.run.photons or PHOTONS, scene.run.seed if seed is None else seed
        )
    return found


def is_full(spot: Spot, level_m: float) -> bool:
    """Whether a spot is read in the tank as it is, rather than in the empty one."""
    return spot.in_water or spot.place_m[2] >= level_m or level_m == 0


def _emptied(scene: Scene) -> dict[str, Any]:
    """The tank without its water, the lamps where they are."""
    moved: dict[str, Any] = {"water.level": "0 cm"}
    for number, fixture in enumerate(scene.fixture, start=1):
        moved[f"fixture[{number}].height"] = f"{1000 * scene.emitter_height(fixture):.6g} mm"
        moved[f"fixture[{number}].height_above"] = "bottom"
    return moved


def by_channel(
    traced: dict[bool, Result],
    where: Sequence[Spot],
    weighting: str | np.ndarray,
    shift_m: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> Estimate:
    """What each channel at full setting gives at each spot.

    Parameters
    ----------
    traced : dict of bool to Result
        As `jobs` asks for.
    where : sequence of Spot
    weighting : str or ndarray of shape (401,)
    shift_m : (float, float, float)
        How far aside the head is held. [m]

    Returns
    -------
    Estimate, samples of shape (K, n, M)
    """
    density: dict[tuple[bool, str], Estimate] = {}
    level = traced[True].scene.water.level if True in traced else math.inf
    rows = []
    for spot in where:
        full = True in traced and is_full(spot, level)
        res = traced[full]
        place = _place(res, spot, shift_m)
        key = full, place.surface
        if key not in density:
            density[key] = maps.ppfd_by_channel(res, place.surface, weighting)
        rows.append(place.mean(density[key]).samples)
    return Estimate(np.stack(rows, axis=1))


def _place(res: Result, spot: Spot, shift_m: tuple[float, float, float]) -> spots.Spot:
    """Where the head is read; held aside only as far as there is open water, or air."""
    tank = res.scene.tank
    x, y, z = (at + by for at, by in zip(spot.place_m, shift_m, strict=True))
    if any(shift_m):
        try:
            return spots.find_spot(res, min(max(x, 0.0), tank.length), min(max(y, 0.0), tank.width), z)
        except StudyError:  # within soil or stone, or over the rim
            x, y, z = spot.place_m
    try:
        return spots.find_spot(res, x, y, z)
    except StudyError as error:
        raise StudyError(error.what, where=f"row {spot.row}" if spot.row else "", hint=error.hint) from error


def lit(res: Result, where: Sequence[Spot]) -> np.ndarray:
    """Setting of each channel for each spot, (n, M); the lamps that were off are at 0."""
    rows = []
    for spot in where:
        present = maps.dim_settings(res)
        own = present if math.isnan(spot.setting) else np.full(len(present), spot.setting)
        if spot.lamps:
            on = maps.dim_settings(
                res, dict.fromkeys((c.label for c in res.channels), 0.0) | {spot.lamps: 1.0}
            )
            own = own * (on > 0)
        rows.append(own)
    return np.array(rows)


def sketches(found: Prediction, folder: Path, fmt: str = "png", theme: str = "light") -> list[Path]:
    """Plans of the tank with the readings to expect, one for each height.

    Parameters
    ----------
    found : Prediction
    folder : Path
    fmt, theme : str

    Returns
    -------
    list of Path
    """
    from underlit import figures
    from underlit.figures import plan
    from underlit.figures.reading import Reading

    reading = Reading(found.results[0])
    drawn = []
    for z, members in by_height(found.spots).items():
        name = f"plane {z:.3f}" if f"plane {z:.3f}" in found.results[0].surfaces else "soil"
        points = np.array([found.spots[i].place_m[:2] for i in members])
        marked = replace(reading.plan(), points_m=points, readings=found.shown.value[members])
        page = plan.plan_figure(
            reading.horizontal_map(name), marked, theme=theme,
            title=f"{reading.title}: what the meter shows at {100 * z:g} cm",
            subtitle="Head facing up, height above the inside bottom; colours: PPFD at that height",
            notes=[reading.provenance()],
        )  # fmt: skip
        drawn.append(figures.save(page, folder / f"sheet-{1000 * z:.0f}-mm.{fmt}", theme))
    return drawn


def by_height(where: Sequence[Spot]) -> dict[float, list[int]]:
    """Numbers of the spots by their height, the lowest first. [m]"""
    heights = sorted({spot.place_m[2] for spot in where})
    return {z: [i for i, spot in enumerate(where) if spot.place_m[2] == z] for z in heights}
