"""The light's day: ramps, dimmers whose percent are not photons, and the daily sum of light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from underlit.errors import DataError, StudyError
from underlit.metrics.photons import MOL_PER_UMOL_HOUR
from underlit.scene.use import Schedule
from underlit.spectra.tables import read_table


@dataclass(frozen=True, eq=False)
class DimCurve:
    """Photons that a dimmer gives at each of its settings, joined by straight lines.

    Parameters
    ----------
    setting, photons : ndarray, shape (n,)
        Both from 0 at the first to 1 at the last, both rising.
    """

    setting: np.ndarray
    photons: np.ndarray

    @classmethod
    def straight(cls) -> DimCurve:
        """A dimmer whose percent are percent of the photons."""
        return cls(np.array([0.0, 1.0]), np.array([0.0, 1.0]))

    @classmethod
    def read(cls, path: str | Path) -> DimCurve:
        """A curve from a CSV file with columns `setting_percent`, `photons_percent`.

        Readings of a meter will do for photons: they are scaled to 100 at the last row. (0, 0) is put in front.

        Raises
        ------
        DataError
            Unreadable, or not rising from row to row.
        """
        table = read_table(path)
        setting, photons = (
            np.append(0.0, table.numbers(name)) for name in ("setting_percent", "photons_percent")
        )
        start = 1 if setting[1] == 0.0 and photons[1] == 0.0 else 0
        setting, photons = setting[start:], photons[start:]
        if np.any(np.diff(setting) <= 0) or np.any(np.diff(photons) <= 0) or setting[-1] != 100.0:
            raise DataError(
                "a dim curve must rise from row to row in both columns, up to a setting of 100.",
                where=str(path),
                hint="Columns setting_percent, photons_percent; for instance 25,10 then 50,30 then 100,100.",
            )
        return cls(setting / setting[-1], photons / photons[-1])

    def photons_at(self, setting: float | np.ndarray) -> np.ndarray:
        """Share of the full photons at a setting, both 0-1."""
        return np.interp(setting, self.setting, self.photons)

    def setting_for(self, photons: float | np.ndarray) -> np.ndarray:
        """Setting that gives a share of the full photons, both 0-1."""
        return np.interp(photons, self.photons, self.setting)

    def ramp_share(self, top: float) -> float:
        """Photons of a steady ramp of the *setting* from 0 to what gives `top` photons, over those of `top` held.

        One half for a straight curve.
        """
        if top <= 0.0:
            return 0.5
        end = float(self.setting_for(top))
        inner = self.setting[(self.setting > 0.0) & (self.setting < end)]
        points = np.concatenate([[0.0], inner, [end]])
        return float(np.trapezoid(self.photons_at(points), points) / (end * top))


def full_hours(hours_h: float, ramp_h: float, curve: DimCurve | None = None, top: float = 1.0) -> float:
    """Hours at the top of the day that give the same photons as the whole day.

    Parameters
    ----------
    hours_h, ramp_h : float
        From first light to last, ramps included; length of each ramp. [h]
    curve : DimCurve, optional
        Of the dimmer that ramps; default straight.
    top : float
        Share of the full photons that the day is held at between its ramps.

    Returns
    -------
    float
        [h]
    """
    if not (0.0 <= hours_h <= 24.0 and 0.0 <= ramp_h <= hours_h / 2.0):
        raise StudyError(f"got ramps of {ramp_h:g} h in {hours_h:g} h of light, expected at most half of it.")
    share = (curve or DimCurve.straight()).ramp_share(top)
    return hours_h - 2.0 * ramp_h * (1.0 - share)


def hours_of(
    schedule: Schedule, hours_h: float | None = None, curve: DimCurve | None = None, top: float = 1.0
) -> float:
    """Hours at the settings of the channels that give the same photons as a scene's day.

    Parameters
    ----------
    schedule : Schedule
        Its ramps, or its course, are those of the dimmer's setting.
    hours_h : float, optional
        From first light to last; default those of the scene. A course is stretched to them. [h]
    curve, top
        As in `full_hours`.

    Returns
    -------
    float
        [h]
    """
    hours = schedule.hours if hours_h is None else hours_h
    if schedule.course is None:
        return full_hours(hours, min(schedule.ramp, hours / 2), curve, top)
    curve, top = (curve, top) if curve and top > 0 else (DimCurve.straight(), 1.0)
    time, share = schedule.corners(hours)
    return _hours(time, float(curve.setting_for(top)) * np.array(share), curve) / top


def dli_of_day(
    ppfd_umol_m2_s: np.ndarray, time_h: np.ndarray, setting: np.ndarray, curve: DimCurve | None = None
) -> np.ndarray:
    """Daily light integral of any course of the day, such as one with a pause at noon.

    Parameters
    ----------
    ppfd_umol_m2_s : ndarray, shape (...)
        At full setting. [umol m-2 s-1]
    time_h, setting : ndarray, shape (n,)
        Times of the day, rising, and the setting at each, 0-1; straight in between, dark outside. [h, 1]
    curve : DimCurve, optional
        Photons by setting; default straight.

    Returns
    -------
    ndarray, shape (...)
        [mol m-2 d-1]
    """
    time_h, setting = np.asarray(time_h, float), np.asarray(setting, float)
    if np.any(np.diff(time_h) < 0) or time_h[-1] - time_h[0] > 24.0 or np.any((setting < 0) | (setting > 1)):
        raise StudyError("times must rise within one day, and settings lie between 0 and 1.")
    hours = _hours(time_h, setting, curve or DimCurve.straight())
    return np.asarray(ppfd_umol_m2_s) * hours * MOL_PER_UMOL_HOUR


def _hours(time_h: Sequence[float] | np.ndarray, setting: np.ndarray, curve: DimCurve) -> float:
    """Hours at full setting that give the photons of a course of settings. [h]"""
    steps = zip(time_h[:-1], time_h[1:], setting[:-1], setting[1:], strict=True)
    return float(sum((t1 - t0) * _mean_photons(curve, s0, s1) for t0, t1, s0, s1 in steps))


def _mean_photons(curve: DimCurve, start: float, end: float) -> float:
    """Mean photons of a steady change of the setting; exact, as the curve is made of straight pieces."""
    low, high = min(start, end), max(start, end)
    if high - low < 1e-12:
        return float(curve.photons_at(low))
    inner = curve.setting[(curve.setting > low) & (curve.setting < high)]
    points = np.concatenate([[low], inner, [high]])
    return float(np.trapezoid(curve.photons_at(points), points) / (high - low))
