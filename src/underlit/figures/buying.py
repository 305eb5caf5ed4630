"""Lamps side by side as a table: is each enough for the plants, and what does it cost?"""

from __future__ import annotations

import math
from collections.abc import Sequence

from matplotlib.figure import Figure

from underlit.errors import StudyError
from underlit.figures.style import Theme
from underlit.figures.table import Column, table_figure
from underlit.metrics.buying import Offer
from underlit.metrics.estimate import Estimate, with_error

_YEARS = 3
_NOTE = (
    "✓ enough, or more, which can be dimmed; ✗ too little even fully on. Dimmed so that no zone has more than it can "
    f"do with; {_YEARS} years are price and energy at that setting. ± is the standard error of the trace."
)


def buying_figure(offers: Sequence[Offer], *, title: str = "", theme: str | Theme = "light") -> Figure:
    """Offers side by side.

    Parameters
    ----------
    offers : sequence of Offer
        As `metrics.buying.offers` makes them, of one tank.
    title : str
    theme : str
        `light` or `dark`.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    StudyError
        If there is none.
    """
    if not offers:
        raise StudyError("there is nothing to compare.", hint="Give at least one offer.")
    currency = offers[0].full.currency or "price"
    zones = [zone.report.zone.plant for zone in offers[0].zones]
    columns = [
        Column("lamps", [offer.name for offer in offers]),
        *(
            Column(
                f"{plant.name}, {plant.band[0]:g}–{plant.band[1]:g}",
                [_median(offer, n) for offer in offers],
                True,
            )
            for n, plant in enumerate(zones)
        ),
        Column("dim to, %", [f"{min(float(offer.dim_to.value), 100.0):.0f}" for offer in offers], True),
        Column("power, W", [f"{offer.watts:.3g}" for offer in offers], True),
        Column("into the room, %", [_estimate(offer.spill) for offer in offers], True),
        Column(f"price, {currency}", [_money(offer.full.price) for offer in offers], True),
        Column(f"{_YEARS} years, {currency}", [_money(offer.dimmed.total(_YEARS)) for offer in offers], True),
    ]
    return table_figure(
        columns, title=title, theme=theme,
        subtitle="Fully on: median PPFD of each plant zone, µmol m⁻² s⁻¹, against what it wants",
        notes=[_NOTE],
    )  # fmt: skip


def _median(offer: Offer, n: int) -> str:
    report = offer.zones[n].report
    sign = "✗" if report.verdict in ("low", "too dark") else "✓"
    return f"{sign} {_estimate(report.median)}"


def _estimate(estimate: Estimate) -> str:
    return with_error(float(estimate.value), float(estimate.std_err), 3)


def _money(value: float) -> str:
    return f"{value:.0f}" if math.isfinite(value) else "not given"
