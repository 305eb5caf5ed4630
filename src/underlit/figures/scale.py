"""The colour scale of all light maps: dark is little light, pale is much, with steps at the plant bands.

The ramp runs from the blue-black of deep water through green to sunlit sand. It is drawn through Oklab
(Ottosson 2020, "A perceptual color space for image processing") at even arc length, so equal steps of light
look like equal steps of colour; lightness rises all the way, also for the red-green colour-blind.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap, ListedColormap, Normalize
from scipy.interpolate import PchipInterpolator

from underlit.figures.style import LIGHT, SMALL_PT, Theme, size_in

PPFD_UNIT = "µmol m⁻² s⁻¹"
# Lightness, chroma, hue [deg] of the ramp in Oklab, evenly spaced.
_LIGHT_RAMP = (
    (0.20, 0.06, 285),
    (0.38, 0.115, 262),
    (0.56, 0.095, 215),
    (0.75, 0.11, 130),
    (0.965, 0.055, 98),
)
_LAB_TO_LMS = np.array(
    [
        [1.0, 0.3963377774, 0.2158037573],
        [1.0, -0.1055613458, -0.0638541728],
        [1.0, -0.0894841775, -1.2914855480],
    ]
)
_LMS_TO_RGB = np.array(
    [
        [4.0767416621, -3.3077115913, 0.2309699292],
        [-1.2684380046, 2.6097574011, -0.3413193965],
        [-0.0041960863, -0.7034186147, 1.7076147010],
    ]
)
_TOPS = np.array([1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10])


@dataclass(frozen=True)
class Band:
    """A range of PPFD that a group of plants works in. [umol m-2 s-1]"""

    name: str
    low: float
    high: float


@dataclass(frozen=True)
class Scale:
    """Colour scale from nought to `top`, shared by all maps that are to be compared.

    Attributes
    ----------
    top : float
        Upper end.
    bands : tuple of Band
        Contours stand where they begin.
    unit : str
        Written over the colour bar.
    clipped : bool
        Whether values beyond the ends are shown in the colours of the ends.
    differences : bool
        Whether the scale runs from minus `top` through a neutral nought to `top`.
    """

    top: float
    bands: tuple[Band, ...] = ()
    unit: str = PPFD_UNIT
    clipped: bool = False
    differences: bool = False

    @property
    def bottom(self) -> float:
        return -self.top if self.differences else 0.0

    @property
    def levels(self) -> list[float]:
        """Where bands begin, inside the scale: the contour levels."""
        return sorted({band.low for band in self.bands if self.bottom < band.low < self.top})

    @property
    def norm(self) -> Normalize:
        return Normalize(self.bottom, self.top)

    @property
    def cmap(self) -> ListedColormap | LinearSegmentedColormap:
        return difference_ramp() if self.differences else light_ramp()

    def rgb(self, value: np.ndarray | float) -> np.ndarray:
        """Colours of values, (..., 3) in 0..1 (sRGB)."""
        return np.asarray(self.cmap(self.norm(np.asarray(value, float))))[..., :3]

    def contrast(self, value: float) -> str:
        """Black or white, whichever shows on the colour of `value`."""
        return ink_on(self.rgb(value))


def scale_for(values: Sequence[np.ndarray], bands: Sequence[Band] = (), **kwargs) -> Scale:
    """A scale that holds all but the brightest half per cent of the values, with a round top."""
    data = np.concatenate([np.ravel(v) for v in values]) if len(values) else np.zeros(0)
    data = data[np.isfinite(data)]
    reach = float(np.percentile(data, 99.5)) if data.size else 0.0
    top = round_up(reach)
    return Scale(top, tuple(bands), clipped=bool(data.size and data.max() > top), **kwargs)


def difference_scale(values: Sequence[np.ndarray], **kwargs) -> Scale:
    """A scale about nought that holds all but the largest half per cent of the differences."""
    one = scale_for([np.abs(v) for v in values])
    return Scale(one.top, clipped=one.clipped, differences=True, **kwargs)


def round_up(value: float) -> float:
    """The next round number at or above a value (1 for nought)."""
    if value <= 0:
        return 1.0
    decade = 10.0 ** np.floor(np.log10(value))
    return float(decade * _TOPS[_TOPS * decade >= value * (1 - 1e-9)][0])


@cache
def light_ramp() -> ListedColormap:
    """The sequential ramp, 256 colours."""
    return ListedColormap(_oklab_ramp(np.array(_LIGHT_RAMP), 256), name="underlit_light")


@cache
def difference_ramp() -> LinearSegmentedColormap:
    """Less light (blue) to more light (amber) through a neutral middle."""
    colours = ["#123a6b", "#5f93c4", "#e9e9e6", "#d99a3e", "#7a3f00"]
    return LinearSegmentedColormap.from_list("underlit_difference", colours, N=257)


def _oklab_ramp(knots: np.ndarray, n: int) -> np.ndarray:
    """sRGB colours along a smooth path through (lightness, chroma, hue) knots at even perceptual steps."""
    fine = np.linspace(0.0, 1.0, 2001)
    lightness, chroma, hue = PchipInterpolator(np.linspace(0, 1, len(knots)), knots)(fine).T
    lab = np.column_stack([lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))])
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(lab, axis=0), axis=1))])
    even = np.interp(np.linspace(0.0, arc[-1], n), arc, fine)
    return oklab_to_srgb(np.column_stack([np.interp(even, fine, lab[:, k]) for k in range(3)]))


def oklab_to_srgb(lab: np.ndarray) -> np.ndarray:
    """Oklab (..., 3) to gamma-coded sRGB in 0..1, clipped to the gamut (Ottosson 2020)."""
    return srgb_from_linear((lab @ _LAB_TO_LMS.T) ** 3 @ _LMS_TO_RGB.T)


def srgb_from_linear(linear: np.ndarray) -> np.ndarray:
    """Gamma-coded sRGB (IEC 61966-2-1) of linear values, clipped to 0..1."""
    linear = np.clip(linear, 0.0, 1.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


BAR_IN, BAR_TEXT_IN, BAR_GAP_IN = 0.15, 0.95, 0.14  # colour bar, its words, and the gap before it
BAR_ROOM_IN = BAR_IN + BAR_TEXT_IN + BAR_GAP_IN


def ink_on(rgb: Sequence[float] | np.ndarray) -> str:
    """Black or white, whichever has the greater contrast (WCAG 2) with an sRGB colour in 0..1."""
    coded = np.asarray(rgb, float)
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    return "#000000" if linear @ (0.2126, 0.7152, 0.0722) > 0.179 else "#ffffff"


def draw_scale(scale: Scale, ax: Axes, theme: Theme = LIGHT) -> Axes:
    """Colour bar: ramp, a line and a number where each plant band begins, band names beside it.

    Parameters
    ----------
    scale : Scale
    ax : Axes
        Narrow axes of the bar itself; numbers and names are written to its right.
    theme : Theme
    """
    ax.imshow(
        np.linspace(scale.bottom, scale.top, 257)[:, None], cmap=scale.cmap, norm=scale.norm, origin="lower",
        extent=(0, 1, scale.bottom, scale.top), aspect="auto",
    )  # fmt: skip
    for level in scale.levels:
        ax.axhline(level, color=scale.contrast(level), lw=0.9)
    gap = 1.15 * SMALL_PT / 72.0 / size_in(ax)[1] * (scale.top - scale.bottom)
    ticks = _apart(_ticks(scale), gap)
    ax.set(xlim=(0, 1), ylim=(scale.bottom, scale.top), xticks=[])
    ax.yaxis.tick_right()
    ax.set_yticks(ticks, [_tick_words(scale, tick) for tick in ticks])
    _name_bands(scale, ax, gap, theme)
    ax.annotate(
        scale.unit, (0, 1), xycoords="axes fraction", xytext=(0, 8), textcoords="offset points",
        fontsize=SMALL_PT, color=theme.muted, annotation_clip=False,
    )  # fmt: skip
    return ax


def _tick_words(scale: Scale, tick: float) -> str:
    words = f"{tick:+g}" if scale.differences and tick else f"{tick:g}"
    beyond = {scale.top: "≥ ", scale.bottom: "≤ " if scale.differences else ""} if scale.clipped else {}
    return beyond.get(tick, "") + words.replace("-", "−")


def _ticks(scale: Scale) -> list[float]:
    """Ends of the scale and band starts; plain steps where there are too few of those."""
    ticks = [scale.top, scale.bottom, *scale.levels]
    if len(scale.levels) < 2:
        span = scale.top - scale.bottom
        ticks += [scale.bottom + span * f for f in (0.5, 0.25, 0.75)]
    return ticks


def _apart(ticks: Sequence[float], gap: float) -> list[float]:
    """Ticks that can be written without touching; the first ones listed win."""
    kept: list[float] = []
    for tick in ticks:
        if all(abs(tick - other) >= gap for other in kept):
            kept.append(tick)
    return sorted(kept)


def _name_bands(scale: Scale, ax: Axes, gap: float, theme: Theme) -> None:
    """Write each band's name beside the part of the scale from its start to the next one's."""
    starts = [*scale.levels, scale.top]
    names = {band.low: band.name for band in scale.bands}
    for low, high in pairwise(starts):
        if high - low >= gap:
            ax.annotate(
                names[low], (1, (low + high) / 2), xytext=(34, 0), textcoords="offset points", va="center",
                fontsize=SMALL_PT, color=theme.muted, annotation_clip=False,
            )  # fmt: skip
