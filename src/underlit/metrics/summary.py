"""All tables of a result: what `underlit show` prints, and the same as plain data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np

from underlit.metrics import ends, light, maps, photons, zones
from underlit.metrics.estimate import Estimate, rounded, with_error
from underlit.metrics.footprint import Lattice
from underlit.metrics.spread import Area
from underlit.metrics.stripes import stripes
from underlit.results.result import Channel, Result
from underlit.scene.model import Scene
from underlit.spectra import GRID_NM, cautions, weighting

PPFD_UNIT = "µmol m⁻² s⁻¹"
TOO_FEW = "too few photons for"
DAYS_PER_YEAR = 365.0
FACTS = {"quantity": "", "value": "", "unit": ""}
DIGITS = 3  # most that are shown; the files have all
DUV_STEP = 1e-4  # four decimals, as lamps are sold by
Value = Estimate | float | int | str | None


@dataclass(frozen=True, eq=False)
class Table:
    """One table: rows of named values.

    Parameters
    ----------
    name : str
        Short, for files.
    title : str
    columns : dict of str to str
        Unit by column, in order; empty for none.
    rows : list of dict
        Values by column: an `Estimate` where there is an error, a number, a text, or None.
    note : str
        A sentence on how to read it.
    """

    name: str
    title: str
    columns: dict[str, str]
    rows: list[dict[str, Value]]
    note: str = ""

    def _repr_html_(self) -> str:
        """The table, for notebooks."""
        names = [f"{name} [{unit}]" if unit else name for name, unit in self.columns.items()]
        head = "" if self.is_facts else _html_row("th", names)
        body = "".join(_html_row("td", list(row.values())) for row in self.texts())
        return f"<table><caption>{escape(self.title)}</caption>{head}{body}</table><p>{escape(self.note)}</p>"

    def texts(self) -> list[dict[str, str]]:
        """The rows as they are shown, a text for every column."""
        return [
            {name: text_of(row.get(name), row.get("quantity")) for name in self.columns} for row in self.rows
        ]

    @property
    def is_facts(self) -> bool:
        """Whether each row is one named quantity, rather than an entry of a list."""
        return tuple(self.columns) == tuple(FACTS)


def text_of(value: Value, quantity: Value = None) -> str:
    """A value as it is shown: no more digits than its error supports, and no more than `DIGITS`.

    Duv lies on either side of 0, so digits say nothing of it: it is shown with its sign, in steps.
    """
    if value is None or isinstance(value, str):
        return value or ""
    if isinstance(value, int):
        return f"{value:,}".replace(",", " ")
    number, error = (value, 0.0) if isinstance(value, float) else (float(value.value), float(value.std_err))
    if quantity == "Duv":
        text = with_error(number, max(error, DUV_STEP)) if error else rounded(number, DUV_STEP)
        return text if text.startswith("-") else f"+{text}"
    if error:
        return with_error(number, error, DIGITS)
    if not math.isfinite(number):
        return "–"
    return f"{number:.0f}" if abs(number) >= 999.5 else f"{number:.{DIGITS}g}"


@dataclass(frozen=True, eq=False)
class Summary:
    """All tables of a result, and the cautions that go with them."""

    tables: list[Table]
    cautions: list[str] = field(default_factory=list)

    def __getitem__(self, name: str) -> Table:
        """The table of that name."""
        return next(table for table in self.tables if table.name == name)

    def _repr_html_(self) -> str:
        """All tables, for notebooks."""
        return "".join(table._repr_html_() for table in self.tables)

    def as_dict(self) -> dict[str, Any]:
        """Plain data: numbers with errors become `{"value": .., "std_err": .., "unit": ..}`."""
        return {table.name: _plain_table(table) for table in self.tables} | {"cautions": self.cautions}


def summarise(res: Result, dims: maps.Dims = None) -> Summary:
    """All tables of a result at given settings of its channels.

    Parameters
    ----------
    res : Result
    dims : optional
        As `maps.dim_settings` takes them; default the settings of the scene.

    Returns
    -------
    Summary
    """
    settings = maps.dim_settings(res, dims)
    reports = [zones.report(res, zone, settings) for zone in zones.find_zones(res)]
    tables = [
        trace_table(res),
        lamp_table(res.channels, res.scene, settings),
        soil_table(res, settings),
        zone_table(reports),
        day_table(reports),
        dim_table(res, reports, settings),
        hardscape_table(res, settings),
        pane_table(res, settings),
        budget_table(res, settings),
    ]
    warnings = [caution for report in reports for caution in report.cautions]
    return Summary([table for table in tables if table.rows], [*warnings, cautions()["short"]])


def trace_table(res: Result) -> Table:
    """How the result came about."""
    rows: list[tuple[str, Value, str]] = [
        ("scene", res.scene.title or res.scene_file, ""),
        ("photons", res.n_photons, ""),
        ("replicates", res.replicates, ""),
        ("seed", res.seed, ""),
        ("error of the median soil cell", 100 * res.rel_err, "%"),
        ("error asked for", 100 * res.rel_err_asked if np.isfinite(res.rel_err_asked) else None, "%"),
        ("time", res.wall_s, "s"),
        ("ended by", res.stop_reason, ""),
        ("traced", res.created, ""),
        ("underlit", res.versions.get("underlit", ""), ""),
    ]
    return facts("trace", "Trace", [row for row in rows if row[1] is not None])


def lamp_table(channels: Sequence[Channel], scene: Scene, settings: np.ndarray) -> Table:
    """What every channel draws and emits, and all together."""
    spectra = np.array([channel.spectrum for channel in channels]).reshape(-1, len(GRID_NM))
    par, power = spectra @ weighting("PAR"), np.array([channel.power_w for channel in channels])
    columns = {
        "fixture": "",
        "channel": "",
        "setting": "%",
        "power": "W",
        "PPF": "µmol s⁻¹",
        "efficacy": "µmol J⁻¹",
    }
    rows: list[dict[str, Value]] = [
        {"fixture": c.fixture, "channel": c.name, "setting": 100 * dim, "power": dim * w, "PPF": dim * flux,
         "efficacy": flux / w if w else None}
        for c, dim, w, flux in zip(channels, settings, power, par, strict=True)
    ]  # fmt: skip
    total_w, total = float(settings @ power), float(settings @ par)
    if len(rows) > 1:
        rows.append(
            {
                "fixture": "all",
                "power": total_w,
                "PPF": total,
                "efficacy": total / total_w if total_w else None,
            }
        )
    kwh = total_w * zones.full_hours(scene) * DAYS_PER_YEAR / 1000
    note = f"PPF counts 400-700 nm. {scene.schedule.hours:g} hours a day: {kwh:.0f} kWh a year"
    if scene.schedule.tariff is not None:
        note += f", {kwh * scene.schedule.tariff:.0f} {scene.schedule.currency}".rstrip()
    return Table("lamps", "Lamps", columns, rows, note + ".")


def soil_table(res: Result, settings: np.ndarray) -> Table:
    """Light on the open soil: amount, evenness, colour."""
    lattice = Lattice.over(res.surface("soil"))
    open_share = lattice.shares(~lattice.in_hardscape(res))
    density = maps.ppfd(res, "soil", settings)
    rough = open_area(res, density, open_share)
    smooth = _open_cells(res, maps.smoothed(density, res.surface("soil"), open_share), open_share)
    p10, median, p90 = (rough.quantiles(0.1, 0.5, 0.9)[i] for i in range(3))
    lux = open_area(res, maps.ppfd(res, "soil", settings, "photopic"), open_share)
    rows: list[tuple[str, Value, str]] = [
        ("mean PPFD", rough.mean(), PPFD_UNIT),
        ("10 % of the soil gets less than", p10, PPFD_UNIT),
        ("median", median, PPFD_UNIT),
        ("10 % of the soil gets more than", p90, PPFD_UNIT),
        (
            "DLI of the median",
            median * zones.full_hours(res.scene) * photons.MOL_PER_UMOL_HOUR,
            "mol m⁻² d⁻¹",
        ),
        ("darkest spot (3 cm) / mean", smooth.min_over_mean(), ""),
        ("P10 / median", p10 / median, ""),
        ("coefficient of variation", rough.variation(), ""),
        ("colour stripes: variation of red:blue", stripes(res, settings).index, ""),
        ("illuminance", lux.mean(), "lx"),
        *colour_rows(maps.spectrum(res, "soil", settings)),
    ]
    return facts("soil", "Soil", rows, "On a horizontal plane just above the open soil.")


def open_area(res: Result, density: Estimate, open_share: np.ndarray) -> Area:
    """Light on the open part of the soil, as if no cell were partly covered."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return _open_cells(res, Estimate(density.samples / open_share), open_share)


