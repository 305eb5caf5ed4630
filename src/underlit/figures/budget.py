"""The light budget: of 100 photons that the lamps send out, where does each one end?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from underlit.figures.scale import ink_on
from underlit.figures.style import (
    DARK,
    LIGHT,
    SMALL_PT,
    TEXT_PT,
    Theme,
    sheet,
    size_in,
    text_width_in,
    theme_of,
)
from underlit.metrics.estimate import rounded

# Kinds of end, in the order they are drawn: what a keeper wants first, what is lost to the room last. The
# colours differ in lightness as well as in hue.
KINDS = ("soil, hardscape and plants", "water", "glass and films", "lamps and covers", "the room", "balance")
_COLOURS = {
    "light": ("#2f7d4f", "#4fa3c7", "#7c8f8c", "#5d5470", "#e0a13c", "#c9ced1"),
    "dark": ("#5fb482", "#3f8fb5", "#91a5a1", "#8a7fa6", "#e0a13c", "#55626a"),
}
LEAST = 0.05  # of 100 photons; a fate below it has no row
_PLAIN_NAMES = {"roulette balance": "left over by the calculation"}
_ROW_IN, _STRIP_IN, _NAME_IN, _BAR_IN, _NUMBER_IN = 0.215, 0.3, 2.05, 3.6, 0.9


@dataclass(frozen=True)
class Share:
    """One fate: its name, photons of a hundred that meet it, standard error, and which of `KINDS` it is."""

    name: str
    of_100: float
    std_err: float
    kind: str


def budget_figure(
    shares: Sequence[Share], *, title: str = "", subtitle: str = "", notes: Sequence[str] = (),
    theme: str | Theme = "light",
) -> Figure:  # fmt: skip
    """The light budget on a page of its own.

    Parameters
    ----------
    shares : sequence of Share
        All fates; together 100.

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    rows = _rows(shares)
    width, height = _NAME_IN + _BAR_IN + _NUMBER_IN, 0.16 + _STRIP_IN + 0.3 + len(rows) * _ROW_IN
    with theme.context():
        page = sheet(width, height, title, subtitle, notes, theme)
        strip = page.axes(0.0, height - 0.16 - _STRIP_IN, width, _STRIP_IN)
        draw_strip(rows, strip, theme=theme)
        draw_budget(rows, page.axes(_NAME_IN, 0.0, _BAR_IN, len(rows) * _ROW_IN), theme=theme)
    return page.figure


def _rows(shares: Sequence[Share]) -> list[Share]:
    """Fates that count, kind by kind, the largest first."""
    happening = [share for share in shares if abs(share.of_100) >= LEAST]
    return sorted(happening, key=lambda share: (KINDS.index(share.kind), -share.of_100))


def draw_strip(shares: Sequence[Share], ax: Axes, *, theme: Theme = LIGHT) -> Axes:
    """All hundred photons side by side, coloured by kind, with the sum of each kind."""
    kinds = [kind for kind in KINDS if any(share.kind == kind for share in shares)]
    per_photon_in = size_in(ax)[0] / 100.0
    start = 0.0
    for kind in kinds:
        total = sum(max(share.of_100, 0.0) for share in shares if share.kind == kind)
        error = float(np.sqrt(sum(share.std_err**2 for share in shares if share.kind == kind)))
        ax.barh(
            0, total, left=start, height=1, color=_colour(kind, theme), edgecolor=theme.paper, linewidth=0.8
        )
        number = rounded(total, max(error, 0.1))
        ink = ink_on(to_rgb(_colour(kind, theme)))
        for text, y, colour in ((number, 0.0, ink), (kind, 0.72, theme.muted)):
            if text_width_in(text, SMALL_PT) + 0.06 < total * per_photon_in:
                ax.text(
                    start + total / 2, y, text, ha="center", va="center" if y == 0 else "bottom",
                    color=colour,
                    fontsize=TEXT_PT if y == 0 else SMALL_PT,
                )  # fmt: skip
        start += total
    ax.set(xlim=(0, max(start, 100.0)), ylim=(-0.5, 0.5))
    ax.axis("off")
    return ax


def draw_budget(shares: Sequence[Share], ax: Axes, *, theme: Theme = LIGHT) -> Axes:
    """One bar for each fate, its name to the left and its number with standard error to the right."""
    values = [share.of_100 for share in shares]
    y = np.arange(len(shares))
    ax.barh(y, values, height=0.66, color=[_colour(share.kind, theme) for share in shares], zorder=2)
    for i, share in enumerate(shares):
        ax.annotate(
            _number(share), (max(share.of_100, 0.0), i), xytext=(4, 0), textcoords="offset points",
            va="center_baseline",
            fontsize=SMALL_PT + 0.5, color=theme.ink, annotation_clip=False,
        )  # fmt: skip
    ax.set(xlim=(0, max(values) if values else 1), ylim=(len(shares) - 0.5, -0.5), xticks=[])
    ax.set_yticks(y, [_PLAIN_NAMES.get(share.name, share.name) for share in shares])
    ax.tick_params(axis="y", length=0, pad=4)
    ax.spines[:].set_visible(False)
    ax.axvline(0, color=theme.muted, lw=0.8)
    return ax


def _number(share: Share) -> str:
    """Photons of a hundred with their error, to no more than two decimals."""
    if abs(share.of_100) < 0.005 and share.std_err < 0.005:
        return "< 0.01"
    error = max(share.std_err, 0.01)
    value = rounded(share.of_100, error).replace("-", "−")
    return value if share.std_err < 0.005 else f"{value} ± {rounded(share.std_err, error)}"


def _colour(kind: str, theme: Theme) -> str:
    return _COLOURS["dark" if theme is DARK else "light"][KINDS.index(kind)]


def kind_of(name: str) -> str:
    """Which of `KINDS` a name of the light budget belongs to."""
    for words, kind in _KIND_WORDS:
        if any(word in name for word in words):
            return kind
    return KINDS[0]


_KIND_WORDS = (
    (("past the tank", "reflected above", "out of"), "the room"),
    (("roulette", "cut off"), "balance"),
    (("absorbed in water",), "water"),
    (("glass", "films", "dirt"), "glass and films"),
    (("lid", "housings", "covers"), "lamps and covers"),
)
