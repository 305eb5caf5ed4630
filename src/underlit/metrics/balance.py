"""The best settings for all plant zones at once: on target, under ceilings, in a colour window, within watts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from underlit.constants import UMOL_PER_J_NM
from underlit.errors import StudyError
from underlit.metrics import maps
from underlit.metrics.colour_window import ColourWindow
from underlit.metrics.estimate import Estimate
from underlit.metrics.program import Program, Zoned, binding, relaxations, solve
from underlit.metrics.spread import Area
from underlit.metrics.zones import Zone, find_zones
from underlit.results.result import Result
from underlit.spectra import GRID_NM
from underlit.spectra.observer import tristimulus

MET = 0.005  # share of a target that may be missing for it to count as met


@dataclass(frozen=True, eq=False)
class Balanced:
    """What one zone gets at the settings found.

    Parameters
    ----------
    zone : Zone
    median, p90 : Estimate
        [umol m-2 s-1]
    short : float
        Share of its target that is missing; 0 where it is met.
    """

    zone: Zone
    median: Estimate
    p90: Estimate
    short: float


@dataclass(frozen=True, eq=False)
class Balance:
    """The best settings, and what they lead to.

    Parameters
    ----------
    settings : Estimate, samples of shape (K, M)
        Of each channel, 0-1; their errors are those of the light that they rest on.
    zones : list of Balanced
    possible : bool
        Whether every zone gets its target.
    binds : list of str
        Where it is possible: the targets and limits that decide. Where not: the limits that stand in the way.
    would_do : dict of str to float
        Limit by name, and what it would have to be, in parts of the present one, for every target to be met while all
        else is kept. Only limits that would do alone; 0 stands for a colour window to be dropped.
    power_w : Estimate
        From the wall. [W]
    """

    settings: Estimate
    zones: list[Balanced]
    possible: bool
    binds: list[str]
    would_do: dict[str, float]
    power_w: Estimate


def balance(
    res: Result,
    *,
    zones: Sequence[Zone] | None = None,
    free: bool = False,
    window: ColourWindow | None = None,
    window_at: str = "soil",
    watts: float | Mapping[str, float] | None = None,
    most: maps.Dims = 1.0,
    cost: np.ndarray | None = None,
) -> Balance:
    """Best settings for all zones at once, by linear programming.

    Parameters
    ----------
    res : Result
    zones : sequence of Zone, optional
        Default all of the scene.
    free : bool
        Whether every channel may be set by itself. Otherwise each fixture keeps the mix of the scene and is dimmed as
        a whole; a colour window frees the channels, too.
    window : ColourWindow, optional
        Colour temperature that the light must have.
    window_at : str
        Where it must: `lamp`, or a surface such as `soil`.
    watts : float or mapping of str to float, optional
        Most that all lamps may draw together, or each of the fixtures named. [W]
    most : optional
        Highest setting of the channels, as `maps.dim_settings` takes them.
    cost : ndarray, shape (M,), optional
        What is to be least, of each channel at full; default the watts.

    Returns
    -------
    Balance
        Of all settings that leave the worst-off zone with the least missing, those that take the fewest watts, or
        cost the least.
    """
    wanted = list(find_zones(res) if zones is None else zones)
    if not wanted:
        raise StudyError(
            "the scene has no plant zone to set the light for.",
            hint="Add a `[[plant]]` with its band or target.",
        )
    basis = _basis(res, free or window is not None)
    light = [Estimate(_by_factor(res, zone, basis)) for zone in wanted]
    xyz = None if window is None else Estimate(basis.T @ _xyz(res, window_at))
    program = Program(
        zones=[_zoned(zone, each) for zone, each in zip(wanted, light, strict=True)],
        basis=basis,
        least=_daylight(res, basis),
        names=[channel.label for channel in res.channels],
        power_w=np.array([channel.power_w for channel in res.channels]),
        most=maps.dim_settings(res, most),
        watts=_watt_limits(res, watts),
        window=window,
        xyz=None if xyz is None else xyz.value,
        cost=cost,
    )
    best = solve(program)

    def settings(*parts: np.ndarray) -> np.ndarray:
        shifted = program.with_light(
            list(parts[: len(light)]), parts[len(light)] if xyz is not None else None
        )
        # The errors are small, so the search begins close by; settings are shown to 0.001 at best.
        return np.round(basis @ solve(shifted, best.factors, reach=0.1).factors, 6)

    found = Estimate.of(settings, *light, *([] if xyz is None else [xyz]))
    possible = bool(best.short.max() < MET and best.excess < MET)
    binds = binding(program, best)
    return Balance(
        settings=found,
        zones=[_balanced(z, e, best.factors, s) for z, e, s in zip(wanted, light, best.short, strict=True)],
        possible=possible,
        binds=binds,
        would_do={} if possible else relaxations(program, best, binds),
        power_w=found.dot(program.power_w),
    )


def _basis(res: Result, free: bool) -> np.ndarray:
    """Settings of the channels per free factor, (M, V): each channel, or each fixture with its mix."""
    if free:
        return np.eye(len(res.channels))
    present = maps.dim_settings(res)
    fixtures = list(dict.fromkeys(channel.fixture for channel in res.channels))
    columns = []
    for name in fixtures:
        mine = np.array([channel.fixture == name for channel in res.channels])
        mix = np.where(mine, present, 0.0)
        columns.append(mix / mix.max() if mix.any() else mine.astype(float))
    return np.column_stack(columns)


def _daylight(res: Result, basis: np.ndarray) -> np.ndarray:
    """Least value of each factor: 1 for light from a window, which no dimmer reaches, else 0."""
    is_window = np.array([channel.fixture == maps.WINDOW for channel in res.channels], float)
    return is_window @ basis


def _by_factor(res: Result, zone: Zone, basis: np.ndarray) -> np.ndarray:
    """Light of each factor in the cells of a zone, (K, V, C)."""
    each = zone.light(maps.ppfd_by_channel(res, zone.surface)).cells
    return np.einsum("mv,kmc->kvc", basis, each.samples, optimize=True)


def _zoned(zone: Zone, light: Estimate) -> Zoned:
    kept = Area(Estimate(light.samples.sum(axis=1)), zone.area_m2).kept
    plant = zone.plant
    return Zoned(plant.name, light.value, zone.share, kept, plant.target, plant.ceiling)


def _balanced(zone: Zone, light: Estimate, factors: np.ndarray, short: float) -> Balanced:
    area = Area(Estimate(np.einsum("v,kvc->kc", factors, light.samples)), zone.area_m2)
    levels = area.quantiles(0.5, 0.9)
    return Balanced(zone, levels[0], levels[1], float(short))


def _xyz(res: Result, where: str) -> np.ndarray:
    """X, Y, Z of each channel at full setting, (K, M, 3)."""
    if where == "lamp":
        light = np.array([channel.spectrum for channel in res.channels])[None]
        light = np.repeat(light, res.replicates, axis=0)
    else:
        full = np.eye(len(res.channels))
        light = np.stack([maps.spectrum(res, where, one).samples for one in full], axis=1)
    return tristimulus(light / (UMOL_PER_J_NM * GRID_NM))


def _watt_limits(
    res: Result, watts: float | Mapping[str, float] | None
) -> dict[str, tuple[np.ndarray, float]]:
    if watts is None:
        return {}
    if not isinstance(watts, Mapping):
        return {f"limit of {watts:g} W": (np.ones(len(res.channels)), _positive(watts))}
    found = {}
    for name, limit in watts.items():
        mine = np.zeros(len(res.channels))
        mine[maps.channels_called(res, name)] = 1.0
        found[f"limit of {limit:g} W for {name}"] = (mine, _positive(limit))
    return found


def _positive(watts: float) -> float:
    if not (np.isfinite(watts) and watts > 0):
        raise StudyError(f"got a limit of {watts:g} W, expected more than 0.")
    return float(watts)
