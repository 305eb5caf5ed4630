"""What `place` found, as tables."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from underlit.metrics import maps
from underlit.metrics.answers.settings import listed, relaxed
from underlit.metrics.summary import PPFD_UNIT, Summary, Table, Value, facts
from underlit.studies.search import Candidate

if TYPE_CHECKING:
    from underlit.studies.place import Placing

_SPILL_UNIT = "µmol s⁻¹"
_KIND = {"lamps": "", "height": "cm", "tilt": "deg"}


def tables(found: Placing) -> Summary:
    """Tables `answer`, `lamps`, `zones`, `finalists` and `choices`."""
    made = [_answer(found), _lamps(found), _zones(found), _finalists(found), _choices(found)]
    return Summary(made, _cautions(found))


def _answer(found: Placing) -> Table:
    best, c = found.best, found.best.candidate
    n = len(c.places_m)
    rows: list[tuple[str, Value, str]] = [
        ("lamps", f"{n} x {found.lamp.name}" if n > 1 else found.lamp.name, ""),
        ("height", 100 * c.height_m, f"cm above the {found.lamp.height_above}"),
    ]
    if c.tilt_rad:
        rows.append(("tilt", math.degrees(c.tilt_rad), "deg"))
    rows.append(("power", best.balance.power_w, "W"))
    rows.append(("light into the room", best.spill_umol_s, _SPILL_UNIT))
    if not math.isnan(c.price):
        rows.append(("price", c.price, best.scene.schedule.currency))
    rows.append(("every target met", "yes" if best.balance.possible else "no", ""))
    if not best.balance.possible:
        rows.append(("missing in the worst zone", 100 * best.short, "%"))
    rows.append(("held by", listed(best.balance.binds), ""))
    if best.balance.would_do:
        rows.append(
            ("would do", listed([relaxed(*item) for item in best.balance.would_do.items()], "or"), "")
        )
    title = "What to hang" if best.balance.possible else "No choice gives every zone its target; the nearest"
    return facts("answer", title, rows, "Power and light by the trace that settled the settings.")


def _lamps(found: Placing) -> Table:
    lamps = found.best.scene.fixture
    labels = [channel.name for channel in lamps[0].channel]
    rows: list[dict[str, Value]] = []
    for lamp in lamps:
        row: dict[str, Value] = {"lamp": lamp.name, "from the left": 100 * lamp.position[0]}
        row["from the front"] = 100 * lamp.position[1]
        rows.append(row | {channel.name: 100 * channel.dim for channel in lamp.channel})
    columns = {"lamp": "", "from the left": "cm", "from the front": "cm", **dict.fromkeys(labels, "%")}
    return Table(
        "lamps", "Where, and how bright", columns, rows, "Middle of each lamp; settings of its channels."
    )


def _zones(found: Placing) -> Table:
    rows: list[dict[str, Value]] = []
    for each in found.checks:
        plant = each.zone.plant
        rows.append({
            "zone": plant.name, "target": float(plant.target), "median": each.median, "fresh median": each.fresh_median,
            "ceiling": float(plant.ceiling), "P90": each.p90, "fresh P90": each.fresh_p90,
            "agree": "yes" if each.agrees else "no",
        })  # fmt: skip
    columns = {"zone": "", "target": PPFD_UNIT, "median": PPFD_UNIT, "fresh median": PPFD_UNIT, "ceiling": PPFD_UNIT,
               "P90": PPFD_UNIT, "fresh P90": PPFD_UNIT, "agree": ""}  # fmt: skip
    note = (
        "`fresh`: the same lamps and settings traced again with other random numbers. `agree`: within three errors, "
        "or 1 %."
    )
    return Table("zones", "What the plants get", columns, rows, note)


def _finalists(found: Placing) -> Table:
    rows: list[dict[str, Value]] = []
    for one in found.finalists:
        off = 100 * float(np.sqrt(np.mean(one.stand_in_error**2)))
        rows.append(_kind(one.candidate) | {
            "places": _places(one.candidate), "power": one.balance.power_w, "spill": one.spill_umol_s,
            "missing": round(100 * one.short, 3), "stand-in off by": off, "held by": "; ".join(one.balance.binds),
        })  # fmt: skip
    columns = _KIND | {"places": "cm", "power": "W", "spill": _SPILL_UNIT, "missing": "%", "stand-in off by": "%",
                       "held by": ""}  # fmt: skip
    note = "Traced. `missing`: of the target of the worst zone. `stand-in off by`: root mean square over the zones."
    return Table("finalists", "Finalists", columns, rows, note)


def _choices(found: Placing) -> Table:
    rows: list[dict[str, Value]] = []
    zones = [zone.plant.name for zone in found.lattices[0].zones]
    for c in sorted(found.candidates, key=lambda c: c.kind):
        row = _kind(c) | {"power": c.watts, "spill": c.spill_umol_s, "missing": round(100 * c.short, 3)}
        rows.append(row | dict(zip(zones, map(float, c.medians), strict=True)) | {"": mark(found, c)})
    columns = _KIND | {
        "power": "W",
        "spill": _SPILL_UNIT,
        "missing": "%",
        **dict.fromkeys(zones, PPFD_UNIT),
        "": "",
    }
    note = "By the stand-in, at the best places of each. `*`: no other has less power, spill and lamps."
    return Table("choices", "The trade between height, number, watts and spill", columns, rows, note)


def mark(found: Placing, one: Candidate) -> str:
    """`*` for what no other choice beats, `not enough` for what leaves a zone short of its target."""
    if not one.possible:
        return "not enough"
    rivals = [c for c in found.candidates if c.possible and c is not one]
    mine = np.array([one.watts, one.spill_umol_s, len(one.places_m)])
    beaten = any((np.array([c.watts, c.spill_umol_s, len(c.places_m)]) <= mine).all() for c in rivals)
    return "" if beaten else "*"


def _kind(one: Candidate) -> dict[str, Value]:
    n, height_m, tilt_rad = one.kind
    return {"lamps": n, "height": 100 * height_m, "tilt": math.degrees(tilt_rad)}


def _places(one: Candidate) -> str:
    return "; ".join(f"{100 * x:.1f}, {100 * y:.1f}" for x, y in one.places_m)


def _cautions(found: Placing) -> list[str]:
    said = []
    if not all(each.agrees for each in found.checks):
        said.append("The two traces differ by more than their errors: trace with more --photons.")
    if any(channel.fixture == maps.WINDOW for channel in found.result.channels):
        said.append("The search left out the light from the window; the traces have it.")
    return said
