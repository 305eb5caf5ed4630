"""The journal page: one HTML file with everything in it."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from html import escape
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

import underlit
from underlit.errors import StudyError, UnderlitError
from underlit.figures.reading import Reading, join
from underlit.figures.scale import difference_ramp, light_ramp
from underlit.figures.style import DARK, LIGHT, Theme
from underlit.journal import facts
from underlit.journal.front import LIMITS, screen_record
from underlit.journal.light import planckian_locus
from underlit.journal.parcel import Parcel, squeeze
from underlit.journal.record import record
from underlit.journal.rendering import rendering_record
from underlit.metrics import maps
from underlit.results.result import Result
from underlit.spectra import cautions, plant_bands

MOST_BYTES = 8_000_000
STYLES = ("base.css", "layout.css", "parts.css")
SCRIPTS = (
    "numbers.js", "unpack.js", "estimate.js", "colour.js", "rendering.js", "tank.js", "spread.js", "zones.js",
    "state.js", "canvas.js", "contour.js", "plan.js", "section.js", "panes.js", "traces.js", "scene.js", "sight.js",
    "spot.js", "pick.js", "controls.js", "tables.js", "zonebars.js", "verdicts.js", "front.js", "compare.js", "main.js",
)  # fmt: skip
_INKS = (
    "paper",
    "ink",
    "muted",
    "faint",
    "water",
    "glass",
    "soil",
    "hardscape",
    "plant",
    "lamp",
    "alarm",
    "frame",
)


def journal_page(results: Sequence[Result], *, dims: maps.Dims = None) -> str:
    """The page of one result, or of two side by side.

    Parameters
    ----------
    results : sequence of Result
        One or two; the second is called B.
    dims : optional
        Settings of the channels to start from, as `maps.dim_settings` takes them; default those of the scenes.

    Returns
    -------
    str
        HTML that needs nothing else: no network, no other file.

    Raises
    ------
    StudyError
        More than two results, a library that is missing, or more than fits into 8 MB.
    """
    if len(results) not in (1, 2):
        raise StudyError(
            f"got {len(results)} results, a page shows one or two.", hint="Make a page for each."
        )
    library, licence = plotly_library()
    readings = [Reading(res, dims) for res in results]
    for kept in (1, 2, 4, 8):
        page = _page(readings, kept, library, licence)
        if len(page.encode()) <= MOST_BYTES:
            return page
    raise StudyError(
        f"the page would have {len(page) / 1e6:.1f} MB, and {MOST_BYTES / 1e6:.0f} MB is the most.",
        hint="Trace with larger cells or fewer planes, or make a page for each result.",
    )


def save_page(results: Sequence[Result], path: str | Path, *, dims: maps.Dims = None) -> Path:
    """Write the page, whole or not at all; see `journal_page`.

    Raises
    ------
    StudyError
        As `journal_page`.
    UnderlitError
        If the file cannot be written.
    """
    path = Path(path)
    text = journal_page(results, dims=dims)
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        os.replace(part, path)
    except OSError as fault:
        raise UnderlitError(
            f"cannot be written: {(fault.strerror or str(fault)).lower()}.",
            where=str(path),
            hint="Write to another place.",
        ) from None
    finally:
        part.unlink(missing_ok=True)
    return path


def plotly_library() -> tuple[str, str]:
    """Text of plotly.js as its Python package carries it, and its licence notice.

    Raises
    ------
    StudyError
        If plotly is not installed.
    """
    try:
        from plotly.offline import get_plotlyjs
    except ImportError:
        raise StudyError(
            "the page needs plotly, which is not installed.", hint="Install it: pip install plotly"
        ) from None
    text = get_plotlyjs()
    notice = text[text.find("/**") + 3 : text.find("*/")]
    return text, join([line.strip(" *") for line in notice.splitlines()])


def _page(readings: list[Reading], fold: int, library: str, licence: str) -> str:
    """The page with the replicates of each result folded `fold` to one."""
    parcel = Parcel()
    results = [record(read, parcel, _folded(read.res.replicates, fold)) for read in readings]
    filled = {
        "title": escape(" · ".join(read.title for read in readings)),
        "licence": escape(licence),
        "style": _colours() + "".join(_web(name) for name in STYLES),
        "summary": _summary(readings),
        "cautions": _paragraphs(_cautions(readings)),
        "inputs": "".join(
            _inputs(read, letter, len(readings)) for read, letter in zip(readings, "AB", strict=False)
        ),
        "version": escape(underlit.__version__),
        "limits": escape(LIMITS),
        "parcel": parcel.seal({"results": results} | _shared(parcel)),
        "library": squeeze(library.encode()),
        "script": "".join(_web(name) for name in SCRIPTS),
    }
    return re.sub(r"\{\{(\w+)\}\}", lambda found: filled[found[1]], _web("page.html"))


def _folded(replicates: int, fold: int) -> int:
    """Replicates left when so many become one; all of them where they do not divide, or too few would be left."""
    left = replicates // fold
    return left if replicates % fold == 0 and left >= 4 else replicates


def _shared(parcel: Parcel) -> dict[str, Any]:
    """What all results have in common: colours, plant bands, black bodies, the screen."""

    def ramp(colours: Any) -> list[int]:
        return np.round(255 * colours(np.linspace(0, 1, 256))[:, :3]).astype(int).ravel().tolist()

    return {
        "ramp": ramp(light_ramp()),
        "differenceRamp": ramp(difference_ramp()),
        "bands": [{"name": b.name, "low": b.low, "high": b.high} for b in plant_bands().values()],
        "locus": planckian_locus(),
        "rendering": rendering_record(parcel),
        "screen": screen_record(),
    }


def _web(name: str) -> str:
    return resources.files(__package__).joinpath("web", name).read_text(encoding="utf-8")


def _colours() -> str:
    """The themes of the figures as CSS variables."""

    def block(theme: Theme) -> str:
        return " ".join(f"--{ink}: {getattr(theme, ink)};" for ink in _INKS)

    return (
        f":root {{ color-scheme: light dark; {block(LIGHT)} }}\n"
        f"@media (prefers-color-scheme: dark) {{ :root {{ {block(DARK)} }} }}\n"
    )


def _summary(readings: list[Reading]) -> str:
    """The tanks in words, a column for each result."""
    return "".join(
        f"<section aria-label='The tank {escape(letter)} in words'>"
        + (f"<h3>{letter}: {escape(read.title)}</h3>" if len(readings) > 1 else "")
        + _pairs(facts.scene_facts(read.scene))
        + (f"<p class='notes'>{escape(read.scene.notes)}</p>" if read.scene.notes else "")
        + "</section>"
        for read, letter in zip(readings, "AB", strict=False)
    )


def _cautions(readings: list[Reading]) -> list[str]:
    warned = [warning for read in readings for warning in read.scene.warnings]
    return [*dict.fromkeys(warned), *cautions().values()]


def _inputs(read: Reading, letter: str, n: int) -> str:
    """Seed, errors, versions and the scene file of one result."""
    scene = f"<pre tabindex='0' role='region' aria-label='Scene file of {letter}'>{escape(read.res.scene_text)}</pre>"
    return (
        (f"<h3>{letter}: {escape(read.title)}</h3>" if n > 1 else "")
        + f"{_pairs(facts.provenance(read.res))}"
        f"<details><summary>The whole scene file</summary>{scene}</details>"
    )


def _pairs(rows: list[tuple[str, str]]) -> str:
    return "<dl>" + "".join(f"<div><dt>{escape(a)}</dt><dd>{escape(b)}</dd></div>" for a, b in rows) + "</dl>"


def _paragraphs(texts: list[str]) -> str:
    return "".join(f"<p>{escape(text)}</p>" for text in texts)
