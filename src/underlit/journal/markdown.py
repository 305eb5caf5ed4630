"""The journal as Markdown with pictures, for forums and repositories."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import underlit
from underlit.errors import StudyError, UnderlitError
from underlit.figures import difference_figure, front_compare_figure, save, save_all
from underlit.figures.quantities import zone_reports
from underlit.figures.reading import Reading
from underlit.figures.view import can_be_seen
from underlit.journal import facts
from underlit.journal.front import LIMITS
from underlit.metrics import maps
from underlit.metrics.summary import Summary, Table, summarise
from underlit.results.result import Result

FILE = "journal.md"
_CAPTIONS = {  # in the order of the text
    "soil": "Light on the soil, from above",
    "front": "View from the front",
    "zones": "Plant zones: light and wanted band",
    "hardscape": "Hardscape and soil, painted with light",
    "sections": "Two upright sections",
    "depth": "Light against depth",
    "panes": "Inside of the panes",
    "day": "Light over the day",
    "spectra": "Spectrum at the lamps and on the soil",
    "budget": "Where 100 photons end",
    "difference": "B less A on the soil",
    "front-compare": "A and B from the front, in one exposure, for an eye used to daylight",
}


def save_markdown(
    results: Sequence[Result], folder: str | Path, *, dims: maps.Dims = None, unit: str = "cm"
) -> list[Path]:
    """Write the journal of one result, or of two, as `journal.md` with its pictures.

    Parameters
    ----------
    results : sequence of Result
        One or two.
    folder : str or Path
        Made if it is not there; pictures go into a folder of their own for each result.
    dims : optional
        Settings of the channels, as `maps.dim_settings` takes them; default those of the scenes.
    unit : str
        `cm` or `in`, for the scales of the pictures.

    Returns
    -------
    list of Path
        Files written, the text first.

    Raises
    ------
    StudyError
        More than two results.
    UnderlitError
        If the folder cannot be written to.
    """
    if len(results) not in (1, 2):
        raise StudyError(
            f"got {len(results)} results, a journal holds one or two.", hint="Write one for each."
        )
    folder = Path(folder)
    try:
        parts, pictures = [], []
        for letter, res in zip("AB", results, strict=False):
            name = f"pictures-{letter.lower()}" if len(results) > 1 else "pictures"
            drawn = save_all(res, folder / name, unit=unit, dims=dims)
            parts.append(_one(res, letter if len(results) > 1 else "", dims, drawn, folder))
            pictures += drawn
        if len(results) == 2:
            parts.append(_difference(results[0], results[1], dims, unit, folder, pictures))
        text = folder / FILE
        _write(text, "\n\n".join([*parts, _foot(results)]) + "\n")
    except OSError as fault:
        raise UnderlitError(
            f"cannot be written: {(fault.strerror or str(fault)).lower()}.",
            where=str(folder), hint="Write to another folder.",
        ) from None  # fmt: skip
    return [text, *pictures]


def _write(path: Path, text: str) -> None:
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def _one(res: Result, letter: str, dims: maps.Dims, pictures: Sequence[Path], folder: Path) -> str:
    """All of one result."""
    read, summary = Reading(res, dims), summarise(res, dims)
    blocks = [
        f"# {letter}: {read.title}" if letter else f"# {read.title}",
        _verdicts(read),
        res.scene.notes,
        _facts(facts.scene_facts(read.scene)),
        f"Shown with {read.settings()}. ± is the standard error of the trace; it knows nothing of errors in the scene.",
        *(_picture(path, folder) for path in _in_order(pictures)),
        *(_table(table) for table in summary.tables if table.name != "trace"),
        _cautions(summary),
        "## Inputs, seed, versions",
        _facts(facts.provenance(res)),
        f"<details><summary>The whole scene file</summary>\n\n{_fenced(res.scene_text)}\n\n</details>",
    ]
    return "\n\n".join(block for block in blocks if block)


def _verdicts(read: Reading) -> str:
    """Which plant zones get what they want, before all else."""
    reports, _ = zone_reports(read)
    if not reports:
        return ""
    right = sum(report.verdict == "right" for report in reports)
    each = "; ".join(f"{report.zone.plant.name} {report.verdict}" for report in reports)
    return f"**Plant zones that get the light they want: {right} of {len(reports)}.** {each[0].upper()}{each[1:]}."


def _difference(
    before: Result, after: Result, dims: maps.Dims, unit: str, folder: Path, pictures: list[Path]
) -> str:
    """B less A on the soil, or why there is no such map; both from the front in one exposure."""
    parts = ["# B less A"]
    try:
        figure = difference_figure(before, after, dims=dims, unit=unit)
        pictures.append(save(figure, folder / "difference.png"))
        parts.append(_picture(pictures[-1], folder))
    except StudyError as reason:
        parts.append(f"No map of the difference: {reason.what}")
    reads = [Reading(res, dims) for res in (before, after)]
    if all(can_be_seen(read) for read in reads):
        names = [f"{letter}: {read.title}" for letter, read in zip("AB", reads, strict=True)]
        pictures.append(save(front_compare_figure(reads, names), folder / "front-compare.png"))
        parts.append(_picture(pictures[-1], folder))
    return "\n\n".join(parts)


def _in_order(pictures: Sequence[Path]) -> list[Path]:
    """What a reader wants first, first."""
    names = list(_CAPTIONS)
    return sorted(pictures, key=lambda path: names.index(path.stem) if path.stem in names else len(names))


def _picture(path: Path, folder: Path) -> str:
    caption = _CAPTIONS.get(path.stem, path.stem.replace("-", " ").capitalize())
    shown = f"![{caption}]({path.relative_to(folder).as_posix()})"
    return f"{shown}\n\n*{LIMITS}*" if path.stem.startswith("front") else shown


def _facts(rows: list[tuple[str, str]]) -> str:
    return "\n".join(["| | |", "|---|---|", *(f"| {_cell(name)} | {_cell(text)} |" for name, text in rows)])


def _table(table: Table) -> str:
    heads, rows = facts.table_rows(table)
    numeric = [any(not isinstance(row.get(name), str | None) for row in table.rows) for name in table.columns]
    lines = [
        f"## {table.title}\n",
        "| " + " | ".join(map(_cell, heads)) + " |",
        "|" + "|".join("---:" if right else "---" for right in numeric) + "|",
        *("| " + " | ".join(map(_cell, row)) + " |" for row in rows),
    ]
    return "\n".join(lines) + (f"\n\n{table.note}" if table.note else "")


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


def _cautions(summary: Summary) -> str:
    return "## Cautions\n\n" + "\n".join(f"- {' '.join(text.split())}" for text in summary.cautions)


def _fenced(text: str) -> str:
    """A block of code; its fence is longer than any in the text."""
    longest = max((len(line) - len(line.lstrip("`")) for line in text.splitlines()), default=0)
    fence = "`" * max(3, longest + 1)
    return f"{fence}toml\n{text.rstrip()}\n{fence}"


def _foot(results: Sequence[Result]) -> str:
    photons = " and ".join(f"{res.n_photons:.3g}" for res in results)
    return f"*Made by underlit {underlit.__version__} from traces of {photons} photons.*"