def _open_cells(res: Result, density: Estimate, open_share: np.ndarray) -> Area:
    cells = np.flatnonzero(open_share >= zones.LEAST_OPEN_SHARE)
    area = res.surface("soil").cell_area_m2[cells] * open_share[cells]
    return Area(Estimate(density.samples[:, cells]), area)


def colour_rows(spectrum: Estimate) -> list[tuple[str, Value, str]]:
    """Colour figures of a spectrum, samples (K, 401); none in the dark."""
    if not spectrum.value.sum() > 0:
        return []
    shown = light.describe(spectrum)
    rows: list[tuple[str, Value, str]] = [
        ("blue, 400-500 nm", 100 * shown.blue, "% of PAR"),
        ("green, 500-600 nm", 100 * shown.green, "% of PAR"),
        ("red, 600-700 nm", 100 * shown.red, "% of PAR"),
    ]
    if shown.cct_k is None:
        return [*rows, ("colour temperature", f"none: {shown.colour_note}", "")]
    rows += [("colour temperature", shown.cct_k, "K"), ("Duv", shown.duv, "")]
    return [*rows, ("Ra", "none: too far from white" if shown.ra is None else shown.ra, "")]


def zone_table(reports: list[zones.ZoneReport]) -> Table:
    """What each plant zone gets, and whether it suits it."""
    columns = {"zone": "", "band": PPFD_UNIT, "P10": PPFD_UNIT, "median": PPFD_UNIT, "P90": PPFD_UNIT,
               "in band": "%", "verdict": ""}  # fmt: skip
    if any(r.few for r in reports):
        columns[TOO_FEW] = ""
    rows: list[dict[str, Value]] = [
        {"zone": r.zone.plant.name, "band": "{:g}-{:g}".format(*r.zone.plant.band), "P10": r.p10,
         "median": r.median, "P90": r.p90, "in band": 100 * r.in_band,
         "verdict": r.verdict if r.sure else f"{r.verdict}, just", TOO_FEW: ", ".join(r.few)}
        for r in reports
    ]  # fmt: skip
    note = "`in band`: share of the area."
    if not all(r.sure for r in reports):
        note += " `just`: within two standard errors of the next verdict."
    return Table("zones", "Plant zones", columns, rows, note)


