"""Lamps side by side over one tank: what plants get for the watts and the money, and whether it is enough."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from underlit.errors import StudyError
from underlit.metrics import ends, maps, zones
from underlit.metrics.cost import Cost, cost
from underlit.metrics.estimate import Estimate, with_error
from underlit.results.result import Result


@dataclass(frozen=True, eq=False)
class ZoneOffer:
    """What one plant zone gets from an offer with all lamps fully on.

    Parameters
    ----------
    report : ZoneReport
    per_watt : Estimate
        Median per watt from the wall. [umol m-2 s-1 W-1]
    answer : str
        `Is it enough for this tank?` in a sentence.
    """

    report: zones.ZoneReport
    per_watt: Estimate
    answer: str

    def per_money(self, paid: float) -> Estimate:
        """Median per 100 units of money. [umol m-2 s-1 per 100]"""
        return self.report.median * (100.0 / paid)


@dataclass(frozen=True, eq=False)
class Offer:
    """All lamps of one result, fully on.

    Parameters
    ----------
    name : str
    watts, lumens, ppf : float
        From the wall [W]; luminous flux [lm]; photons of 400-700 nm [umol s-1].
    litres : float
        Of water. [L]
    spill : Estimate
        Photons out of 100 emitted that go into the room.
    zones : list of ZoneOffer
    dim_to : Estimate
        Common setting that all zones can do with, as of `zones.dim_all_to`; above 100 where lamps are too weak. [%]
    binds : str
        What decides it, as `target of carpet`.
    full, dimmed : Cost
        With all lamps fully on, and at `dim_to` (fully on where that is beyond them).
    """

    name: str
    watts: float
    lumens: float
    ppf: float
    litres: float
    spill: Estimate
    zones: list[ZoneOffer]
    dim_to: Estimate
    binds: str
    full: Cost
    dimmed: Cost

    @property
    def lm_per_watt(self) -> float:
        """Luminous efficacy. [lm W-1]"""
        return self.lumens / self.watts if self.watts else np.nan

    @property
    def umol_per_joule(self) -> float:
        """Photon efficacy. [umol J-1]"""
        return self.ppf / self.watts if self.watts else np.nan

    @property
    def watts_per_litre(self) -> float:
        """The trade's rule of thumb. [W L-1]"""
        return self.watts / self.litres if self.litres else np.nan


def offers(
    results: Mapping[str, Result], hours_h: float | None = None, tariff: float | None = None
) -> list[Offer]:
    """Offers by name, one for each result.

    Parameters
    ----------
    results : mapping of str to Result
        Of one tank with different lamps.
    hours_h : float, optional
        Equivalent full hours a day; default those of each scene. [h]
    tariff : float, optional
        Default that of each scene. [currency per kWh]

    Returns
    -------
    list of Offer
    """
    return [offer(name, res, hours_h, tariff) for name, res in results.items()]


def offer(name: str, res: Result, hours_h: float | None = None, tariff: float | None = None) -> Offer:
    """What one set of lamps does for a tank; arguments as of `offers`."""
    full = cost(res, 1.0, hours_h, tariff)
    found = zones.find_zones(res)
    if not found:
        raise StudyError("the scene has no plant zone to judge the lamps by.", hint="Add a `[[plant]]`.")
    together = zones.dim_all_to(res, found, 1.0)
    reports = [zones.report(res, zone, 1.0) for zone in found]
    setting = min(float(together.percent.value) / 100, 1.0)
    return Offer(
        name=name,
        watts=full.power_w,
        lumens=maps.flux(res, 1.0, "photopic"),
        ppf=maps.flux(res, 1.0),
        litres=litres(res),
        spill=ends.spill(res, 1.0),
        zones=[ZoneOffer(r, r.median / full.power_w, is_it_enough(r)) for r in reports],
        dim_to=together.percent,
        binds=together.binds,
        full=full,
        dimmed=cost(res, setting, hours_h, tariff),
    )


def is_it_enough(report: zones.ZoneReport) -> str:
    """`Is it enough for this tank?`, for one zone, in a sentence.

    Parameters
    ----------
    report : ZoneReport
        With all lamps fully on.

    Returns
    -------
    str
    """
    plant, median = report.zone.plant, report.median
    low, high = plant.band
    if not median.value > 0:
        return f"No: `{plant.name}` gets no light."
    gets = f"`{plant.name}` gets {with_error(float(median.value), float(median.std_err), 3)}"
    wants = f"it wants {low:g} to {high:g}"
    if median.value < low:
        just = "" if report.sure else ", though only just"
        return f"No{just}: {gets}, {wants}. It would take {low / median.value:.2g} times the light."
    if median.value < plant.target:
        text = f"Just: {gets}, {wants}; its target of {plant.target:g} is out of reach."
    else:
        word = "Yes" if median.value <= high else "More than enough"
        text = (
            f"{word}: {gets}, {wants}; dim to {_percent(report)} for its {report.binds} of {_goal(report):g}."
        )
    if report.p10.value < low:
        text += f" Fully on, a tenth of it still stays under {report.p10.value:.2g}."
    return text


def _percent(report: zones.ZoneReport) -> str:
    return f"{float(report.dim_to.value):.0f} %"


def _goal(report: zones.ZoneReport) -> float:
    return report.zone.plant.ceiling if report.binds == "ceiling" else report.zone.plant.target


def litres(res: Result) -> float:
    """Water between soil and water level, hardscape not taken off. [L]"""
    soil = res.surface("soil")
    depth = np.maximum(res.scene.water.level - soil.cell_centre_m[:, 2], 0.0)
    return float(1000 * depth @ soil.cell_area_m2)
