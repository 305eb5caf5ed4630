"""The first weeks of a tank, and its years."""

from __future__ import annotations

import math

import numpy as np

from underlit.metrics import ageing, maps, zones
from underlit.metrics.cost import cost
from underlit.metrics.estimate import Estimate
from underlit.metrics.first_weeks import Week
from underlit.metrics.summary import PPFD_UNIT, Summary, Table, Value, facts
from underlit.results.result import Result
from underlit.spectra import cautions

YEARS = (1, 3, 5)


def weeks_answer(weeks: list[Week]) -> Summary:
    """Settings, hours, PPFD and daily light from week to week.

    Parameters
    ----------
    weeks : list of Week
        From `first_weeks.plan`.

    Returns
    -------
    Summary
    """
    names = list(weeks[0].ppfd)
    columns = {"week": "", "light": "%", "set to": "%", "hours": "h", **dict.fromkeys(names, PPFD_UNIT)}
    rows: list[dict[str, Value]] = [
        {"week": w.number, "light": w.percent, "set to": _settings(w.setting), "hours": w.hours_h, **w.ppfd}
        for w in weeks
    ]
    daily: list[dict[str, Value]] = [{"week": w.number, **w.dli} for w in weeks]
    note = (
        "`light`: of what is meant for later. `set to`: on the controller, from the lowest channel to the highest. "
        "Common practice, not a rule: watch the plants and the algae, and stay at a week as long as it takes."
    )
    dli_columns = {"week": "", **dict.fromkeys(names, "mol m⁻² d⁻¹")}
    return Summary(
        [
            Table("weeks", "The first weeks: median PPFD", columns, rows, note),
            Table("weeks dli", "The first weeks: DLI of the median", dli_columns, daily),
        ],
        [cautions()["livestock"]],
    )


def _settings(setting: np.ndarray) -> str:
    low, high = (f"{100 * value:.0f}" for value in (setting.min(), setting.max()))
    return low if low == high else f"{low}-{high}"


def years_answer(
    res: Result,
    dims: maps.Dims = None,
    hours_h: float | None = None,
    tariff: float | None = None,
    dirt: float = 0.0,
) -> Summary:
    """What the light costs over the years, how it fades, and when it is too dim.

    Parameters
    ----------
    res : Result
        For the fading its lamps state their life, see `ageing.with_l70`.
    dims : optional
        Settings of the channels.
    hours_h : float, optional
        Equivalent full hours a day; default those of the scene. [h]
    tariff : float, optional
        [currency per kWh]
    dirt : float
        Share of the light that dirt takes.

    Returns
    -------
    Summary
    """
    hours = zones.full_hours(res.scene) if hours_h is None else hours_h
    tables = [_cost_table(res, dims, hours, tariff)]
    unknown = ageing.unknown_lives(res)
    if not unknown:
        found = [ageing.fading(res, zone, dims, dirt) for zone in zones.find_zones(res)]
        tables += [_lamp_table(res, hours), _fading_table(found, hours, dirt)]
    else:
        text = f"the scene does not say how long {', '.join(unknown)} lasts: --l70 30000"
        tables.append(facts("fading", "Fading", [("lamps", text, "")]))
    return Summary([table for table in tables if table.rows])


def _cost_table(res: Result, dims: maps.Dims, hours_h: float, tariff: float | None) -> Table:
    money = cost(res, dims, hours_h, tariff)
    currency = money.currency or "money"
    rows: list[dict[str, Value]] = [
        {"years": n, "energy": n * money.kwh_per_year, "cost of energy": _known(money.energy(n)),
         "with the lamps": _known(money.total(n))}
        for n in YEARS
    ]  # fmt: skip
    columns = {"years": "", "energy": "kWh", "cost of energy": currency, "with the lamps": currency}
    note = f"{money.power_w:.3g} W for {hours_h:.3g} full hours a day."
    if not math.isfinite(money.tariff):
        note += " No price of a kWh: give `--tariff 0.30`, or write it into `[schedule]`."
    if not math.isfinite(money.price):
        note += " No price of every fixture: write `price` into it."
    return Table("cost", "Running cost", columns, rows, note)


def _lamp_table(res: Result, hours_h: float) -> Table:
    """Years to 90, 80 and 70 % of the first light."""
    lives = {
        channel.fixture: channel.l70_hours for channel in res.channels if math.isfinite(channel.l70_hours)
    }
    rows: list[dict[str, Value]] = []
    for name, life in lives.items():
        row: dict[str, Value] = {"fixture": name, "L70": f"{life:.0f}"}
        rows.append(
            row | {f"to {100 * m:.0f} %": _years(ageing.hours_to(m, life), hours_h) for m in ageing.MARKS}
        )
    columns = {"fixture": "", "L70": "h", **{f"to {100 * mark:.0f} %": "years" for mark in ageing.MARKS}}
    note = "Exponential fading to 70 % after the stated hours. The driver of a cheap lamp may end first."
    return Table("fading", "Fading of the lamps", columns, rows, note)


def _fading_table(found: list[ageing.Fading], hours_h: float, dirt: float) -> Table:
    marks = {f"at {100 * mark:.0f} %": i for i, mark in enumerate(ageing.MARKS)}
    rows: list[dict[str, Value]] = []
    for one in found:
        row: dict[str, Value] = {"zone": one.zone, "needs": one.least}
        row |= {name: one.at_marks[i] for name, i in marks.items()}
        row |= {
            "too dim after": _when(one.as_set_h, hours_h),
            "turned up, after": _when(one.turned_up_h, hours_h),
        }
        rows.append(row)
    columns = {"zone": "", "needs": PPFD_UNIT, **dict.fromkeys(marks, PPFD_UNIT),
               "too dim after": "years", "turned up, after": "years"}  # fmt: skip
    note = (
        "Median of the zone when the lamps are down to that share. Too dim: the median is under its band; first at the "
        "present settings, then with the lamps turned up as they fade, as far as they go. Replace them by then."
    )
    if dirt:
        note += f" Dirt takes {100 * dirt:.0f} %."
    return Table("zones", "When it is too dim", columns, rows, note)


def _when(hours: Estimate, hours_h: float) -> Value:
    years = ageing.years_of(hours, hours_h)
    if float(years.value) == 0.0:
        return "now"
    return years if math.isfinite(years.value) else "never"


def _years(use_h: float, hours_h: float) -> Value:
    return float(use_h / (hours_h * 365.0)) if hours_h > 0 else "never"


def _known(value: float) -> Value:
    return value if math.isfinite(value) else None
