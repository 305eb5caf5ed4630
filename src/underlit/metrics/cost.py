"""What light costs: energy and money over the years."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.metrics import maps
from underlit.metrics.zones import full_hours
from underlit.results.result import Result

DAYS_PER_YEAR = 365.0


@dataclass(frozen=True)
class Cost:
    """Price and running cost of all lamps of a tank.

    Parameters
    ----------
    price : float
        Of the fixtures; NaN where one has none. [currency]
    power_w : float
        From the wall, at the settings asked for, taken in proportion to the light. [W]
    kwh_per_year : float
        [kWh]
    tariff : float
        NaN if not given. [currency per kWh]
    currency : str
    """

    price: float
    power_w: float
    kwh_per_year: float
    tariff: float
    currency: str

    def energy(self, years: float) -> float:
        """Cost of the energy of so many years. [currency]"""
        return years * self.kwh_per_year * self.tariff

    def total(self, years: float) -> float:
        """Price and energy of so many years; NaN where one of them is not known. [currency]"""
        return self.price + self.energy(years)


def cost(
    res: Result, dims: maps.Dims = None, hours_h: float | None = None, tariff: float | None = None
) -> Cost:
    """Cost of the lamps of a result.

    Parameters
    ----------
    res : Result
    dims : optional
        Settings of the channels.
    hours_h : float, optional
        Equivalent full hours a day; default those of the scene. [h]
    tariff : float, optional
        Default that of the scene. [currency per kWh]

    Returns
    -------
    Cost

    Notes
    -----
    A dimmed lamp is taken to draw power in proportion to its light. Real drivers draw a little more.
    """
    power = float(maps.dim_settings(res, dims) @ [channel.power_w for channel in res.channels])
    hours = full_hours(res.scene) if hours_h is None else hours_h
    prices = {channel.fixture: channel.price for channel in res.channels if channel.fixture != maps.WINDOW}
    known = res.scene.schedule.tariff if tariff is None else tariff
    return Cost(
        price=float(np.sum(list(prices.values()))),
        power_w=power,
        kwh_per_year=power * hours * DAYS_PER_YEAR / 1000,
        tariff=float("nan") if known is None else known,
        currency=res.scene.schedule.currency,
    )