def day_table(reports: list[zones.ZoneReport]) -> Table:
    """Where each plant zone is read, its light over the day, its size."""
    columns = {
        "zone": "",
        "read on": "",
        "area": "cm²",
        "above ceiling": "%",
        "DLI": "mol m⁻² d⁻¹",
    }
    rows: list[dict[str, Value]] = [
        {"zone": r.zone.plant.name, "read on": r.zone.surface,
         "area": 1e4 * float(r.zone.area_m2.sum()), "above ceiling": 100 * r.above_ceiling, "DLI": r.dli}
        for r in reports
    ]  # fmt: skip
    return Table(
        "days",
        "Plant zones over the day",
        columns,
        rows,
        "DLI is that of the median. Light is counted on the horizontal plane, on hardscape on its surface.",
    )


def dim_table(res: Result, reports: list[zones.ZoneReport], settings: np.ndarray) -> Table:
    """To what each zone would dim the lamps, all alike or one alone, and what does for all zones."""
    columns = {
        "zone": "",
        "target": PPFD_UNIT,
        "ceiling": PPFD_UNIT,
        "lamps": "",
        "dim to": "%",
        "bound by": "",
    }
    rows: list[dict[str, Value]] = []
    for r in reports:
        goal: dict[str, Value] = {
            "zone": r.zone.plant.name,
            "target": r.zone.plant.target,
            "ceiling": r.zone.plant.ceiling,
        }
        rows.append(goal | {"lamps": "all", "dim to": r.dim_to, "bound by": r.binds})
        if len(r.dim_to_by_fixture) > 1:
            alone = r.dim_to_by_fixture.items()
            rows += [goal | {"lamps": f"{name} alone", "dim to": percent} for name, percent in alone]
    if len(reports) > 1:
        together = zones.dim_all_to(res, [r.zone for r in reports], settings)
        rows.append(
            {"zone": "all zones", "lamps": "all", "dim to": together.percent, "bound by": together.binds}
        )
    note = (
        "Of the present setting: the median on target, nine tenths of the area under the ceiling. "
        "For lamps set one by one: `underlit dim`."
    )
    return Table("dimming", "Dim to", columns, rows, note)


