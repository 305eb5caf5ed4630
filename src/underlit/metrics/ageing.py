"""How lamps fade and panes get dirty, and when that is too dim for the plants.

An LED is taken to fade exponentially: 0.7 of its light is left after its L70 hours, and 0.7^(t / L70) after t. That
is the rule by which makers extend tests of some thousand hours (TM-21, from memory), and no more than a rule: cheap
sealed lamps often end with their driver.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from underlit.errors import StudyError
from underlit.metrics import maps
from underlit.metrics.cost import DAYS_PER_YEAR
from underlit.metrics.estimate import Estimate
from underlit.metrics.maps import WINDOW
from underlit.metrics.spread import covering, quantiles
from underlit.metrics.zones import Zone
from underlit.results.result import Result

MARKS = (0.9, 0.8, 0.7)  # of the first light, as L90, L80 and L70
_LONGEST_H = 1e7


def light_left(hours_h: float | np.ndarray, l70_h: float | np.ndarray) -> np.ndarray:
    """Share of the first light after hours of use.

    Examples
    --------
    >>> light_left(30_000, 30_000), round(float(light_left(15_000, 30_000)), 4)
    (0.7, 0.8367)
    """
    return 0.7 ** (hours_h / l70_h)


def hours_to(share: float, l70_h: float) -> float:
    """Hours of use until a share of the first light is left. [h]

    Examples
    --------
    >>> round(hours_to(0.9, 30_000))
    8862
    """
    return l70_h * math.log(share) / math.log(0.7)


def with_l70(res: Result, l70_h: float) -> Result:
    """A result whose lamps without a stated life have this one. [h]"""
    if not l70_h > 0:
        raise StudyError(f"got a life of {l70_h:g} h, expected more than 0.")
    return res.with_channels(
        [c if math.isfinite(c.l70_hours) else replace(c, l70_hours=l70_h) for c in res.channels]
    )


def l70_of(res: Result) -> np.ndarray:
    """Hours to 70 % of each channel, shape (M,). Daylight does not fade.

    Raises
    ------
    StudyError
        Where a lamp does not say.
    """
    unknown = unknown_lives(res)
    if unknown:
        raise StudyError(
            f"the scene does not say how long {', '.join(f'`{name}`' for name in unknown)} lasts.",
            hint="Write `l70_hours = 30_000` into the fixture, or give one for all: --l70 30000.",
        )
    return np.array([np.inf if c.fixture == WINDOW else c.l70_hours for c in res.channels])


def unknown_lives(res: Result) -> list[str]:
    """Fixtures that do not say how long they last."""
    return sorted({c.fixture for c in res.channels if math.isnan(c.l70_hours) and c.fixture != WINDOW})


@dataclass(frozen=True, eq=False)
class Fading:
    """How long a zone stays bright enough.

    Parameters
    ----------
    zone : str
    least : float
        Median that it needs: the lower edge of its band. [umol m-2 s-1]
    at_marks : Estimate, samples of shape (K, 3)
        Median when the lamps are down to 90, 80, 70 %, settings as they are. [umol m-2 s-1]
    as_set_h, turned_up_h : Estimate
        Hours of use until the median is down to `least`, at the present settings and with all lamps turned up as far
        as they go; 0 if it is too dim already. [h]
    """

    zone: str
    least: float
    at_marks: Estimate
    as_set_h: Estimate
    turned_up_h: Estimate


def fading(res: Result, zone: Zone, dims: maps.Dims = None, dirt: float = 0.0) -> Fading:
    """How long a zone stays bright enough.

    Parameters
    ----------
    res : Result
        Its lamps state their life, see `with_l70`.
    zone : Zone
    dims : optional
        Settings of the channels.
    dirt : float
        Share of the light that dirt on lid and lamps takes between cleanings.

    Returns
    -------
    Fading
    """
    if not 0.0 <= dirt < 1.0:
        raise StudyError(f"got dirt of {dirt:g}, expected a share below 1.")
    lives, settings = l70_of(res), maps.dim_settings(res, dims)
    by_channel = maps.ppfd_by_channel(res, zone.surface)
    each, all_light = zone.light(by_channel).cells, zone.light(maps.mix(by_channel, settings))
    kept = all_light.kept
    least, clean = zone.plant.band[0], 1.0 - dirt

    def median(light: np.ndarray, levels: np.ndarray) -> float:
        return float(quantiles(levels @ light, zone.share, (0.5,), kept)[0])

    def until(light: np.ndarray, levels: np.ndarray) -> float:
        return _hours_until(lambda t: median(light, clean * levels * light_left(t, lives)), least)

    most = settings / settings.max() if settings.max() > 0 else settings
    marks = Estimate.of(lambda light: np.array([median(light, settings * mark) for mark in MARKS]), each)
    whole = median(each.value, settings)
    other = float(quantiles(all_light.otherwise, zone.share, (0.5,))[0]) / whole if whole > 0 else 1.0

    def covered(hours: Callable[[np.ndarray], float]) -> Estimate:
        return covering(Estimate.of(hours, each), hours(other * each.value))

    return Fading(
        zone.plant.name,
        least,
        covering(marks, marks.value * other) * clean,
        covered(lambda light: until(light, settings)),
        covered(lambda light: until(light, most)),
    )


def years_of(hours_h: Estimate, hours_per_day_h: float) -> Estimate:
    """Years that hours of use last."""
    return hours_h / (hours_per_day_h * DAYS_PER_YEAR)


def _hours_until(light, least: float) -> float:
    """Where a falling light reaches a level, by bisection; infinite if it never does."""
    if light(0.0) <= least:
        return 0.0
    if light(_LONGEST_H) > least:
        return math.inf
    low, high = 0.0, _LONGEST_H
    while high - low > 1e-6 * high:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if light(middle) > least else (low, middle)
    return high
