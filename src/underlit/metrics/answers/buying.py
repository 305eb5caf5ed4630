"""Lamps side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence

from underlit.metrics.answers.time import YEARS
from underlit.metrics.buying import Offer
from underlit.metrics.summary import PPFD_UNIT, Summary, Table, Value

FULL_YEARS = 3  # of energy in the money that light is compared by


def buying_answer(found: Sequence[Offer]) -> Summary:
    """Offers side by side: is it enough, what for the watts, what for the money.

    Parameters
    ----------
    found : sequence of Offer
        From `buying.offers`.

    Returns
    -------
    Summary
    """
    tables = [_enough_table(found), _zone_table(found), _lamp_table(found), _money_table(found)]
    return Summary([table for table in tables if table.rows])


def _enough_table(found: Sequence[Offer]) -> Table:
    rows: list[dict[str, Value]] = [
        {"lamps": offer.name, "answer": zone.answer} for offer in found for zone in offer.zones
    ]
    note = "With all channels fully on; medians in µmol m⁻² s⁻¹. The error is that of the trace alone."
    return Table("enough", "Is it enough for this tank?", {"lamps": "", "answer": ""}, rows, note)


def _zone_table(found: Sequence[Offer]) -> Table:
    currency = next((offer.full.currency for offer in found if offer.full.currency), "")
    columns = {"lamps": "", "zone": "", "median": PPFD_UNIT, "P10": PPFD_UNIT, "verdict": "",
               "per W": f"{PPFD_UNIT} W⁻¹", "per 100": f"{PPFD_UNIT} per 100 {currency}".strip()}  # fmt: skip
    rows: list[dict[str, Value]] = []
    for offer in found:
        paid = offer.full.total(FULL_YEARS)
        for zone in offer.zones:
            report = zone.report
            rows.append({"lamps": offer.name, "zone": report.zone.plant.name, "median": report.median,
                         "P10": report.p10, "per W": zone.per_watt,
                         "verdict": report.verdict if report.sure else f"{report.verdict}, just",
                         "per 100": zone.per_money(paid) if math.isfinite(paid) and paid > 0 else None})  # fmt: skip
    note = f"Fully on. `per 100`: of money spent on lamps and on {FULL_YEARS} years of energy."
    return Table("zones", "What the plants get", columns, rows, note)


def _lamp_table(found: Sequence[Offer]) -> Table:
    columns = {"lamps": "", "power": "W", "PPF": "µmol s⁻¹", "efficacy": "µmol J⁻¹", "lumens per W": "lm W⁻¹",
               "into the room": "%", "W per litre": "W L⁻¹"}  # fmt: skip
    rows: list[dict[str, Value]] = [
        {"lamps": o.name, "power": o.watts, "PPF": o.ppf, "efficacy": o.umol_per_joule, "lumens per W": o.lm_per_watt,
         "into the room": o.spill, "W per litre": _known(o.watts_per_litre)}
        for o in found
    ]  # fmt: skip
    return Table("lamps", "The lamps", columns, rows, _on_watts_per_litre(found))


def _on_watts_per_litre(found: Sequence[Offer]) -> str:
    """What watts per litre fail to say, in the numbers of this very table."""
    zones: dict[str, list[float]] = {}
    for offer in found:
        for zone in offer.zones:
            if offer.watts_per_litre > 0:
                median = float(zone.report.median.value)
                zones.setdefault(zone.report.zone.plant.name, []).append(median / offer.watts_per_litre)
    text = "Watts per litre say nothing of what reaches plants."
    spreads = {
        name: (min(each), max(each)) for name, each in zones.items() if len(each) > 1 and min(each) > 0
    }
    if spreads:
        name, (low, high) = max(spreads.items(), key=lambda item: item[1][1] / item[1][0])
        text += f" For each W per litre, {name} gets {low:.0f} to {high:.0f} µmol m⁻² s⁻¹ from these lamps."
    elif zones:
        each = {name: values[0] for name, values in zones.items()}
        given = ", ".join(f"{name} gets {value:.0f}" for name, value in each.items())
        text += f" For one W per litre, {given} µmol m⁻² s⁻¹ in the same tank."
    return text


def _money_table(found: Sequence[Offer]) -> Table:
    currency = next((offer.full.currency for offer in found if offer.full.currency), "money")
    columns = {"lamps": "", "price": currency, "dim to": "%", "decided by": "", "energy": "kWh a year"}
    columns |= {f"{n} year{'s' if n > 1 else ''}": currency for n in YEARS}
    rows: list[dict[str, Value]] = []
    for offer in found:
        money = offer.dimmed
        row: dict[str, Value] = {"lamps": offer.name, "price": _known(money.price), "dim to": offer.dim_to,
                                 "decided by": offer.binds, "energy": money.kwh_per_year}  # fmt: skip
        row |= {f"{n} year{'s' if n > 1 else ''}": _known(money.total(n)) for n in YEARS}
        rows.append(row)
    note = "Lamps and energy together, dimmed to what the zones need (fully on where that is not enough)."
    if any(not math.isfinite(offer.dimmed.total(1)) for offer in found):
        note += " A price of a lamp or of a kWh is missing: `price` in the fixture, `tariff` in `[schedule]`."
    return Table("money", "What it costs", columns, rows, note)


def _known(value: float) -> Value:
    return value if math.isfinite(value) else None
