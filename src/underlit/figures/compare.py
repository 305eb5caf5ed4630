"""Two results side by side: difference of their maps with its certainty, and what hardscape takes away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from matplotlib.figure import Figure

from underlit.errors import StudyError
from underlit.figures import plan
from underlit.figures.data import LightMap
from underlit.figures.reading import Reading, join
from underlit.figures.scale import Band, Scale, difference_scale
from underlit.figures.sidebyside import NamedMap, maps_figure
from underlit.figures.style import Theme
from underlit.metrics import maps
from underlit.results.result import Result

SURE = 2.0  # standard errors that a difference must have to count as one
_SHADE_LINES = (25.0, 50.0, 75.0)


def shared_scale(results: Sequence[Result], surface: str = "soil", dims: maps.Dims = None) -> Scale:
    """A colour scale for maps of several results that are to be compared.

    Parameters
    ----------
    results : sequence of Result
    surface : str
        Surface that is to be drawn.
    dims : optional
        Settings of the channels.
    """
    from underlit.figures.album import light_scale

    return light_scale([Reading(res, dims).ppfd(surface).value for res in results])


def compare_figure(
    results: Sequence[Result], names: Sequence[str] = (), *, dims: maps.Dims = None, theme: str | Theme = "light",
    unit: str = "cm",
) -> Figure:  # fmt: skip
    """Soil maps of several results on one page, in one scale.

    Parameters
    ----------
    results : sequence of Result
    names : sequence of str
        What to call them; default their titles.
    dims, theme, unit
        As in `difference_figure`.

    Returns
    -------
    matplotlib.figure.Figure
    """
    from underlit.figures.album import light_scale

    reads = [Reading.of(res, dims) for res in results]
    found = [
        NamedMap(name, read.horizontal_map("soil"), read.plan())
        for name, read in zip(names or [read.title for read in reads], reads, strict=True)
    ]
    return maps_figure(
        found, scale=light_scale([one.light.value for one in found]), theme=theme, unit=unit,
        title="Light on the soil compared",
        subtitle="PPFD on a horizontal plane just above the soil; one scale for all",
        notes=[
            f"{one.name}: {read.error_note('soil')} {read.provenance()}"
            for one, read in zip(found, reads, strict=True)
        ],
    )  # fmt: skip


def difference_figure(
    before: Result, after: Result, *, dims: maps.Dims = None, theme: str | Theme = "light", unit: str = "cm"
) -> Figure:
    """PPFD on the soil of one result less that of another; where noise may have made it, dots and no colour.

    Parameters
    ----------
    before, after : Result
        Of tanks of one size, with the same soil cells. Outlines and zones are those of `after`.
    dims : optional
        Settings of the channels, for both.
    theme : str
        `light` or `dark`.
    unit : str
        `cm` or `in`.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    StudyError
        If their soil cells differ.
    """
    one, other = Reading(before, dims), Reading(after, dims)
    change = difference(one, other)
    assert change.std_err is not None
    with np.errstate(invalid="ignore"):
        doubtful = np.abs(change.value) < SURE * change.std_err
    shown = replace(change, value=np.where(doubtful, 0.0, change.value))
    return plan.plan_figure(
        shown, other.plan(), scale=difference_scale([change.value]), theme=theme, unit=unit,
        doubtful=doubtful,
        title=f"From “{one.title}” to “{other.title}”" if other.title != one.title else f"{other.title}: what changed",
        subtitle="Difference of the PPFD on the soil: amber where there is more light than before, blue where less",
        notes=[join([
            f"Dotted, without colour: less than {SURE:g} standard errors, so noise may have made it.",
            f"Before: {one.provenance()}", f"After: {other.provenance()}",
        ])],
    )  # fmt: skip


def difference(one: Reading, other: Reading) -> LightMap:
    """PPFD on the soil of `other` less that of `one`, with standard errors. [umol m-2 s-1]

    Replicate is taken from replicate: what runs of one seed share in luck drops out of the error.
    """
    a, b = _pair(one, other)
    return LightMap(a.x_edges_m, a.y_edges_m, b.value - a.value, _error_of_difference(one, other, a, b))


def _error_of_difference(one: Reading, other: Reading, a: LightMap, b: LightMap) -> np.ndarray:
    """Standard error of the difference of two soil maps, (ny, nx)."""
    if one.res.replicates != other.res.replicates:  # then there are no pairs
        assert a.std_err is not None and b.std_err is not None
        return np.hypot(a.std_err, b.std_err)
    with np.errstate(divide="ignore", invalid="ignore"):
        maps_open = [read.ppfd("soil") / read.open_share(read.res.surface("soil")) for read in (one, other)]
        change = (maps_open[1] - maps_open[0]).std_err.reshape(a.value.shape)
    return np.where(np.isfinite(b.value - a.value), change, np.nan)


def shade_figure(
    bare: Result, planted: Result, *, dims: maps.Dims = None, theme: str | Theme = "light", unit: str = "cm"
) -> Figure:
    """What is left of the light on the soil once the hardscape is in.

    Parameters
    ----------
    bare, planted : Result
        The tank without and with its hardscape; the same soil cells.
    dims, theme, unit
        As in `difference_figure`.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    StudyError
        If their soil cells differ.
    """
    without, within = Reading(bare, dims), Reading(planted, dims)
    left = shade(without, within)
    lines = tuple(Band("", level, 100.0) for level in _SHADE_LINES)
    over = bool(np.nanmax(left.value) > 100.0)
    return plan.plan_figure(
        left, within.plan(), scale=Scale(100.0, lines, unit="% of the light", clipped=over), theme=theme,
        unit=unit,
        title=f"{within.title}: shade of the hardscape", lines="25, 50 and 75 %",
        subtitle="PPFD on the soil, in per cent of the light without hardscape",
        notes=[join([
            _shade_error(left), f"With hardscape: {within.provenance()}", f"Without: {without.provenance()}"
        ])],
    )  # fmt: skip


def shade(bare: Reading, planted: Reading) -> LightMap:
    """Light with hardscape over light without, in per cent, with standard errors."""
    a, b = _pair(bare, planted)
    assert a.std_err is not None and b.std_err is not None
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.where(a.value > 0, 100.0 * b.value / a.value, np.nan)
        error = np.hypot(100.0 * b.std_err / a.value, left * a.std_err / a.value)
    return LightMap(a.x_edges_m, a.y_edges_m, left, error)


def _shade_error(left: LightMap) -> str:
    assert left.std_err is not None
    error = float(np.nanmedian(left.std_err))
    return f"Standard error of the median cell: {error:.2g} %."


def _pair(one: Reading, other: Reading) -> tuple[LightMap, LightMap]:
    """Soil maps of two results, if cell lies on cell."""
    a, b = one.horizontal_map("soil"), other.horizontal_map("soil")
    same = (
        a.value.shape == b.value.shape
        and np.allclose(a.x_edges_m, b.x_edges_m)
        and np.allclose(a.y_edges_m, b.y_edges_m)
    )
    if not same:
        raise StudyError(
            "the two results have different soil cells, so their maps cannot be compared.",
            hint="Trace both with tanks of one size and the same `cell` in `[run]`.",
        )
    return a, b
