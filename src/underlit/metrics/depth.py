"""Light against depth, beside the inverse-square guess that a keeper would make from a reading at the surface."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from underlit.errors import StudyError
from underlit.metrics import maps, spots
from underlit.metrics.estimate import Estimate
from underlit.metrics.footprint import Lattice
from underlit.metrics.zones import LEAST_OPEN_SHARE, soil_height
from underlit.results.result import Result


@dataclass(frozen=True, eq=False)
class Profile:
    """Light at rising depth.

    Parameters
    ----------
    surfaces : list of str
        Where it is read: the water surface, planes, the soil.
    depth_m : ndarray, shape (n,)
        Below the water surface, rising. [m]
    ppfd : Estimate, samples of shape (K, n)
        Horizontal, downward. [umol m-2 s-1]
    guess : Estimate, samples of shape (K, n)
        By the inverse square of the distance to the lamp, from the light at the top. [umol m-2 s-1]
    """

    surfaces: list[str] = field(repr=False)
    depth_m: np.ndarray
    ppfd: Estimate
    guess: Estimate


def at_spot(
    res: Result, x_m: float, y_m: float, dims: maps.Dims = None, radius_m: float = spots.RADIUS_M
) -> Profile:
    """Light straight below a spot of the water surface.

    Parameters
    ----------
    res : Result
    x_m, y_m : float
        From the left and from the front. [m]
    dims : optional
        Settings of the channels.
    radius_m : float
        Of the area averaged over. [m]

    Returns
    -------
    Profile
        From the water surface down to the soil; what lies within a stone is left out.

    Notes
    -----
    The guess takes what each fixture gives at the water surface, and lets it fall with the inverse square of the
    straight distance from the middle of the fixture: no panes, no refraction, no water, no shadow.
    """
    spots.check_inside(res, x_m, y_m)
    ground = float(soil_height(res, np.array([x_m]), np.array([y_m]))[0])
    found = []
    for name in [*_levels(res), "soil"]:
        if name == "soil" or res.surface(name).cell_centre_m[0, 2] > ground:
            try:
                found.append(spots.spot_on(res, name, x_m, y_m, radius_m))
            except StudyError:  # within a stone
                continue
    each = [spot.by_channel(res, dims) for spot in found]
    return _profile(res, [s.surface for s in found], [s.place_m[2] for s in found], each, (x_m, y_m))


def on_average(res: Result, dims: maps.Dims = None) -> Profile:
    """Light averaged over the open water at each depth, and over the open soil; see `at_spot`.

    The guess takes the height of each fixture for its distance.
    """
    settings = maps.dim_settings(res, dims)
    names, heights, each = [*_levels(res), "soil"], [], []
    for name in names:
        weights, height = _open_area(res, name)
        each.append(Estimate(maps.ppfd_by_channel(res, name).samples @ weights * settings))
        heights.append(height)
    return _profile(res, names, heights, each, None)


def _levels(res: Result) -> list[str]:
    """Horizontal surfaces above the soil and not above the water, from the top down."""
    level = res.scene.water.level or res.scene.tank.height
    names = [name for name in res.surfaces if name.startswith("plane ") or name == "water surface"]
    heights = {name: float(res.surface(name).cell_centre_m[0, 2]) for name in names}
    wet = [name for name in names if 0.0 < heights[name] <= level + 1e-9]
    return sorted(wet, key=lambda name: -heights[name])


def _open_area(res: Result, name: str) -> tuple[np.ndarray, float]:
    """Weight of each cell in the mean over the open part of a surface, and the mean height of that part. [m]"""
    surface, lattice = res.surface(name), Lattice.over(res.surface(name))
    is_open = ~lattice.in_hardscape(res)
    if name != "soil":
        is_open &= lattice.z_m > soil_height(res, *np.meshgrid(lattice.x_m, lattice.y_m))
    share = lattice.shares(is_open)
    area = np.where(share >= LEAST_OPEN_SHARE, share, 0.0) * surface.cell_area_m2
    weights = np.divide(area, share, out=np.zeros_like(area), where=area > 0) / area.sum()
    return weights, float(area @ surface.cell_centre_m[:, 2] / area.sum())


def _profile(
    res: Result,
    names: list[str],
    heights_m: list[float],
    by_channel: list[Estimate],
    place_m: tuple[float, float] | None,
) -> Profile:
    """Levels in order of depth, with the guess from the uppermost."""
    order = np.argsort(heights_m)[::-1]
    height, light = np.array(heights_m)[order], np.stack([by_channel[i].samples for i in order], axis=1)
    falls = np.stack([_inverse_square(res, channel.fixture, height, place_m) for channel in res.channels])
    return Profile(
        surfaces=[names[i] for i in order],
        depth_m=np.maximum((res.scene.water.level or res.scene.tank.height) - height, 0.0),
        ppfd=Estimate(light.sum(axis=2)),
        guess=Estimate(light[:, 0] @ falls),
    )


def _inverse_square(
    res: Result, fixture: str, height_m: np.ndarray, place_m: tuple[float, float] | None
) -> np.ndarray:
    """Light of a point at the middle of a fixture at each height, over that at the first; 1 for daylight."""
    lamps = [lamp for lamp in res.scene.fixture if lamp.name == fixture]
    if not lamps:
        return np.ones(len(height_m))
    aside = 0.0 if place_m is None else np.hypot(*np.subtract(lamps[0].position, place_m))
    square = (res.scene.emitter_height(lamps[0]) - height_m) ** 2 + aside**2
    return square[0] / square
