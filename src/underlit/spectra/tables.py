"""Tables of numbers: shipped data files and a user's own, read by the same rules.

A table is a text file of comma, semicolon or tab separated columns. Lines that start with `#` are remarks;
one of them begins with `source:`. The first other line names the columns (a file of bare numbers needs none).
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

import numpy as np

from underlit.errors import DataError

MAX_BYTES = 20_000_000  # a spectrum is some kilobytes; more is the wrong file


@dataclass(frozen=True)
class Table:
    """Columns of one file.

    Attributes
    ----------
    columns : dict of str to list of str
        Cells by column name, in the order of the file.
    lines : list of int
        Line of the file each row stands on.
    remarks : list of str
        The `#` lines, without the `#`.
    path : str
        Where it was read.
    """

    columns: dict[str, list[str]]
    lines: list[int]
    remarks: list[str]
    path: str

    @property
    def source(self) -> str:
        """Where the numbers come from, as the file says it."""
        text = "\n".join(self.remarks)
        found = re.search(r"source:\s*(.+(?:\n\s{2,}.+)*)", text)
        return re.sub(r"\s*\n\s*", " ", found.group(1)) if found else ""

    def rows(self) -> list[dict[str, str]]:
        """Rows as dictionaries from column name to cell."""
        return [dict(zip(self.columns, row, strict=True)) for row in zip(*self.columns.values(), strict=True)]

    def numbers(self, name: str) -> np.ndarray:
        """One column as finite numbers, shape (n_rows,).

        Raises
        ------
        DataError
            No such column, or a cell that is not a finite number.
        """
        if name not in self.columns:
            have = ", ".join(self.columns)
            raise DataError(f"no column `{name}`; the file has: {have}.", where=self.path)
        cells = zip(self.columns[name], self.lines, strict=True)
        return np.array([_number(cell, f"{self.path}:{line}  {name}") for cell, line in cells])


@cache
def shipped(name: str) -> Table:
    """A data file of the package, by its name without `.csv`."""
    resource = files("underlit") / "data" / f"{name}.csv"
    return parse_table(resource.read_text(encoding="utf-8"), f"data/{name}.csv")


def read_table(path: str | Path) -> Table:
    """A table file of the user's.

    Raises
    ------
    DataError
        Missing, unreadable, far too big, empty or ragged.
    """
    return parse_table(read_text(path), str(path))


def read_text(path: str | Path) -> str:
    """Text of a small file, whatever common encoding it has; DataError when that cannot be."""
    path = Path(path)
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise DataError(
                f"the file holds {size / 1e6:.0f} MB; a table of optical data holds less than "
                f"{MAX_BYTES / 1e6:.0f} MB.",
                where=str(path),
                hint="Is it the right file?",
            )
        raw = path.read_bytes()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise DataError(f"cannot read the file: {reason}.", where=str(path)) from None
    if b"\0" in raw and not raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise DataError("this is a binary file, expected text.", where=str(path))
    return _decode(raw, path)


def _decode(raw: bytes, path: Path) -> str:
    """Unicode by its byte-order mark, else UTF-8, else the Windows code page instruments write."""
    encoding = "utf-16" if raw.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    for attempt in (encoding, "cp1252"):
        try:
            return raw.decode(attempt)
        except UnicodeDecodeError:
            continue
    raise DataError("the text is neither UTF-8 nor Windows-1252.", where=str(path))


def parse_table(text: str, path: str) -> Table:
    """A table from its text; see `read_table`."""
    numbered = [(i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip()]
    remarks = [line.lstrip()[1:].rstrip() for _, line in numbered if line.lstrip().startswith("#")]
    body = [(i, line) for i, line in numbered if not line.lstrip().startswith("#")]
    if not body:
        raise DataError("the file holds no rows.", where=path)
    separator = _separator(body[0][1])
    cells = [(i, _split(line, separator)) for i, line in body]
    header = cells[0][1]
    if _is_number(header[0]):
        header = [f"column {j + 1}" for j in range(len(header))]
    else:
        cells = cells[1:]
    return _assemble(header, cells, remarks, path)


def _assemble(header: list[str], cells: list[tuple[int, list[str]]], remarks: list[str], path: str) -> Table:
    """Columns from rows that all have the header's length."""
    names = [name.strip() for name in header]
    if len(set(names)) < len(names):
        raise DataError("two columns have the same name.", where=path)
    if not cells:
        raise DataError("the file holds a header and no rows.", where=path)
    for line, row in cells:
        if len(row) != len(names):
            raise DataError(f"got {len(row)} columns, expected {len(names)}.", where=f"{path}:{line}")
    columns = {name: [row[j].strip() for _, row in cells] for j, name in enumerate(names)}
    return Table(columns, [line for line, _ in cells], remarks, path)


def _separator(line: str) -> str:
    """Tab, semicolon or comma, whichever the line has, in that order; blanks when it has none."""
    return next((mark for mark in "\t;," if mark in line), " ")


def _split(line: str, separator: str) -> list[str]:
    if separator == " ":
        return line.split()
    return next(csv.reader([line], delimiter=separator))


def _is_number(cell: str) -> bool:
    try:
        float(cell.strip().replace(",", "."))
    except ValueError:
        return False
    return True


def _number(cell: str, where: str) -> float:
    """A finite number; a decimal comma is understood where commas do not separate columns."""
    if not _is_number(cell):
        raise DataError(f"got `{cell}`, expected a number.", where=where)
    value = float(cell.strip().replace(",", "."))
    if not np.isfinite(value):
        raise DataError(f"got `{cell}`, expected a finite number.", where=where)
    return value
