"""What a real trace says of lamps hung at some places: their settings found on the trace, and what binds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.metrics import ends, maps
from underlit.metrics.balance import MET, Balance, balance
from underlit.metrics.colour_window import ColourWindow
from underlit.metrics.estimate import Estimate
from underlit.metrics.zones import Zone, find_zones
from underlit.results.result import Result
from underlit.scene.edit import change
from underlit.scene.model import Scene
from underlit.studies.search import Candidate

AGREE = 3.0  # standard errors that two traces may differ by
AGREE_REL = 0.01  # or so much: noise of single cells moves quantiles a little, which their errors do not show


@dataclass(frozen=True)
class Goal:
    """What is to be least, and how the channels may be set.

    Parameters
    ----------
    word : str
        One of `place.GOALS`.
    free : bool
        Whether each channel is set by itself; otherwise every lamp keeps the mix of the scene.
    window : ColourWindow, optional
        For the light of all lamps together; frees the channels.
    zones : tuple of str
        Names of those that count; all, if empty.
    """

    word: str = "watts"
    free: bool = False
    window: ColourWindow | None = None
    zones: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Finalist:
    """A candidate after a real trace.

    Parameters
    ----------
    candidate : Candidate
    scene : Scene
        With these lamps, at the settings found on the trace.
    balance : Balance
        Settings by linear programming on the trace, and what binds.
    spill_umol_s : Estimate
        Light into the room at these settings. [umol s-1]
    traced : ndarray, shape (Z, 2)
        Median and P90 of the zones at the settings of the candidate. [umol m-2 s-1]
    """

    candidate: Candidate
    scene: Scene
    balance: Balance
    spill_umol_s: Estimate
    traced: np.ndarray

    @property
    def stand_in_error(self) -> np.ndarray:
        """Median of each zone by the stand-in over that by the trace, at equal settings, less one, (Z,)."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.nan_to_num(self.candidate.medians / self.traced[:, 0] - 1, posinf=0.0)

    @property
    def short(self) -> float:
        """Missing share of the target in the worst zone."""
        return max((zone.short for zone in self.balance.zones), default=0.0)

    def rank(self, goal: str) -> tuple[float, float, float]:
        """Smaller is better: what is missing, then what is to be least, then watts."""
        watts = float(self.balance.power_w.value)
        cost = {"watts": watts, "price": self.candidate.price, "spill": float(self.spill_umol_s.value)}[goal]
        return 0.0 if self.short < MET else self.short, cost, watts


def judge(candidate: Candidate, scene: Scene, result: Result, goal: Goal) -> Finalist:
    """Find the settings of hung lamps on their trace.

    Parameters
    ----------
    candidate : Candidate
    scene : Scene
        With its lamps in place.
    result : Result
        Of that scene.
    goal : Goal

    Returns
    -------
    Finalist
    """
    spill, zones = spill_by_channel(result), find_zones(result, goal.zones)
    found = balance(
        result, zones=zones, free=goal.free, window=goal.window, window_at="lamp",
        cost=spill.value if goal.word == "spill" else None,
    )  # fmt: skip
    dims = found.settings.value
    values = {
        f'fixture."{channel.fixture}".channel."{channel.name}".dim': round(float(dim), 4)
        for channel, dim in zip(result.channels, dims, strict=True)
        if channel.fixture != maps.WINDOW
    }
    traced = np.array([[each.value for each in _levels(result, zone, None)] for zone in zones])
    return Finalist(candidate, change(scene, values), found, spill.dot(dims), traced)


def spill_by_channel(res: Result) -> Estimate:
    """Light that each channel at full sends into the room, samples (K, M). [umol s-1]"""
    weights = maps.channel_weights(res, "all")
    into = [ends.group_of(res, name) == ends.ROOM for name in res.budget_names]
    room = res.budget.share[:, :, into].sum(axis=2)
    sources = [channel.source for channel in res.channels]
    return Estimate(np.einsum("mb,kmb->km", weights, room[:, sources]))


@dataclass(frozen=True, eq=False)
class Check:
    """The light of a zone in the trace that settled its lamps' settings, and in a fresh one.

    Parameters
    ----------
    zone : Zone
    median, p90, fresh_median, fresh_p90 : Estimate
        [umol m-2 s-1]
    """

    zone: Zone
    median: Estimate
    p90: Estimate
    fresh_median: Estimate
    fresh_p90: Estimate

    @property
    def agrees(self) -> bool:
        """Whether both traces say the same within their errors."""
        pairs = ((self.median, self.fresh_median), (self.p90, self.fresh_p90))
        return all(
            abs(one.value - other.value)
            <= max(AGREE * np.hypot(one.std_err, other.std_err), AGREE_REL * one.value)
            for one, other in pairs
        )


def check(finalist: Finalist, settled: Result, fresh: Result) -> list[Check]:
    """Hold a finalist against a trace of its scene with other random numbers, zone by zone.

    Parameters
    ----------
    finalist : Finalist
    settled : Result
        The trace that its settings were found on.
    fresh : Result
        Of the finalist's scene.
    """
    dims = maps.dim_settings(fresh)
    return [
        Check(each.zone, *_levels(settled, each.zone, dims), *_levels(fresh, each.zone, dims))
        for each in finalist.balance.zones
    ]


def _levels(res: Result, zone: Zone, dims: maps.Dims) -> tuple[Estimate, Estimate]:
    found = zone.light(maps.ppfd(res, zone.surface, dims)).quantiles(0.5, 0.9)
    return found[0], found[1]
