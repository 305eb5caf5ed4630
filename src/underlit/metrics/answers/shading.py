"""What the hardscape takes."""

from __future__ import annotations

from underlit.metrics import maps, zones
from underlit.metrics.shade import DARK, dark_patches, shade
from underlit.metrics.summary import PPFD_UNIT, Summary, Table, Value
from underlit.results.result import Result

MOST_PATCHES = 5  # of each zone


def shade_answer(res: Result, bare: Result, dims: maps.Dims = None) -> Summary:
    """Light with the hardscape over light without it by zone, and the ground that stays too dark.

    Parameters
    ----------
    res, bare : Result
        The scene, and the same traced without hardscape.
    dims : optional
        Settings of the channels.

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
    return Summary([table, _patch_table(res, found, dims)])


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
            middle = f"{100 * patch.x_m:.0f} cm from the left, {100 * patch.y_m:.0f} cm from the front"
            rows.append({"zone": zone.plant.name, "area": 1e4 * patch.area_m2, "middle": middle, "PPFD": patch.ppfd,
                         "of the zone": 100 * patch.area_m2 / float(zone.area_m2.sum()),
                         "wanted": f"{zone.plant.band[0]:g} and more"})  # fmt: skip
    if not rows:
        rows = [{"zone": "none", "middle": "every zone has its light everywhere"}]
    note = "Pieces of a zone under its band, the largest first."
    return Table("dark patches", "Ground that stays too dark", columns, rows, note)
