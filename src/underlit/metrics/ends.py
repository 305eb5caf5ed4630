"""Where the light ends, in the few groups that a keeper asks for: soil, plants, room, ..."""

from __future__ import annotations

import numpy as np

from underlit.metrics import maps
from underlit.metrics.estimate import Estimate
from underlit.results.result import Result

ROOM = "into the room"
_GROUPS = (
    (ROOM, ("past ", "reflected above", "back out", "out ", "spill")),
    ("soil", ("absorbed by soil", "absorbed in soil")),
    ("water", ("absorbed in water",)),
    ("glass and films", ("absorbed in glass", "absorbed in films", "absorbed by dirt")),
    ("lid and lamp housings", ("absorbed by lid", "absorbed in lamp")),
    ("floating plants", ("absorbed by floating",)),
    ("left over by the calculation", ("roulette", "cut off", "lost", "capped")),
)
HARDSCAPE, PLANTS = "hardscape", "plants"


def shares(res: Result, dims: maps.Dims = None, weighting: str = "all") -> Estimate:
    """Where 100 emitted photons end, samples of shape (K, N), by the names of the result's budget."""
    settings = maps.dim_settings(res, dims)
    by_channel = settings[:, None] * maps.channel_weights(res, weighting)
    total = np.zeros(res.budget.share.shape[::2])
    for weight, channel in zip(by_channel, res.channels, strict=True):
        total += res.budget.share[:, channel.source] @ weight
    return Estimate(100 * total / max(by_channel.sum(), 1e-300))


def grouped(res: Result, dims: maps.Dims = None, weighting: str = "all") -> dict[str, Estimate]:
    """The same by groups, as they are met on the way; they add up to 100.

    Parameters
    ----------
    res : Result
    dims : optional
    weighting : str

    Returns
    -------
    dict of str to Estimate
        Photons out of 100 emitted.
    """
    found: dict[str, Estimate] = {}
    each = shares(res, dims, weighting)
    for number, name in enumerate(res.budget_names):
        group = group_of(res, name)
        found[group] = found[group] + each[number] if group in found else each[number]
    return found


def spill(res: Result, dims: maps.Dims = None) -> Estimate:
    """Photons out of 100 emitted that leave for the room: past the tank, back up, out of the panes."""
    return grouped(res, dims)[ROOM]


def group_of(res: Result, name: str) -> str:
    """Group that an entry of the light budget belongs to."""
    for group, starts in _GROUPS:
        if name.startswith(starts):
            return group
    plants = {f"absorbed by {plant.name}" for plant in res.scene.plant}
    return PLANTS if name in plants else HARDSCAPE
