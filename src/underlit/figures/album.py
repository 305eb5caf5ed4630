"""All figures of a result, one function each, and all of them at once."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from underlit.errors import StudyError
from underlit.figures import (
    budget,
    painted,
    panes,
    plan,
    profile,
    quantities,
    schedule,
    section,
    spectrum,
    zones,
)
from underlit.figures.data import LightMap
from underlit.figures.front import front_figure
from underlit.figures.reading import Reading, join
from underlit.figures.scale import Band, Scale, scale_for
from underlit.figures.screen import WHITES
from underlit.figures.style import FORMATS, Theme, _known, length_unit_m, save, theme_of
from underlit.figures.view import can_be_seen
from underlit.metrics import maps
from underlit.results.result import Result
from underlit.spectra import plant_bands


def soil_figure(
    res: Result | Reading,
    *,
    dims: maps.Dims = None,
    scale: Scale | None = None,
    theme: str | Theme = "light",
    unit: str = "cm",
) -> Figure:
    """PPFD on the soil from above, with contours where plant bands begin.

    Parameters
    ----------
    res : Result
    dims : optional
        Settings of the channels; default those of the scene.
    scale : Scale, optional
        Colour scale to share with another figure.
    theme : str
        `light` or `dark`.
    unit : str
        `cm` or `in`.

    Returns
    -------
    matplotlib.figure.Figure
    """
    read = Reading.of(res, dims)
    light = read.horizontal_map("soil")
    return plan.plan_figure(
        light, read.plan(), scale=scale or light_scale([light.value]), theme=theme, unit=unit,
        title=f"{read.title}: light on the soil",
        subtitle=f"PPFD on a horizontal plane just above the soil; {read.settings()}",
        notes=[join([read.error_note("soil"), _smooth_note(light), read.provenance()])],
    )  # fmt: skip


def _smooth_note(light: LightMap) -> str:
    width_cm = 200 * plan.blur_cells(light) * (light.x_edges_m[1] - light.x_edges_m[0])
    return f"Contours follow the map smoothed over about {width_cm:.2g} cm."


def section_figure(
    res: Result | Reading,
    *,
    dims: maps.Dims = None,
    scale: Scale | None = None,
    theme: str | Theme = "light",
    unit: str = "cm",
) -> Figure:
    """Two upright sections through the highest stone or branch; parameters as in `soil_figure`."""
    read = Reading.of(res, dims)
    sections = read.sections()
    return section.section_figure(
        sections, scale=scale or light_scale([s.value for s in sections]), theme=theme, unit=unit,
        title=f"{read.title}: light in two upright sections",
        subtitle=f"PPFD on horizontal planes; {read.settings()}",
        notes=[join([
            "Straight between the planes that were counted on (ticks at the right edge) and the soil.",
            "Dotted outlines: leaves." if any(s.leaves_m for s in sections) else "",
            read.error_note(read.names("plane")[0]), read.provenance(),
        ])],
    )  # fmt: skip


def panes_figure(
    res: Result | Reading,
    *,
    dims: maps.Dims = None,
    scale: Scale | None = None,
    theme: str | Theme = "light",
    unit: str = "cm",
) -> Figure:
    """PPFD on the inside of the four panes; parameters as in `soil_figure`."""
    read = Reading.of(res, dims)
    found = read.panes()
    return panes.panes_figure(
        found, scale=scale or light_scale([pane.light.value for pane in found.values()]), theme=theme,
        unit=unit,
        title=f"{read.title}: light on the inside of the panes",
        subtitle=f"PPFD on the plane of the pane, arriving from inside; {read.settings()}",
        notes=[join([
            "As seen from the front: the side panes are folded out, the back pane stands above.",
            read.error_note("pane front"), read.provenance(),
        ])],
    )  # fmt: skip


def hardscape_figure(
    res: Result | Reading, *, dims: maps.Dims = None, scale: Scale | None = None, theme: str | Theme = "light",
    azimuth_deg: float = -20.0, elevation_deg: float = 20.0,
) -> Figure:  # fmt: skip
    """Hardscape and soil in perspective, painted with the light on them; parameters as in `soil_figure`.

    `azimuth_deg` and `elevation_deg` say where the viewer stands: to the right of the front, and above. [deg]
    """
    read = Reading.of(res, dims)
    solids = [read.lit_mesh(name) for name in read.names("hardscape")]
    soil = read.lit_mesh("soil")
    scale = scale or light_scale([soil.value, *(solid.value for solid in solids)])
    errors = read.error_note(read.names("hardscape")[0]) if solids else read.error_note("soil")
    return painted.painted_figure(
        solids, soil, read.glass(), scale=scale, theme=theme, azimuth_deg=azimuth_deg,
        elevation_deg=elevation_deg,
        title=f"{read.title}: light on the hardscape" if solids else f"{read.title}: light on the soil",
        subtitle=f"PPFD on the surface normal of hardscape, on the horizontal for soil; {read.settings()}",
        notes=[
            join([errors, "Each patch has the plain colour of its value; none is shaded.", read.provenance()])
        ],
    )  # fmt: skip


def budget_figure(res: Result | Reading, *, dims: maps.Dims = None, theme: str | Theme = "light") -> Figure:
    """Where 100 photons end; parameters as in `soil_figure`."""
    read = Reading.of(res, dims)
    return budget.budget_figure(
        read.shares(), theme=theme, title=f"{read.title}: where 100 photons end",
        subtitle=f"All photons that the lamps send out, 380–780 nm; {read.settings()}",
        notes=[join([f"± is the standard error. Ends below {budget.LEAST:g} are left out.", read.provenance()])],
    )  # fmt: skip


def spectra_figure(res: Result | Reading, *, dims: maps.Dims = None, theme: str | Theme = "light") -> Figure:
    """Spectrum at the lamps and on the soil; parameters as in `soil_figure`."""
    read = Reading.of(res, dims)
    return spectrum.spectrum_figure(
        quantities.spectrum_panels(read), theme=theme,
        title=f"{read.title}: spectrum at the lamps and on the soil",
        subtitle=f"Photons by wavelength; dotted lines bound PAR, 400–700 nm; {read.settings()}",
        notes=[join(["Dashed: the lamps' shape at the same PPFD.", read.provenance()])],
    )  # fmt: skip


def zones_figure(res: Result | Reading, *, dims: maps.Dims = None, theme: str | Theme = "light") -> Figure:
    """Light in each plant zone against what its plants want; parameters as in `soil_figure`."""
    read = Reading.of(res, dims)
    bars, missing = quantities.zone_bars(read)
    if not bars:
        raise StudyError("there is no plant zone to draw.", hint=" ".join(missing) or "Add a `[[plant]]`.")
    return zones.zones_figure(
        bars, theme=theme, title=f"{read.title}: light in the plant zones",
        subtitle=f"PPFD; {read.settings()}",
        notes=[join([*missing, "± and whiskers: standard error of the median.", read.provenance()])],
    )  # fmt: skip


def day_figure(res: Result | Reading, *, dims: maps.Dims = None, theme: str | Theme = "light") -> Figure:
    """The light's day in each plant zone, and the light integral; parameters as in `soil_figure`."""
    read = Reading.of(res, dims)
    reports, missing = quantities.zone_reports(read)
    if not reports:
        raise StudyError("there is no plant zone to draw.", hint=" ".join(missing) or "Add a `[[plant]]`.")
    return schedule.day_figure(
        read.scene.schedule, reports, theme=theme, title=f"{read.title}: the light's day",
        subtitle=f"Median PPFD of the plant zones; {read.settings()}",
        notes=[join([*missing, "The area under a line is the daily light integral at its name.", read.provenance()])],
    )  # fmt: skip


