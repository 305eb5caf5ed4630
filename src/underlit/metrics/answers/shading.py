"""What the hardscape takes."""

from __future__ import annotations

from collections.abc import Callable

from underlit.metrics import maps, zones
from underlit.metrics.shade import DARK, Patch, Sight, dark_patches, shade, shaded_patches
from underlit.metrics.spots import Spot, find_spot
from underlit.metrics.summary import PPFD_UNIT, Summary, Table, Value
from underlit.results.result import Result

Look = Callable[[Spot], list[Sight]]
MOST_PATCHES = 5


def shade_answer(res: Result, bare: Result, dims: maps.Dims = None, look: Look | None = None) -> Summary:
    """Light with the hardscape over light without it by zone, ground in the shade, and ground too dark for its plants.

    Parameters
    ----------
    res, bare : Result
        The scene, and the same traced without hardscape.
    dims : optional
        Settings of the channels.
    look : callable, optional
        Straight light at a spot by fixture, as `tracer.sight.who_shades` gives it: names what makes a shade.

    Returns
    -------
    Summary
    """
    found = [zone for zone in zones.find_zones(res) if zone.plant.on is None]
    by_surface = {
        name: shade(res, bare, dims, name) for name in dict.fromkeys(["soil", *(z.surface for z in found)])
    }
    shades = [by_surface["soil"].over(), *(by_surface[zone.surface].over(zone) for zone in found)]
    columns = {"zone": "", "without": PPFD_UNIT, "with": PPFD_UNIT, "left": "%", "under half": "%"}
    rows: list[dict[str, Value]] = [
        {"zone": one.name, "without": one.without, "with": one.with_it, "left": 100 * one.factor,
         "under half": 100 * one.dark_share}
        for one in shades
    ]  # fmt: skip
    note = f"Mean PPFD without and with hardscape. `under half`: share of the area left less than {100 * DARK:.0f} %."
    table = Table("shade", "What the hardscape takes", columns, rows, note)
    return Summary([table, _shade_table(res, bare, dims, look), _patch_table(res, found, dims)])


def _shade_table(res: Result, bare: Result, dims: maps.Dims, look: Look | None) -> Table:
    columns = {"area": "cm²", "middle": "", "PPFD": PPFD_UNIT, "left": "%"}
    if look is not None:
        columns["in the way"] = ""
    rows: list[dict[str, Value]] = []
    for patch in shaded_patches(res, bare, dims)[:MOST_PATCHES]:
        row: dict[str, Value] = {"area": 1e4 * patch.area_m2, "middle": _place(patch), "PPFD": patch.ppfd}
        row["left"] = None if patch.left is None else 100 * patch.left
        if look is not None:
            row["in the way"] = _in_the_way(look(find_spot(res, patch.x_m, patch.y_m)))
        rows.append(row)
    note = f"Open ground left less than {100 * DARK:.0f} % of its light, the largest pieces."
    if look is not None:
        note += " `in the way`: of straight light, at its middle."
    return Table("shaded ground", "Ground in the shade", columns, rows or [{"middle": "none"}], note)


def _in_the_way(sights: list[Sight]) -> str:
    """Pieces with the share of all straight light that each takes."""
    total = sum(float(sight.unshaded.value) for sight in sights)
    taken: dict[str, float] = {}
    for sight in sights:
        for piece, share in sight.taken_by.items():
            taken[piece] = taken.get(piece, 0.0) + float(share.value * sight.unshaded.value) / max(
                total, 1e-300
            )
    order = sorted(taken.items(), key=lambda item: -item[1])
    return ", ".join(f"{piece} {100 * share:.0f} %" for piece, share in order if share >= 0.01) or "nothing"


def _place(patch: Patch) -> str:
    return f"{100 * patch.x_m:.0f} cm from the left, {100 * patch.y_m:.0f} cm from the front"


def _patch_table(res: Result, found: list[zones.Zone], dims: maps.Dims) -> Table:
    columns = {
        "zone": "",
        "area": "cm²",
        "of the zone": "%",
        "middle": "",
        "PPFD": PPFD_UNIT,
        "wanted": PPFD_UNIT,
    }
    rows: list[dict[str, Value]] = []
    for zone in found:
        for patch in dark_patches(res, zone, dims)[:MOST_PATCHES]:
            rows.append({"zone": zone.plant.name, "area": 1e4 * patch.area_m2,
                         "middle": _place(patch), "PPFD": patch.ppfd,
                         "of the zone": 100 * patch.area_m2 / float(zone.area_m2.sum()),
                         "wanted": f"{zone.plant.band[0]:g} and more"})  # fmt: skip
    if not rows:
        rows = [{"zone": "none", "middle": "every zone has its light everywhere"}]
    note = "Pieces of a zone under its band, the largest first."
    return Table("dark patches", "Ground that stays too dark", columns, rows, note)
