"""Tables for the terminal, for programs (JSON) and for spreadsheets (CSV)."""

from __future__ import annotations

import csv
import io
import json
import math
from typing import TYPE_CHECKING

from underlit.metrics.estimate import Estimate

if TYPE_CHECKING:
    from rich.console import Console

    from underlit.metrics.summary import Summary, Table, Value

PIPED_WIDTH = 120
SHORT_UNITS = ("%", "W", "cm²")
VERDICT_STYLE = {
    "right": "green",
    "low": "yellow",
    "bright": "yellow",
    "too dark": "red",
    "too bright": "red",
}


def console(*, stderr: bool = False) -> Console:
    """Where tables are printed; wide where no terminal sets a width."""
    from rich.console import Console

    made = Console(stderr=stderr, highlight=False)
    if not made.is_terminal:
        made.width = PIPED_WIDTH
    return made


def show(summary: Summary, console: Console) -> None:
    """Print all tables, and the cautions below them."""
    for table in summary.tables:
        print_table(table, console)
    console.print(
        "± is the standard error of the trace; it knows nothing of errors in the scene.", style="dim"
    )
    print_cautions(summary.cautions, console)


def print_cautions(cautions: list[str], console: Console) -> None:
    """Print cautions, one to a paragraph."""
    for caution in cautions:
        console.print(f"[yellow]![/] {caution}", highlight=False)


def print_table(table: Table, console: Console) -> None:
    """Print one table; units too long for a heading go below it."""
    from rich import box
    from rich.table import Table as Grid
    from rich.text import Text

    console.print(Text(table.title, "bold underline"))
    style = None if table.is_facts else box.SIMPLE_HEAD
    grid = Grid(box=style, show_header=not table.is_facts, show_edge=False, pad_edge=False)
    for name, unit in table.columns.items():
        numeric = not table.is_facts and any(
            isinstance(row.get(name), float | int | Estimate) for row in table.rows
        )
        header = Text(name).append(f" {unit}" if unit in SHORT_UNITS else "", "dim")
        grid.add_column(header, justify="right" if numeric else "left", no_wrap=numeric, overflow="fold")
    for cells in table.texts():
        grid.add_row(*(Text(cell, _style(name, cell)) for name, cell in cells.items()))
    console.print(grid)
    below = [*_long_units(table), *([table.note] if table.note else [])]
    console.print(Text(" ".join(below), "dim"), end="\n\n" if below else "\n")


def _style(column: str, cell: str) -> str:
    return VERDICT_STYLE.get(cell.removesuffix(", just"), "") if column == "verdict" else ""


def _long_units(table: Table) -> list[str]:
    """`PPFD in µmol m⁻² s⁻¹` and the like, for columns whose heading lacks the unit."""
    columns: dict[str, list[str]] = {}
    for name, unit in table.columns.items():
        if unit and unit not in SHORT_UNITS:
            columns.setdefault(unit, []).append(name)
    return [f"{', '.join(names)}: {unit}." for unit, names in columns.items()]


def as_json(summary: Summary) -> str:
    """All tables as JSON; a number with an error is `{"value": .., "std_err": .., "unit": ..}`."""
    return json.dumps(summary.as_dict(), indent=2, ensure_ascii=False)


def as_csv(summary: Summary) -> str:
    """All tables as one long CSV: table, row, column, value, std_err, unit."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("table", "row", "column", "value", "std_err", "unit"))
    for table in summary.tables:
        first = next(iter(table.columns))
        for number, row in enumerate(table.rows, start=1):
            label = " / ".join(
                str(row[name]) for name in (first, "channel") if row.get(name) not in (None, "")
            )
            for name, unit in table.columns.items():
                if name not in (first, "channel", "unit"):
                    value = _cell(row.get(name), unit or row.get("unit", ""))
                    writer.writerow((table.name, label or number, name, *value))
    return text.getvalue()


def _cell(value: Value, unit: Value) -> tuple[object, object, Value]:
    if isinstance(value, Estimate):
        number, error = (n if math.isfinite(n) else "" for n in (float(value.value), float(value.std_err)))
        return number, error, unit
    return "" if value is None else value, "", unit
