"""One look for every figure: themes, type sizes, sheets laid out in inches, and how a figure is saved.

Nothing here touches `pyplot`: a figure is an object, made under `Theme.context()` so that neither the
reader's own settings nor ours leak into the other.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patheffects import Normal, Stroke
from matplotlib.textpath import text_to_path
from matplotlib.ticker import MaxNLocator

from underlit.errors import DataError

FORMATS = ("png", "svg", "pdf")
LENGTHS = {"cm": 0.01, "in": 0.0254}  # display unit in metres
PAGE_WIDTH_IN = 7.1  # text width of an A4 page
MARGIN_IN = 0.14
TITLE_PT, TEXT_PT, SMALL_PT = 11.0, 8.5, 7.0
LINE = 1.35  # line height in units of the type size
DPI = 200
_HINTING = 1.03  # glyphs set to the pixels of a screen run a little wider than their outlines


@dataclass(frozen=True)
class Theme:
    """Colours of one look. What means the same thing has the same colour in every figure."""

    name: str
    paper: str
    ink: str
    muted: str
    faint: str
    water: str
    glass: str
    soil: str
    hardscape: str
    plant: str
    lamp: str
    alarm: str
    frame: str

    @contextmanager
    def context(self) -> Iterator[Theme]:
        """Matplotlib settings of this theme, undone on leaving."""
        with mpl.rc_context():
            mpl.rcdefaults()
            mpl.rcParams.update(self._settings())
            yield self

    def _settings(self) -> dict:
        return {
            "font.family": "DejaVu Sans",
            "font.size": TEXT_PT,
            "text.color": self.ink,
            "axes.facecolor": self.paper,
            "axes.edgecolor": self.muted,
            "axes.labelcolor": self.ink,
            "axes.labelsize": TEXT_PT,
            "axes.linewidth": 0.7,
            "xtick.color": self.muted,
            "ytick.color": self.muted,
            "xtick.labelcolor": self.ink,
            "ytick.labelcolor": self.ink,
            "xtick.labelsize": SMALL_PT + 0.5,
            "ytick.labelsize": SMALL_PT + 0.5,
            "xtick.major.width": 0.7,
            "ytick.major.width": 0.7,
            "xtick.major.size": 3.0,
            "ytick.major.size": 3.0,
            "figure.facecolor": self.paper,
            "savefig.facecolor": self.paper,
            "figure.dpi": 100,
            "savefig.dpi": DPI,
            "svg.hashsalt": "underlit",  # same drawing, same bytes
            "svg.fonttype": "path",
            "pdf.fonttype": 42,
        }


LIGHT = Theme(
    name="light", paper="#ffffff", ink="#1b2226", muted="#5c686f", faint="#dde2e4", water="#d6e8ee",
    glass="#b4cfcb", soil="#8a7663", hardscape="#8d9194", plant="#1f6f43", lamp="#b8741a", alarm="#b3261e",
    frame="#2b3438",
)  # fmt: skip
DARK = Theme(
    name="dark", paper="#12181b", ink="#e9edef", muted="#9aa7ad", faint="#2c363b", water="#1c3640",
    glass="#4d716d", soil="#6d5c4d", hardscape="#9ba0a3", plant="#7cc79a", lamp="#eeb054", alarm="#ff8a7a",
    frame="#c8d2d6",
)  # fmt: skip
THEMES = {theme.name: theme for theme in (LIGHT, DARK)}


def theme_of(name: str | Theme) -> Theme:
    """Look a theme up by name."""
    if isinstance(name, Theme):
        return name
    return _known(name, THEMES, "theme")


def length_unit_m(name: str) -> float:
    """Metres in one display unit, `cm` or `in`."""
    return _known(name, LENGTHS, "length unit")


def _known(name, table, what: str):
    if name not in table:
        raise DataError(f"{what} {name!r} is not known.", hint=f"Use one of: {', '.join(table)}.")
    return table[name]


def size_in(ax: Axes) -> np.ndarray:
    """Width and height that are set aside for axes. [in]"""
    figure = ax.get_figure(root=True)
    assert figure is not None
    place = ax.get_position()
    return np.array([place.width, place.height]) * figure.get_size_inches()


def length_ticks(ax: Axes, x_end: float, y_end: float, at_most: int) -> None:
    """Round ticks from nought to the ends of what is measured, in display units, on both axes."""
    for end, put in ((x_end, ax.set_xticks), (y_end, ax.set_yticks)):
        ticks = MaxNLocator(at_most, steps=[1, 2, 5, 10]).tick_values(0.0, end)
        put([tick for tick in ticks if -1e-9 <= tick <= end * (1 + 1e-6)])


def halo(theme: Theme | None, width_pt: float = 2.0, colour: str | None = None) -> list:
    """Path effects that keep a line or a word readable on any colour of a map."""
    return [Stroke(linewidth=width_pt, foreground=colour or (theme or LIGHT).paper), Normal()]


@lru_cache(maxsize=4096)
def text_width_in(text: str, size_pt: float, bold: bool = False) -> float:
    """Width of one line of text. [in]"""
    font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal", size=size_pt)
    width_pt, _, _ = text_to_path.get_text_width_height_descent(text, font, ismath=False)
    return _HINTING * float(width_pt) / 72.0


def wrap(text: str, width_in: float, size_pt: float, bold: bool = False) -> list[str]:
    """Break text into lines that fit, measured with the font itself."""
    lines: list[str] = []
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_in(longer, size_pt, bold) <= width_in:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


@dataclass
class Sheet:
    """A figure with its title above, notes below, and between them a box for axes, all in inches.

    Attributes
    ----------
    width_in, height_in : float
        Size of the box between title and notes. [in]
    """

    figure: Figure
    theme: Theme
    bottom_in: float
    width_in: float
    height_in: float

    def axes(self, left_in: float, bottom_in: float, width_in: float, height_in: float, **kwargs) -> Axes:
        """Axes placed in the box, measured from its lower left corner. [in]"""
        full_width, full_height = self.figure.get_size_inches()
        box = (
            (MARGIN_IN + left_in) / full_width,
            (self.bottom_in + bottom_in) / full_height,
            width_in / full_width,
            height_in / full_height,
        )
        return self.figure.add_axes(box, **kwargs)


def sheet(
    width_in: float,
    height_in: float,
    title: str = "",
    subtitle: str = "",
    notes: Sequence[str] = (),
    theme: Theme = LIGHT,
) -> Sheet:
    """A blank figure around a box of the given size; the page grows to hold title and notes."""
    blocks = [(title, TITLE_PT, True, theme.ink), (subtitle, TEXT_PT, False, theme.muted)]
    head = [
        (line, size, bold, colour)
        for text, size, bold, colour in blocks
        for line in wrap(text, width_in, size, bold)
    ]
    foot = [line for note in notes for line in wrap(note, width_in, SMALL_PT)]
    head_in = sum(size * LINE / 72.0 for _, size, _, _ in head) + (0.08 if head else 0.0)
    foot_in = len(foot) * SMALL_PT * LINE / 72.0 + (0.06 if foot else 0.0)
    full_width, full_height = width_in + 2 * MARGIN_IN, height_in + head_in + foot_in + 2 * MARGIN_IN
    figure = Figure(figsize=(full_width, full_height), facecolor=theme.paper)
    top = full_height - MARGIN_IN
    for line, size, bold, colour in head:
        figure.text(
            MARGIN_IN / full_width, top / full_height, line, fontsize=size, color=colour, va="top",
            fontweight="bold" if bold else "normal", parse_math=False,
        )  # fmt: skip
        top -= size * LINE / 72.0
    for i, line in enumerate(reversed(foot)):
        bottom = MARGIN_IN + i * SMALL_PT * LINE / 72.0
        figure.text(
            MARGIN_IN / full_width, bottom / full_height, line, fontsize=SMALL_PT, color=theme.muted,
            parse_math=False,
        )  # fmt: skip
    return Sheet(figure, theme, MARGIN_IN + foot_in, width_in, height_in)


def save(figure: Figure, path: str | Path, theme: str | Theme = "light") -> Path:
    """Write a figure, format by suffix; same drawing, same bytes, and never a half-written file.

    Raises
    ------
    DataError
        If the format is not known, or the file cannot be written.
    """
    path = Path(path)
    suffix = path.suffix.lstrip(".").lower()
    _known(suffix, dict.fromkeys(FORMATS), "figure format")
    undated = {"png": {}, "svg": {"Date": None}, "pdf": {"CreationDate": None}}[suffix]
    part = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with theme_of(theme).context():
            figure.savefig(part, format=suffix, metadata=undated, dpi=DPI, facecolor=figure.get_facecolor())
        os.replace(part, path)
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        hint = "Give a folder that can be written to."
        raise DataError(f"the picture cannot be written: {reason}.", where=str(path), hint=hint) from fault
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    return path
