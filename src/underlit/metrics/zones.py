"""Plant zones: what light each gets, whether that suits it, and what to dim to."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np

from underlit.errors import StudyError
from underlit.metrics import dimming, maps, photons
from underlit.metrics.day import hours_of
from underlit.metrics.estimate import Estimate
from underlit.metrics.footprint import Lattice
from underlit.metrics.spread import Area
from underlit.results.result import Result
from underlit.scene.model import Scene
from underlit.scene.plants import Plant
from underlit.spectra import plant_bands

LEAST_OPEN_SHARE = 0.2  # of a cell; below it, what little is open is too noisy to count
VERDICTS = ("too dark", "low", "right", "bright", "too bright")


@dataclass(frozen=True, eq=False)
class Zone:
    """Cells of one surface that a plant zone covers.

    Parameters
    ----------
    plant : Plant
        The zone, as the scene has it.
    surface, plane : str
        Surface that it is read on, and the plane that its light is counted on.
    cells : ndarray of int, shape (n,)
        Cells with open ground.
    open_share : ndarray, shape (n,)
        Share of each cell that no stone stands on; its light is all there.
    area_m2 : ndarray, shape (n,)
        Open area of the zone in each cell. [m2]
    height_m : float
        Mean height of the cells above the inside bottom. [m]
    """

    plant: Plant
    surface: str
    plane: str
    cells: np.ndarray = field(repr=False)
    open_share: np.ndarray = field(repr=False)
    area_m2: np.ndarray = field(repr=False)
    height_m: float

    @property
    def share(self) -> np.ndarray:
        """Share of the zone's area in each cell."""
        return self.area_m2 / self.area_m2.sum()

    def light(self, density: Estimate) -> Area:
        """Light on the open ground of the zone, from a map of its surface, samples (..., C)."""
        return Area(Estimate(density.samples[..., self.cells] / self.open_share), self.area_m2)


@dataclass(frozen=True, eq=False)
class ZoneReport:
    """What a plant zone gets.

    Parameters
    ----------
    zone : Zone
    p10, median, p90, mean : Estimate
        PPFD that a tenth, half and nine tenths of the area stay below; mean. [umol m-2 s-1]
    in_band, above_ceiling : Estimate
        Share of the area within the wanted band, and above the ceiling.
    dli : Estimate
        Of the median, over the light's day. [mol m-2 d-1]
    verdict : str
        One of `VERDICTS`.
    sure : bool
        Whether the median lies two standard errors or more from the nearest edge of the band.
    dim_to : Estimate
        Setting of all channels, relative to the present one, that puts the median on target with nine tenths
        of the area under the ceiling. [%]
    binds : str
        What limits `dim_to`: `target`, `ceiling`, or `full power` where the lamps cannot give so much.
    dim_to_by_fixture : dict of str to Estimate
        The same for one fixture alone, the others as they are. [%]
    few : tuple of str
        Those of `P10`, `median`, `P90` that are read where cells have too few photons, see `Area.few`: their errors
        allow for it.
    cautions : list of str
    """

    zone: Zone
    p10: Estimate
    median: Estimate
    p90: Estimate
    mean: Estimate
    in_band: Estimate
    above_ceiling: Estimate
    dli: Estimate
    verdict: str
    sure: bool
    dim_to: Estimate
    binds: str
    dim_to_by_fixture: dict[str, Estimate]
    few: tuple[str, ...]
    cautions: list[str]

    @property
    def margin(self) -> Estimate:
        """How far the median lies within the band, from its nearer edge; negative outside. [umol m-2 s-1]"""
        low, high = self.zone.plant.band
        return Estimate.of(lambda median: np.minimum(median - low, high - median), self.median)


def find_zones(res: Result, names: Collection[str] = ()) -> list[Zone]:
    """The plant zones of a result, on the cells they are read from.

    Parameters
    ----------
    res : Result
    names : collection of str
        Only these; default all.

    Raises
    ------
    StudyError
        If a zone has no open ground, nothing was counted where it is read, or there is none of a name.
    """
    known = [plant.name for plant in res.scene.plant]
    for name in names:
        if name not in known:
            raise StudyError(
                f"there is no plant zone `{name}`.", hint=f"Zones: {', '.join(known) or 'none'}."
            )
    return [find_zone(res, plant) for plant in res.scene.plant if not names or plant.name in names]


def find_zone(res: Result, plant: Plant) -> Zone:
    """One plant zone, on the cells it is read from; see `find_zones`."""
    zone = _on_hardscape(res, plant) if plant.on is not None else _on_ground(res, plant)
    if not len(zone.cells):
        raise StudyError(
            f"the plant zone `{plant.name}` has no open cell on `{zone.surface}`.",
            hint="It lies under stones, outside the tank, or within soil: look at it with `underlit check`.",
        )
    return zone


