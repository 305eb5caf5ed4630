"""What to dim to, for all zones at once."""

from __future__ import annotations

import numpy as np

from underlit.metrics import maps, zones
from underlit.metrics.balance import MET, Balance
from underlit.metrics.cost import cost
from underlit.metrics.day import DimCurve
from underlit.metrics.estimate import Estimate, with_error
from underlit.metrics.summary import PPFD_UNIT, Summary, Table, Value, colour_rows, facts
from underlit.results.result import Result


def dim_answer(res: Result, found: Balance, curve: DimCurve | None = None) -> Summary:
    """The best settings, what each zone gets from them, and what stands in the way.

    Parameters
    ----------
    res : Result
    found : Balance
        From `balance.balance`.
    curve : DimCurve, optional
        Of the dimmer; adds what to set it to.

    Returns
    -------
    Summary
    """
    settings = found.settings.value
    tables = [
        facts("answer", "Is it possible?", [("answer", sentence(found), "")]),
        _setting_table(res, found, curve),
        _zone_table(found),
        _light_table(res, found),
    ]
    reports = [zones.report(res, one.zone, settings) for one in found.zones]
    return Summary(tables, [caution for report in reports for caution in report.cautions])


def sentence(found: Balance) -> str:
    """Whether all zones get what they want, what decides, and what would help."""
    decides = listed(found.binds)
    if found.possible:
        return f"Yes: every zone gets its target. What decides: {decides}."
    parts = []
    for one in found.zones:
        if one.short > MET:
            median, low = one.median, one.zone.plant.band[0]
            where = (
                "still within its band" if median.value >= low else f"below its band, which begins at {low:g}"
            )
            gets = with_error(float(median.value), float(median.std_err), 3)
            parts.append(f"`{one.zone.plant.name}` gets {gets} of {one.zone.plant.target:g} ({where})")
    text = f"No: {'; '.join(parts)}. What stands in the way: {decides}."
    if found.would_do:
        text += f" It would do with {listed([relaxed(*item) for item in found.would_do.items()], 'or')}."
    return text


def relaxed(name: str, factor: float) -> str:
    return "no colour window" if factor == 0.0 else f"{factor:.2f} times the {name}"


def listed(names: list[str], word: str = "and") -> str:
    if len(names) < 2:
        return names[0] if names else "nothing"
    return f"{', '.join(names[:-1])} {word} {names[-1]}"


def _setting_table(res: Result, found: Balance, curve: DimCurve | None) -> Table:
    columns = {"fixture": "", "channel": "", "dim to": "%", "now": "%", "power": "W"}
    if curve is not None:
        columns["on the dimmer"] = "%"
    now = maps.dim_settings(res)
    rows: list[dict[str, Value]] = []
    for m, channel in enumerate(res.channels):
        row: dict[str, Value] = {
            "fixture": channel.fixture,
            "channel": channel.name,
            "now": 100 * float(now[m]),
        }
        row |= {"dim to": 100 * found.settings[m], "power": channel.power_w * found.settings[m]}
        if curve is not None:
            row["on the dimmer"] = 100 * Estimate.of(curve.setting_for, found.settings[m])
        rows.append(row)
    rows.append({"fixture": "all", "power": found.power_w})
    note = "Percent of photons. `±`: what the error of the trace makes of it."
    return Table("settings", "Dim to", columns, rows, note)


def _zone_table(found: Balance) -> Table:
    columns = {
        "zone": "",
        "target": PPFD_UNIT,
        "median": PPFD_UNIT,
        "ceiling": PPFD_UNIT,
        "P90": PPFD_UNIT,
        "met": "",
    }
    rows: list[dict[str, Value]] = [
        {"zone": one.zone.plant.name, "target": one.zone.plant.target, "median": one.median,
         "ceiling": one.zone.plant.ceiling, "P90": one.p90, "met": "yes" if one.short <= MET else "no"}
        for one in found.zones
    ]  # fmt: skip
    return Table("zones", "What the zones get then", columns, rows)


def _light_table(res: Result, found: Balance) -> Table:
    settings = found.settings.value
    money = cost(res, settings)
    rows: list[tuple[str, Value, str]] = [("energy", money.kwh_per_year, "kWh a year")]
    if np.isfinite(money.tariff):
        rows.append(("cost of energy", money.energy(1), f"{money.currency} a year".strip()))
    if settings.max(initial=0.0) > 0:
        rows += colour_rows(maps.spectrum(res, "soil", settings))
    return facts("light", "The light on the soil then", rows)
