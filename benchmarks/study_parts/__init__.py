"""Parts of `python -m benchmarks.studies`; each has `measure(folder, options)`, which gives a Markdown table."""

from __future__ import annotations

import json
import time
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

SCENES_FOLDER = Path(__file__).parents[2] / "scenes"


def rows_of(path: Path) -> list[dict[str, Any]]:
    """Outcomes on file, one a line; a line that was cut short is left out."""
    found = []
    for line in path.read_text().splitlines() if path.is_file() else []:
        try:
            found.append(json.loads(line))
        except json.JSONDecodeError:
            continue
    return found


def add_row(path: Path, row: dict[str, Any]) -> None:
    """Keep one more outcome."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a") as file:
        file.write(json.dumps(row) + "\n")


def markdown(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A table."""
    lines = [columns, ["---", *["---:"] * (len(columns) - 1)], *rows]
    return "\n".join("| " + " | ".join(str(cell) for cell in line) + " |" for line in lines)


class Clock:
    """Seconds of wall and of processor time since it was made."""

    def __init__(self) -> None:
        self._wall, self._cpu = time.perf_counter(), time.process_time()

    def read(self) -> dict[str, float]:
        """Both, by name."""
        return {"wall_s": time.perf_counter() - self._wall, "cpu_s": time.process_time() - self._cpu}
