"""Spectra: what the lamps send out, and what arrives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Curve
from scipy.ndimage import gaussian_filter1d

from underlit.figures.scale import srgb_from_linear
from underlit.figures.style import LIGHT, PAGE_WIDTH_IN, SMALL_PT, TEXT_PT, Theme, sheet, theme_of
from underlit.spectra import GRID_NM
from underlit.spectra.observer import observer

_LEFT_IN, _BOTTOM_IN, _TOP_IN, _PANEL_IN, _RIGHT_IN = 0.62, 0.42, 0.22, 1.55, 0.1
_TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
_PAR_NM = (400.0, 700.0)
_BLEND_NM = 8.0


@dataclass(frozen=True)
class SpectrumPanel:
    """One spectrum and what to write beside it.

    Attributes
    ----------
    name, unit : str
    value : ndarray, shape (401,)
        On `spectra.GRID_NM`.
    std_err : ndarray, shape (401,), optional
    words : str
        A line of numbers over the curve.
    other : ndarray, shape (401,), optional
        A second curve to compare with, dashed, in the same unit.
    """

    name: str
    unit: str
    value: np.ndarray
    std_err: np.ndarray | None = None
    words: str = ""
    other: np.ndarray | None = None


def spectrum_figure(
    panels: Sequence[SpectrumPanel], *, title: str = "", subtitle: str = "", notes: Sequence[str] = (),
    theme: str | Theme = "light",
) -> Figure:  # fmt: skip
    """Spectra one above the other over one axis of wavelength.

    Parameters
    ----------
    panels : sequence of SpectrumPanel
        From the top down.

    Returns
    -------
    matplotlib.figure.Figure
    """
    theme = theme_of(theme)
    width, step = PAGE_WIDTH_IN * 0.86, _PANEL_IN + _TOP_IN + 0.14
    with theme.context():
        page = sheet(width, _BOTTOM_IN + len(panels) * step, title, subtitle, notes, theme)
        for i, panel in enumerate(reversed(panels)):
            ax = page.axes(_LEFT_IN, _BOTTOM_IN + i * step, width - _LEFT_IN - _RIGHT_IN, _PANEL_IN)
            draw_spectrum(panel, ax, theme=theme)
            if i == 0:
                ax.set_xlabel("wavelength (nm)", labelpad=2)
            else:
                ax.set_xticklabels([])
    return page.figure


def draw_spectrum(panel: SpectrumPanel, ax: Axes, *, theme: Theme = LIGHT) -> Axes:
    """One spectrum, filled with the colours of its wavelengths, on the axes given."""
    top = max(float(panel.value.max()), float(panel.other.max()) if panel.other is not None else 0.0) * 1.08
    top = top or 1.0
    ax.set(xlim=(GRID_NM[0], GRID_NM[-1]), ylim=(0, top))
    outline = np.vstack([np.column_stack([GRID_NM, panel.value]), [[GRID_NM[-1], 0], [GRID_NM[0], 0]]])
    area = PathPatch(Curve(outline, closed=False), fc="none", ec="none")
    ax.add_patch(area)
    strip = ax.imshow(
        wavelength_rgb()[None],
        extent=(GRID_NM[0] - 0.5, GRID_NM[-1] + 0.5, 0, top),
        aspect="auto",
        alpha=0.8,
        zorder=1,
    )
    strip.set_clip_path(area)
    ax.plot(GRID_NM, panel.value, color=theme.ink, lw=1.0, zorder=3)
    if panel.other is not None:
        ax.plot(
            GRID_NM,
            panel.other,
            color=theme.ink,
            lw=1.0,
            ls=(0, (3, 2)),
            zorder=3,
        )
    for edge in _PAR_NM:
        ax.axvline(edge, color=theme.muted, lw=0.7, ls=(0, (1, 2)), zorder=2)
    ax.spines[["top", "right"]].set_visible(False)
    ax.locator_params(axis="y", nbins=4)
    ax.set_ylabel(panel.unit, fontsize=SMALL_PT)
    ax.yaxis.set_label_coords(-0.085, 0.5)
    ax.set_title(panel.name, fontsize=TEXT_PT, color=theme.ink, loc="left", pad=4, parse_math=False)
    ax.set_title(panel.words, fontsize=SMALL_PT, color=theme.muted, loc="right", pad=4, parse_math=False)
    return ax


@cache
def wavelength_rgb() -> np.ndarray:
    """About the colour of each wavelength of the grid on a screen, (401, 3) sRGB.

    CIE 1931 observer, cut off at the screen's gamut and blended over neighbours; the ends fade as the eye does.
    """
    linear = np.clip(observer() @ _TO_SRGB.T, 0.0, None)
    linear = gaussian_filter1d(linear / linear.max(1, keepdims=True), _BLEND_NM, axis=0, mode="nearest")
    seen = np.clip(observer().sum(1, keepdims=True) / 0.5, 0.0, 1.0)
    return srgb_from_linear(linear * (0.3 + 0.7 * np.sqrt(seen)))
