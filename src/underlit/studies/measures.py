"""The few numbers that a choice between scenes turns on, each with its error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.metrics import maps, summary, zones
from underlit.metrics.ends import spill
from underlit.metrics.estimate import Estimate
from underlit.metrics.footprint import Lattice
from underlit.metrics.spread import Area
from underlit.results.result import Result

SURE = 2.0  # standard errors that a difference must have to count as one
_ROUNDING = 1e-6  # of a number; the same light summed in another order differs by less
_LEVELS = (0.1, 0.5, 0.9)


@dataclass(frozen=True, eq=False)
class Measure:
    """One number of a scene.

    Parameters
    ----------
    value : Estimate
        Without spread where it is exact, such as a price.
    unit : str
    """

    value: Estimate
    unit: str


def measures(res: Result, dims: maps.Dims = None) -> dict[str, Measure]:
    """What a result comes to, by name.

    Parameters
    ----------
    res : Result
    dims : optional
        Settings of the channels; default those of the scene.

    Returns
    -------
    dict of str to Measure
        Of the open soil and of each plant zone: `median`, `P10`, `P90` [umol m-2 s-1], `P10 / median`; of zones the
        share `in band` [%] too. `spill`, the share of the photons that ends in the room [%]. `power` [W], `soil PPFD
        per watt`, and where prices are known `price`, `energy a year`.
    """
    settings = maps.dim_settings(res, dims)
    found = _of_area("soil", _soil(res, settings))
    for zone in zones.find_zones(res):
        area = zone.light(maps.ppfd(res, zone.surface, settings))
        found |= _of_area(zone.plant.name, area)
        found[f"{zone.plant.name} in band"] = Measure(100 * area.between(*zone.plant.band), "%")
    found["spill"] = Measure(spill(res, settings), "%")
    return found | _costs(res, settings, found["soil median"].value)


def difference(one: Estimate, other: Estimate) -> Estimate:
    """`other` less `one`.

    Replicate is taken from replicate. Where both were traced with one seed their photons are the same as long as the
    scenes are, and what they share in luck drops out of the error. With different seeds the errors simply add up.
    """
    if one.replicates == other.replicates:
        if abs(other.value - one.value) <= _ROUNDING * abs(one.value):
            return Estimate.exact(0.0, one.replicates)
        return other - one
    error = np.hypot(one.std_err, other.std_err)
    return Estimate(np.stack([other.value - one.value - error, other.value - one.value + error]))


def is_sure(change: Estimate) -> bool:
    """Whether a difference is more than its noise may have made."""
    return bool(abs(change.value) >= SURE * change.std_err and change.value != 0)


def _soil(res: Result, settings: np.ndarray) -> Area:
    lattice = Lattice.over(res.surface("soil"))
    return summary.open_area(
        res, maps.ppfd(res, "soil", settings), lattice.shares(~lattice.in_hardscape(res))
    )


def _of_area(name: str, area: Area) -> dict[str, Measure]:
    p10, median, p90 = (area.quantiles(*_LEVELS)[i] for i in range(3))
    amounts = {f"{name} median": median, f"{name} P10": p10, f"{name} P90": p90}
    found = {key: Measure(value, summary.PPFD_UNIT) for key, value in amounts.items()}
    return found | {f"{name} P10 / median": Measure(p10 / median, "")}


def _costs(res: Result, settings: np.ndarray, soil_median: Estimate) -> dict[str, Measure]:
    power_w = float(settings @ [channel.power_w for channel in res.channels])
    day = res.scene.schedule
    known = {"power": (power_w, "W")}
    price = sum({channel.fixture: channel.price for channel in res.channels if channel.power_w > 0}.values())
    if np.isfinite(price):
        known["price"] = (price, day.currency)
    if day.tariff is not None:
        kwh = power_w * zones.full_hours(res.scene) * summary.DAYS_PER_YEAR / 1000
        known["energy a year"] = (kwh * day.tariff, day.currency)
    found = {
        key: Measure(Estimate.exact(value, res.replicates), unit) for key, (value, unit) in known.items()
    }
    per_watt = soil_median / power_w if power_w > 0 else Estimate.exact(np.nan, res.replicates)
    return found | {"soil median per watt": Measure(per_watt, f"{summary.PPFD_UNIT} W⁻¹")}