def profile_figure(
    res: Result | Reading, *, dims: maps.Dims = None, theme: str | Theme = "light", unit: str = "cm"
) -> Figure:
    """Light against depth; parameters as in `soil_figure`."""
    read = Reading.of(res, dims)
    return profile.profile_figure(
        quantities.depth_profile(read), theme=theme, unit=unit, title=f"{read.title}: light against depth",
        subtitle=f"PPFD on horizontal planes in open water; {read.settings()}",
        notes=(join(["Brown: soil, paler between its lowest and its highest place.", read.provenance()]),),
    )  # fmt: skip


def light_scale(values: list) -> Scale:
    """A colour scale with the plant bands of the data files."""
    return scale_for(values, [Band(band.name, band.low, band.high) for band in plant_bands().values()])


def save_all(
    res: Result, folder: str | Path, fmt: str = "png", theme: str = "light", unit: str = "cm", *,
    dims: maps.Dims = None, front_white: str = "adapted", front_exposure_cd_m2: float | None = None,
) -> list[Path]:  # fmt: skip
    """Draw and save every figure that a result has data for.

    Parameters
    ----------
    res : Result
    folder : str or Path
        Made if it is not there.
    fmt : str
        `png`, `svg` or `pdf`.
    theme : str
        `light` or `dark`.
    unit : str
        `cm` or `in`.
    dims : optional
        Settings of the channels; default those of the scene.
    front_white, front_exposure_cd_m2
        `white` and `exposure_cd_m2` of `front_figure`.

    Returns
    -------
    list of Path
        Files written.

    Raises
    ------
    DataError
        If format, theme, unit or white is not known.
    """
    _known(fmt, dict.fromkeys(FORMATS), "figure format")
    _known(front_white, dict.fromkeys(WHITES), "white")
    theme_of(theme)
    length_unit_m(unit)
    read = Reading(res, dims)
    front = {"white": front_white, "exposure_cd_m2": front_exposure_cd_m2}
    return [
        save(draw(read), Path(folder) / f"{name}.{fmt}", theme)
        for name, draw in _drawers(read, theme, unit, front).items()
    ]


def _drawers(
    read: Reading, theme: str, unit: str, front: dict[str, Any]
) -> dict[str, Callable[[Reading], Figure]]:
    """File name and drawer of every figure that there is something to show in."""
    ruled: dict[str, Any] = {"theme": theme, "unit": unit}
    drawers: dict[str, Callable[[Reading], Figure]] = {"soil": partial(soil_figure, **ruled)}
    if read.names("plane"):
        drawers["sections"] = partial(section_figure, **ruled)
    if quantities.open_planes(read):
        drawers["depth"] = partial(profile_figure, **ruled)
    if read.names("pane"):
        drawers["panes"] = partial(panes_figure, **ruled)
    if quantities.readable_zones(read):
        drawers |= {"zones": partial(zones_figure, theme=theme), "day": partial(day_figure, theme=theme)}
    if can_be_seen(read):
        drawers["front"] = partial(front_figure, theme=theme, **front)
    plain = {"hardscape": hardscape_figure, "budget": budget_figure, "spectra": spectra_figure}
    return drawers | {name: partial(draw, theme=theme) for name, draw in plain.items()}