def hardscape_table(res: Result, settings: np.ndarray) -> Table:
    """Light on stones and wood, on the surface normal, where they stand out of the soil."""
    rows = []
    for name, surface in res.surfaces.items():
        if name.startswith("hardscape "):
            x, y, z = surface.cell_centre_m.T
            out = z > zones.soil_height(res, x, y)
            rows.append(_light_row(res, name, settings, out))
    return _light_table("hardscape", "Hardscape", rows, "On the surface normal.")


def pane_table(res: Result, settings: np.ndarray) -> Table:
    """Light on the inside of the panes under water: where algae will be wiped."""
    level = res.scene.water.level
    rows = []
    for name, surface in res.surfaces.items():
        if name.startswith("pane ") and name != "pane bottom":
            x, y, z = surface.cell_centre_m.T
            wet = (z > zones.soil_height(res, x, y)) & ((z < level) if level > 0 else True)
            rows.append(_light_row(res, name, settings, wet))
    return _light_table("panes", "Panes", rows, "Inside, between soil and water level.")


def _light_table(name: str, title: str, rows: list[dict[str, Value]], note: str) -> Table:
    columns = {"surface": "", "mean": PPFD_UNIT, "P10": PPFD_UNIT, "median": PPFD_UNIT, "P90": PPFD_UNIT}
    rows = [row for row in rows if row]
    if any(row[TOO_FEW] for row in rows):
        columns[TOO_FEW] = ""
    return Table(name, title, columns, rows, note)


def _light_row(res: Result, name: str, settings: np.ndarray, cells: np.ndarray) -> dict[str, Value]:
    if not cells.any():
        return {}
    density = maps.ppfd(res, name, settings)
    area = Area(Estimate(density.samples[:, cells]), res.surface(name).cell_area_m2[cells])
    p10, median, p90 = (area.quantiles(0.1, 0.5, 0.9)[i] for i in range(3))
    short = name.removeprefix("hardscape ").removeprefix("pane ")
    few = ", ".join(zones.few_at(area))
    return {"surface": short, "mean": area.mean(), "P10": p10, "median": median, "P90": p90, TOO_FEW: few}


def budget_table(res: Result, settings: np.ndarray) -> Table:
    """Where 100 emitted photons end, largest share first."""
    each = ends.shares(res, settings)
    order = [i for i in np.argsort(-each.value, kind="stable") if each.value[i] != 0]
    rows: list[dict[str, Value]] = [{"end": res.budget.names[i], "photons": each[i]} for i in order]
    note = f"All photons of 380-780 nm. Into the room go {ends.spill(res, settings)}."
    return Table("budget", "Where 100 photons end", {"end": "", "photons": ""}, rows, note)


def _html_row(cell: str, texts: list[str]) -> str:
    return "<tr>" + "".join(f"<{cell}>{escape(text)}</{cell}>" for text in texts) + "</tr>"


def facts(name: str, title: str, rows: list[tuple[str, Value, str]], note: str = "") -> Table:
    return Table(name, title, dict(FACTS), [dict(zip(FACTS, row, strict=True)) for row in rows], note)


def _plain_table(table: Table) -> Any:
    if table.is_facts:
        return {str(row["quantity"]): _plain(row["value"], row["unit"]) for row in table.rows}
    return [{name: _plain(row.get(name), unit) for name, unit in table.columns.items()} for row in table.rows]


def _plain(value: Value, unit: Any) -> Any:
    if isinstance(value, Estimate):
        return {"value": _number(value.value), "std_err": _number(value.std_err), "unit": unit or ""}
    return _number(value) if isinstance(value, float) else value


def _number(value: Any) -> float | None:
    """A JSON number; infinity and NaN are none."""
    return float(value) if np.isfinite(value) else None
