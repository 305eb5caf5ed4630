"""Light against depth: how much is left on the way down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from underlit.figures.scale import PPFD_UNIT, round_up
from underlit.figures.style import LIGHT, SMALL_PT, Theme, length_unit_m, sheet, theme_of

_LEFT_IN, _BOTTOM_IN, _WIDE_IN, _TALL_IN, _WORDS_IN = 0.5, 0.45, 4.0, 3.2, 1.2


@dataclass(frozen=True)
class Profile:
    """Light on horizontal planes, one row for each plane, rising.

    Attributes
    ----------
    z_m : ndarray, shape (n,)
        [m]
    mean, p10, p90, std_err : ndarray, shape (n,)
        Over the open area of each plane; standard error of the mean. [umol m-2 s-1]
    colours : dict of str to ndarray, shape (n,)
        Parts of the mean: blue, green, red.
    soil_m : (float, float)
        Lowest and highest soil. [m]
    water_m, height_m : float
        Water level, rim. [m]
    """

    z_m: np.ndarray
    mean: np.ndarray
    p10: np.ndarray
    p90: np.ndarray
    std_err: np.ndarray
    colours: dict[str, np.ndarray]
    soil_m: tuple[float, float]
    water_m: float
    height_m: float


_COLOURS = {
    "light": {"blue": "#2a5fa8", "green": "#2f8f57", "red": "#b8432f"},
    "dark": {"blue": "#7fa9e0", "green": "#79cc9b", "red": "#ef8d7a"},
}
_DASHES = {"blue": (0, (1, 1.2)), "green": (0, (3, 1.2)), "red": (0, (5, 1, 1, 1))}


def profile_figure(
    profile: Profile, *, title: str = "", subtitle: str = "", notes: tuple[str, ...] = (),
    theme: str | Theme = "light",
    unit: str = "cm",
) -> Figure:  # fmt: skip
    """The depth profile on a page of its own."""
    theme = theme_of(theme)
    with theme.context():
        page = sheet(_LEFT_IN + _WIDE_IN + _WORDS_IN, _BOTTOM_IN + _TALL_IN, title, subtitle, notes, theme)
        draw_profile(profile, page.axes(_LEFT_IN, _BOTTOM_IN, _WIDE_IN, _TALL_IN), theme=theme, unit=unit)
    return page.figure


def draw_profile(profile: Profile, ax: Axes, *, theme: Theme = LIGHT, unit: str = "cm") -> Axes:
    """Mean, middle 80 % of the area, and colours of light over height on the axes given."""
    unit_m = length_unit_m(unit)
    z = profile.z_m / unit_m
    top = profile.height_m / unit_m
    ax.axhspan(0, profile.soil_m[0] / unit_m, color=theme.soil, lw=0)
    ax.axhspan(profile.soil_m[0] / unit_m, profile.soil_m[1] / unit_m, color=theme.soil, alpha=0.45, lw=0)
    ax.axhspan(profile.soil_m[1] / unit_m, profile.water_m / unit_m, color=theme.water, alpha=0.6, lw=0)
    ax.axhline(profile.water_m / unit_m, color="#3c8ea3", lw=1.0)
    ax.fill_betweenx(
        z, profile.p10, profile.p90, color=theme.ink, alpha=0.16, lw=0, label="middle 80 %\nof the area"
    )
    ax.errorbar(
        profile.mean,
        z,
        xerr=profile.std_err,
        color=theme.ink,
        lw=1.6,
        marker="o",
        ms=3,
        elinewidth=0.8,
        capsize=1.5,
        label="mean",
    )
    for name, part in profile.colours.items():
        colour = _COLOURS["dark" if theme.name == "dark" else "light"][name]
        ax.plot(part, z, color=colour, lw=1.3, ls=_DASHES[name], label=f"{name} part")
    right = round_up(1.02 * float(profile.p90.max()))
    ax.set(xlim=(0, right), ylim=(0, top))
    handles, names = ax.get_legend_handles_labels()
    order = [
        names.index(name)
        for name in ("middle 80 %\nof the area", "mean", *(f"{name} part" for name in profile.colours))
    ]
    ax.legend(
        [handles[i] for i in order],
        [names[i] for i in order],
        loc="upper left", bbox_to_anchor=(1.02, 1.0), frameon=False, fontsize=SMALL_PT, labelcolor=theme.muted,
        borderaxespad=0, borderpad=0, handlelength=2.4,
    )  # fmt: skip
    ax.set_xlabel(f"PPFD ({PPFD_UNIT})", labelpad=2)
    ax.set_ylabel(f"height above the bottom ({unit})", labelpad=3)
    ax.spines[["top", "right"]].set_visible(False)
    return ax
