"""A table as a figure: variants side by side with what decides between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from underlit.figures.style import (
    LIGHT,
    LINE,
    PAGE_WIDTH_IN,
    SMALL_PT,
    Theme,
    sheet,
    text_width_in,
    theme_of,
    wrap,
)

_SIZE_PT = SMALL_PT + 0.5
_PAD_IN, _ROW_IN = 0.14, 0.235
_WIDEST_IN = 1.7  # of one column's heading, before it is broken into lines


@dataclass(frozen=True)
class Column:
    """A column of a table: heading, one text for each row, and whether they are numbers, set to the right.

    A text that begins with `✓` is coloured as good, one that begins with `✗` as bad: sign and colour say the same.
    """

    heading: str
    cells: Sequence[str]
    numbers: bool = False


def table_figure(
    columns: Sequence[Column], *, title: str = "", subtitle: str = "", notes: Sequence[str] = (),
    theme: str | Theme = "light",
) -> Figure:  # fmt: skip
    """A table on a page of its own.

    Parameters
    ----------
    columns : sequence of Column
        All with equally many cells.

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    headings, widths = _measured(columns)
    deepest = max(len(lines) for lines in headings)
    height = deepest * _SIZE_PT * LINE / 72 + 0.1 + len(columns[0].cells) * _ROW_IN
    with theme.context():
        page = sheet(max(sum(widths), 0.6 * PAGE_WIDTH_IN), height, title, subtitle, notes, theme)
        draw_table(columns, page.axes(0, 0, sum(widths), height), theme=theme)
    return page.figure


def _measured(columns: Sequence[Column]) -> tuple[list[list[str]], list[float]]:
    """Headings broken into lines, and the width of each column. [in]"""
    headings, widths = [], []
    for column in columns:
        body = max([0.3, *(text_width_in(cell, _SIZE_PT) for cell in column.cells)])
        lines = wrap(column.heading, max(body, min(_WIDEST_IN, 0.9)), _SIZE_PT)
        headings.append(lines)
        widths.append(max([body, *(text_width_in(line, _SIZE_PT) for line in lines)]) + _PAD_IN)
    return headings, widths


def draw_table(columns: Sequence[Column], ax: Axes, *, theme: Theme = LIGHT) -> Axes:
    """The table on axes given, in inches; axes of another size than the table needs clip it."""
    headings, widths = _measured(columns)
    deepest = max(len(lines) for lines in headings)
    head = deepest * _SIZE_PT * LINE / 72 + 0.1
    rows = len(columns[0].cells)
    ax.set(xlim=(0, sum(widths)), ylim=(head + rows * _ROW_IN, 0))
    ax.axis("off")
    left = 0.0
    for column, lines, width in zip(columns, headings, widths, strict=True):
        x, align = (left + width - _PAD_IN, "right") if column.numbers else (left, "left")
        style: dict[str, Any] = dict(fontsize=_SIZE_PT, ha=align, parse_math=False)
        ax.text(
            x, head - 0.08, "\n".join(lines), color=theme.muted, va="bottom", linespacing=LINE - 0.1, **style
        )
        for i, cell in enumerate(column.cells):
            ax.text(x, head + (i + 0.5) * _ROW_IN, cell, color=_colour(cell, theme), va="center", **style)
        left += width
    for i in range(rows + 1):
        ax.axhline(
            head + i * _ROW_IN, color=theme.muted if i == 0 else theme.faint, lw=0.8 if i == 0 else 0.6
        )
    return ax


def _colour(cell: str, theme: Theme) -> str:
    return {"✓": theme.plant, "✗": theme.alarm}.get(cell[:1], theme.ink)