def report(res: Result, zone: Zone, dims: maps.Dims = None) -> ZoneReport:
    """What a zone gets at given settings.

    Parameters
    ----------
    res : Result
    zone : Zone
    dims : optional
        Settings of the channels, as `maps.dim_settings` takes them.

    Returns
    -------
    ZoneReport
    """
    settings = maps.dim_settings(res, dims)
    by_channel = maps.ppfd_by_channel(res, zone.surface)
    light = zone.light(maps.mix(by_channel, settings))
    p10, median, p90 = (light.quantiles(0.1, 0.5, 0.9)[i] for i in range(3))
    low, high = zone.plant.band
    few = few_at(light)
    verdict = judge(float(p10.value), float(median.value), float(p90.value), low, high)
    dim_to, binds = dimming.dim_to(light, zone.plant.target, zone.plant.ceiling)
    if settings.max() == 0 or dim_to.value * settings.max() > 100:
        binds = "full power"
    return ZoneReport(
        zone=zone,
        p10=p10,
        median=median,
        p90=p90,
        mean=light.mean(),
        in_band=light.between(low, high),
        above_ceiling=light.between(np.nextafter(zone.plant.ceiling, np.inf), np.inf),
        dli=median * full_hours(res.scene) * photons.MOL_PER_UMOL_HOUR,
        verdict=verdict,
        sure=bool(min(abs(median.value - low), abs(median.value - high)) >= 2 * median.std_err),
        dim_to=dim_to,
        binds=binds,
        dim_to_by_fixture=_dim_to_by_fixture(res, zone, by_channel, settings),
        few=few,
        cautions=[*_cautions(zone, float(p90.value)), *_too_few(zone, few)],
    )


def median(res: Result, zone: Zone, dims: maps.Dims = None) -> Estimate:
    """Median PPFD of a zone at given settings. [umol m-2 s-1]"""
    return zone.light(maps.ppfd(res, zone.surface, dims)).quantiles(0.5)[0]


@dataclass(frozen=True, eq=False)
class Together:
    """One setting of all lamps for several zones.

    Parameters
    ----------
    percent : Estimate
        Of the present setting; infinite in the dark. [%]
    zone : Zone
        The one that decides.
    binds : str
        What of it, as `ceiling of moss`.
    """

    percent: Estimate
    zone: Zone
    binds: str


def dim_all_to(res: Result, zones: list[Zone], dims: maps.Dims = None) -> Together:
    """What to dim all lamps to for several zones: as bright as the neediest asks, but over no ceiling."""
    plants = [zone.plant for zone in zones]
    percent, which, kind = dimming.dim_all_to(
        [zone.light(maps.ppfd(res, zone.surface, dims)) for zone in zones],
        [plant.target for plant in plants],
        [plant.ceiling for plant in plants],
    )
    return Together(percent, zones[which], f"{kind} of {plants[which].name}")


def judge(p10: float, median: float, p90: float, low: float, high: float) -> str:
    """Verdict on a zone with a wanted band.

    Parameters
    ----------
    p10, median, p90 : float
        PPFD that a tenth, half and nine tenths of its area stay below. [umol m-2 s-1]
    low, high : float
        The band. [umol m-2 s-1]

    Returns
    -------
    str
        `low` or `bright` if the median lies outside the band; `too dark` or `too bright` if nine tenths of
        the area do; `right` otherwise.

    Examples
    --------
    >>> judge(40, 55, 70, 50, 90), judge(20, 35, 60, 50, 90), judge(95, 120, 150, 50, 90)
    ('right', 'low', 'too bright')
    """
    if median < low:
        return "too dark" if p90 < low else "low"
    if median > high:
        return "too bright" if p10 > high else "bright"
    return "right"


def full_hours(scene: Scene) -> float:
    """Hours at full light that give the same photons as the scene's day with its ramps or its course. [h]"""
    return hours_of(scene.schedule)


def _on_ground(res: Result, plant: Plant) -> Zone:
    """A zone with an outline, on the soil or on the plane nearest to its reading height."""
    name, height = "soil", np.nan
    soil = res.surface("soil")
    lattice = Lattice.over(soil)
    shares = lattice.shares(lattice.in_outline(_outline(plant)))
    if shares.any():
        height = float(np.average(soil.cell_centre_m[:, 2], weights=shares))
    if plant.read_height > 0 and shares.any():
        name = _nearest_plane(res, height + plant.read_height, plant.name)
        lattice = Lattice.over(res.surface(name))
        height = float(lattice.z_m.mean())
    x, y = np.meshgrid(lattice.x_m, lattice.y_m)
    is_open = ~lattice.in_hardscape(res)
    if name != "soil":
        is_open &= lattice.z_m > soil_height(res, x, y)
    open_share = lattice.shares(is_open)
    in_zone = lattice.shares(is_open & lattice.in_outline(_outline(plant)))
    cells = np.flatnonzero((in_zone > 0) & (open_share >= LEAST_OPEN_SHARE))
    surface = res.surface(name)
    area = in_zone[cells] * surface.cell_area_m2[cells]
    return Zone(plant, name, surface.plane, cells, open_share[cells], area, height)


