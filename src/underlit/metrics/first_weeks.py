"""A plan for the first weeks of a new tank: less light and fewer hours at first, more from week to week."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from underlit.errors import DataError, StudyError
from underlit.metrics import maps, zones
from underlit.metrics.day import DimCurve, hours_of
from underlit.metrics.estimate import Estimate
from underlit.metrics.photons import MOL_PER_UMOL_HOUR
from underlit.results.result import Result
from underlit.spectra.tables import Table, read_table, shipped

LEAST_HOURS = 4.0  # of light a day, however much a plan takes off


@dataclass(frozen=True, eq=False)
class Week:
    """One week of the plan.

    Parameters
    ----------
    number : int
    percent : float
        Of the light meant for later. [%, of photons]
    setting : ndarray, shape (M,)
        What the controller shows for each channel, 0-1.
    hours_h : float
        From first light to last. [h]
    ppfd, dli : dict of str to Estimate
        Of the median of each zone. [umol m-2 s-1; mol m-2 d-1]
    """

    number: int
    percent: float
    setting: np.ndarray
    hours_h: float
    ppfd: dict[str, Estimate]
    dli: dict[str, Estimate]


def plan(
    res: Result,
    dims: maps.Dims = None,
    hours_h: float | None = None,
    curve: DimCurve | None = None,
    path: str | Path | None = None,
) -> list[Week]:
    """Week by week to the light that is meant for later.

    Parameters
    ----------
    res : Result
    dims : optional
        Settings meant for later, in photons; default those of the scene.
    hours_h : float, optional
        Hours meant for later; default those of the scene. [h]
    curve : DimCurve, optional
        Of the dimmer, for the settings and the ramps.
    path : path, optional
        A plan of your own: CSV with columns week, percent, hours_less. Default: `data/first_weeks.csv`.

    Returns
    -------
    list of Week
    """
    settings, curve = maps.dim_settings(res, dims), curve or DimCurve.straight()
    final_h = res.scene.schedule.hours if hours_h is None else hours_h
    medians = {zone.plant.name: zones.median(res, zone, settings) for zone in zones.find_zones(res)}
    weeks = []
    for number, percent, less in _steps(shipped("first_weeks") if path is None else read_table(path)):
        hours = min(final_h, max(final_h - less, LEAST_HOURS))
        dimmed = settings * percent / 100
        full = hours_of(res.scene.schedule, hours, curve, float(dimmed.max(initial=0.0)))
        ppfd = {name: median * (percent / 100) for name, median in medians.items()}
        dli = {name: value * (full * MOL_PER_UMOL_HOUR) for name, value in ppfd.items()}
        weeks.append(Week(number, percent, curve.setting_for(dimmed), hours, ppfd, dli))
    return weeks


def _steps(table: Table) -> list[tuple[int, float, float]]:
    """Week, percent and hours less of each row."""
    week, percent, less = (table.numbers(name) for name in ("week", "percent", "hours_less"))
    if np.any(np.diff(week) <= 0) or np.any((percent <= 0) | (percent > 100)) or np.any(less < 0):
        raise DataError(
            "weeks must rise, percent lie within 0-100, hours_less be 0 or more.", where=table.path
        )
    if not len(week):
        raise StudyError("the plan has no weeks.")
    return [(int(w), float(p), float(h)) for w, p, h in zip(week, percent, less, strict=True)]
