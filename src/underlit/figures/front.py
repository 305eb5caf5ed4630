"""A view from the front: the tank as the eye sees it through the front pane, in colours of a screen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from underlit.errors import StudyError
from underlit.figures.reading import Reading, join
from underlit.figures.screen import WHITES
from underlit.figures.style import PAGE_WIDTH_IN, TEXT_PT, Theme, _known, sheet, theme_of
from underlit.figures.view import PIXELS, Picture, picture
from underlit.metrics import maps
from underlit.results.result import Result

_TALLEST_IN = 5.0
_GAP_IN, _NAME_IN = 0.16, 0.24  # between pictures on one page; room for a name above each
_SOIL_CUT, _WATER_LINE = "#1d1916", "#7fa3ad"
_SEEN_BY = {
    "adapted": "an eye that is used to the lamps, so that their own light looks white",
    "D65": "an eye that is used to daylight (D65), so that warm lamps look warm",
}
_DECORATION = "Grain of soil and hardscape and the clumps of leaves are decoration."
_LEFT_OUT = "The room is dark; the haze of the water and floating plants' undersides are not drawn."


def front_figure(
    res: Result | Reading, dims: maps.Dims = None, *, white: str = "adapted", exposure_cd_m2: float | None = None,
    theme: str | Theme = "light", eye_m: tuple[float, float, float] | None = None,
) -> Figure:  # fmt: skip
    """The tank as it is seen from the front.

    Parameters
    ----------
    res : Result
    dims : optional
        Settings of the channels; default those of the scene.
    white : {"adapted", "D65"}
        What looks white: the light of the lamps, or daylight. Take `D65` to compare warm and cool lamps.
    exposure_cd_m2 : float, optional
        Luminance to be drawn as white; give figures to be compared the same. By default that of a matt surface of
        reflectance 0.3 (more on pale soil) in the median place on the soil. [cd m-2]
    theme : str
        `light` or `dark`.
    eye_m : (float, float, float), optional
        Where the eye is, y below 0; default before the middle. [m]

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    StudyError
        If all lamps are off, or no light gets to the soil.
    DataError
        If `white` or `theme` is not known.
    """
    read = Reading.of(res, dims)
    return _pictures_figure(
        [read], [""], white, exposure_cd_m2, theme_of(theme), f"{read.title}: from the front", eye_m
    )


def front_compare_figure(
    results: Sequence[Result | Reading], names: Sequence[str] = (), *, white: str = "D65",
    exposure_cd_m2: float | None = None, theme: str | Theme = "light",
) -> Figure:  # fmt: skip
    """Several views from the front on one page, in one exposure.

    Parameters
    ----------
    results : sequence of Result or Reading
        `Reading(res, dims)` is a result at a setting of its own.
    names : sequence of str
        What to call them; default their titles.
    white, theme
        As in `front_figure`.
    exposure_cd_m2 : float, optional
        Default the middle (geometric mean) of what each would have. [cd m-2]

    Returns
    -------
    matplotlib.figure.Figure
    """
    reads = [Reading.of(res) for res in results]
    if not reads:
        raise StudyError("there is nothing to compare.", hint="Give at least one result.")
    names = list(names) or [read.title for read in reads]
    return _pictures_figure(reads, names, white, exposure_cd_m2, theme_of(theme), "From the front, compared")


def draw_front(
    seen: Picture, read: Reading, ax: Axes, *, exposure_cd_m2: float, white: str = "adapted", theme: Theme
) -> Axes:
    """A picture on axes of its own, with the soil behind the pane and the edge of the water. [m]"""
    length, _, height = read.size_m
    ax.imshow(
        seen.on_screen(exposure_cd_m2, white),
        extent=(0, length, 0, height),
        interpolation="lanczos",
        zorder=1,
    )
    x, soil = read.soil_along(0, 0.0)
    sliver = height / len(seen.xyz)  # lines of sight that just clear the soil may end in it behind the glass
    ax.fill_between(x, 0.0, soil + 1.5 * sliver, color=_SOIL_CUT, lw=0, zorder=2)
    if read.scene.water.level > 0.0:
        ax.plot([0, length], [read.scene.water.level] * 2, color=_WATER_LINE, lw=0.5, alpha=0.7, zorder=3)
    ax.set(xlim=(0, length), ylim=(0, height), xticks=(), yticks=())
    for spine in ax.spines.values():
        spine.set(color=theme.muted, linewidth=0.8)
    return ax


def _pictures_figure(
    reads: list[Reading], names: list[str], white: str, exposure_cd_m2: float | None, theme: Theme, title: str,
    eye_m: tuple[float, float, float] | None = None,
) -> Figure:  # fmt: skip
    _known(white, dict.fromkeys(WHITES), "white")
    if exposure_cd_m2 is not None and not exposure_cd_m2 > 0.0:
        raise StudyError(f"an exposure must be above 0 cd m-2, got {exposure_cd_m2:g}.")
    seen = [picture(read, eye_m=eye_m, n_pixels=PIXELS // (1 + (len(reads) > 1))) for read in reads]
    exposure = exposure_cd_m2 or float(np.exp(np.mean([np.log(one.usual_exposure_cd_m2) for one in seen])))
    boxes, size = _boxes([read.size_m for read in reads], _NAME_IN if any(names) else 0.0)
    settings = f"; {reads[0].settings()}" if len(reads) == 1 else ""
    with theme.context():
        page = sheet(*size, title, f"Colours for {_SEEN_BY[white]}{settings}", _notes(reads, exposure), theme)
        for one, read, name, box in zip(seen, reads, names, boxes, strict=True):
            ax = page.axes(*box)
            draw_front(one, read, ax, exposure_cd_m2=exposure, white=white, theme=theme)
            ax.set_title(name, fontsize=TEXT_PT, color=theme.ink, loc="left", pad=4, parse_math=False)
    return page.figure


def _boxes(
    sizes_m: Sequence[np.ndarray], name_in: float
) -> tuple[list[tuple[float, float, float, float]], tuple[float, float]]:
    """Places of pictures (left, bottom, width, height) and the size of all, in one scale of length. [in]"""
    long, tall = max(size[0] for size in sizes_m), max(size[2] for size in sizes_m)
    columns = 1 if len(sizes_m) == 1 or long > 2.2 * tall else 2
    rows = -(-len(sizes_m) // columns)
    width = (PAGE_WIDTH_IN - (columns - 1) * _GAP_IN) / columns
    per_m = min(width / long, _TALLEST_IN / tall)
    across, up = per_m * long + _GAP_IN, per_m * tall + name_in + _GAP_IN
    boxes = [
        (i % columns * across, (rows - 1 - i // columns) * up, per_m * size[0], per_m * size[2])
        for i, size in enumerate(sizes_m)
    ]
    full = columns * across - _GAP_IN
    return boxes, (max(full, PAGE_WIDTH_IN if name_in else 4.6), rows * up - _GAP_IN)


def _notes(reads: list[Reading], exposure_cd_m2: float) -> list[str]:
    bare = any(plant.canopy is None for read in reads for plant in read.scene.plant)
    shown = f"White is {float(f'{exposure_cd_m2:.2g}'):g} cd m⁻²; brighter light is pressed together."
    plants = "Plants without a canopy are not drawn." if bare else ""
    return [
        join([shown, _DECORATION, _LEFT_OUT, plants, *dict.fromkeys(read.provenance() for read in reads)])
    ]