def _on_hardscape(res: Result, plant: Plant) -> Zone:
    """A zone on a stone or a branch: its patches above the soil, within the given heights."""
    name = f"hardscape {plant.on}"
    surface = res.surface(name)
    x, y, z = surface.cell_centre_m.T
    low = -np.inf if plant.above is None else plant.above
    high = np.inf if plant.below is None else plant.below
    cells = np.flatnonzero((z > soil_height(res, x, y)) & (z >= low) & (z <= high))
    area = surface.cell_area_m2[cells]
    height = float(np.average(z[cells], weights=area)) if len(cells) else np.nan
    return Zone(plant, name, surface.plane, cells, np.ones(len(cells)), area, height)


def soil_height(res: Result, x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
    """Height of the soil under points, to the cell. [m]"""
    soil = res.surface("soil")
    assert soil.shape is not None and soil.x_edges_m is not None and soil.y_edges_m is not None
    i = np.clip(np.searchsorted(soil.x_edges_m, x_m) - 1, 0, soil.shape[1] - 1)
    j = np.clip(np.searchsorted(soil.y_edges_m, y_m) - 1, 0, soil.shape[0] - 1)
    return soil.cell_centre_m[:, 2].reshape(soil.shape)[j, i]


def _outline(plant: Plant) -> np.ndarray:
    if plant.from_ is not None and plant.to is not None:
        (x0, y0), (x1, y1) = plant.from_, plant.to
        return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    return np.array(plant.outline)


def _nearest_plane(res: Result, height_m: float, plant: str) -> str:
    planes = [name for name in res.surfaces if name.startswith("plane ")]
    if not planes:
        raise StudyError(
            f"the plant zone `{plant}` is read {100 * height_m:.0f} cm high, but no plane was traced.",
            hint='Write `planes = "auto"` into `[run]` and trace again.',
        )
    return min(planes, key=lambda name: abs(res.surface(name).cell_centre_m[0, 2] - height_m))


def _dim_to_by_fixture(
    res: Result, zone: Zone, by_channel: Estimate, settings: np.ndarray
) -> dict[str, Estimate]:
    found = {}
    for name in dict.fromkeys(channel.fixture for channel in res.channels):
        mine = np.array([channel.fixture == name for channel in res.channels])
        own = zone.light(maps.mix(by_channel, settings * mine))
        rest = zone.light(maps.mix(by_channel, settings * ~mine))
        found[name] = dimming.dim_one_to(rest, own, zone.plant.target, zone.plant.ceiling)
    return found


def few_at(light: Area) -> tuple[str, ...]:
    """Those of `P10`, `median`, `P90` for which the cells have too few photons."""
    few = light.few(0.1, 0.5, 0.9)
    return tuple(name for name, is_few in zip(("P10", "median", "P90"), few, strict=True) if is_few)


def _too_few(zone: Zone, few: tuple[str, ...]) -> list[str]:
    if not few:
        return []
    cells = "cells" if zone.plant.on is None else "patches"
    larger = "larger cells in `[run]`" if zone.plant.on is None else f"a larger `patch` of `{zone.plant.on}`"
    return [
        f"{zone.plant.name}: its {cells} have too few photons for {', '.join(few)}; the errors allow for that. "
        f"More photons or {larger} make it sharper."
    ]


def _cautions(zone: Zone, p90: float) -> list[str]:
    plant = zone.plant
    ceiling = ceiling_without_co2(plant)
    found = []
    if p90 > ceiling:
        found.append(
            f"{plant.name}: a tenth of the area gets more than {ceiling:.0f} µmol m⁻² s⁻¹. Tanks that bright "
            "are usually kept with added CO₂; without it, algae gain."
        )
    if not plant.band[0] <= plant.target <= plant.band[1]:
        low, high = plant.band
        found.append(
            f"{plant.name}: its target of {plant.target:g} lies outside its band of {low:g} to {high:g}; "
            "the verdict goes by the band, the dimming by the target."
        )
    return found


def ceiling_without_co2(plant: Plant) -> float:
    """PPFD above which plants of this demand are usually kept with added CO2. [umol m-2 s-1]

    That of the named band, or of the band whose middle is nearest; where a band has none because CO2 is expected
    with it, the highest that any band has.
    """
    bands = plant_bands()
    middle = sum(plant.band) / 2
    nearest = min(bands.values(), key=lambda band: abs((band.low + band.high) / 2 - middle))
    band = bands.get(plant.demand or "", nearest)
    named = [each.ceiling_without_co2 for each in bands.values() if each.ceiling_without_co2 is not None]
    return max(named) if band.ceiling_without_co2 is None else band.ceiling_without_co2
