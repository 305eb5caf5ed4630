"""Light at one spot of the tank: its spectrum, what each lamp gives there, and how it changes with depth."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from underlit.errors import StudyError
from underlit.metrics import maps
from underlit.metrics.estimate import Estimate
from underlit.metrics.footprint import Lattice
from underlit.metrics.zones import LEAST_OPEN_SHARE, soil_height
from underlit.results.result import Result

RADIUS_M = 0.015  # of the area a spot stands for: about that of a meter's head and the plant under it
_ON_SOIL_M = 0.005  # this close to the soil, a height means the soil


@dataclass(frozen=True, eq=False)
class Spot:
    """A small round area on a horizontal surface, or on a piece of hardscape.

    Parameters
    ----------
    place_m : ndarray, shape (3,)
        Its middle. [m]
    surface, plane : str
        Surface that it is read on, and the plane that its light is counted on.
    cells : ndarray, shape (n,)
        Cells with open ground within it.
    open_share : ndarray, shape (n,)
        Share of each cell that no stone stands on; its light is all there.
    area_m2 : ndarray, shape (n,)
        Open area of the spot in each cell. [m2]
    """

    place_m: np.ndarray
    surface: str
    plane: str
    cells: np.ndarray = field(repr=False)
    open_share: np.ndarray = field(repr=False)
    area_m2: np.ndarray = field(repr=False)

    def mean(self, density: Estimate) -> Estimate:
        """Mean over the spot of a map of its surface, samples (..., C) to (...)."""
        weights = self.area_m2 / self.area_m2.sum() / self.open_share
        return Estimate(density.samples[..., self.cells] @ weights)

    def spectrum(self, res: Result, dims: maps.Dims = None) -> Estimate:
        """Spectrum of the light that falls on it, samples (K, 401). [umol m-2 s-1 nm-1]"""
        area = res.surface(self.surface).cell_area_m2
        taken = np.zeros(len(area))
        taken[self.cells] = self.area_m2 / area[self.cells] / self.open_share
        whole = maps.spectrum(res, self.surface, dims, taken)
        return whole * (taken @ area / self.area_m2.sum())

    def by_channel(self, res: Result, dims: maps.Dims = None, weighting: str = "PAR") -> Estimate:
        """What each channel gives here, samples (K, M). [umol m-2 s-1]"""
        each = self.mean(maps.ppfd_by_channel(res, self.surface, weighting))
        return each * maps.dim_settings(res, dims)


def find_spot(
    res: Result, x_m: float, y_m: float, z_m: float | None = None, radius_m: float = RADIUS_M
) -> Spot:
    """The spot at a place.

    Parameters
    ----------
    res : Result
    x_m, y_m : float
        From the left and from the front. [m]
    z_m : float, optional
        Height above the inside bottom: the nearest traced plane is read; default the soil. [m]
    radius_m : float
        Of the area averaged over; never less than the cell that the spot lies in. [m]

    Returns
    -------
    Spot

    Raises
    ------
    StudyError
        Outside the tank, within soil or stone, or at a height where nothing was counted.
    """
    check_inside(res, x_m, y_m, z_m)
    ground = float(soil_height(res, np.array([x_m]), np.array([y_m]))[0])
    name = "soil" if z_m is None or abs(z_m - ground) < _ON_SOIL_M else _plane_at(res, z_m, ground)
    return spot_on(res, name, x_m, y_m, radius_m)


def spot_on(res: Result, name: str, x_m: float, y_m: float, radius_m: float = RADIUS_M) -> Spot:
    """The spot at a place on a horizontal surface; arguments as of `find_spot`."""
    surface = res.surface(name)
    lattice, numbers = Lattice.over(surface).around(x_m, y_m, radius_m)
    x, y = np.meshgrid(lattice.x_m, lattice.y_m)
    is_open = ~lattice.in_hardscape(res)
    if name != "soil":
        is_open &= lattice.z_m > soil_height(res, x, y)
    open_share = lattice.shares(is_open)
    taken = lattice.shares(is_open & _within(x, y, x_m, y_m, radius_m))
    some = (taken > 0) & (open_share >= LEAST_OPEN_SHARE)
    if not some.any():
        raise StudyError(
            f"there is no open ground at {_words(x_m, y_m)} on `{name}`.",
            hint="A stone stands there, or soil is above it: take a spot beside it.",
        )
    cells = numbers[some]
    area = taken[some] * surface.cell_area_m2[cells]
    height = float(np.average(surface.cell_centre_m[cells, 2], weights=area))
    return Spot(np.array([x_m, y_m, height]), name, surface.plane, cells, open_share[some], area)


def spot_on_hardscape(
    res: Result, piece: str, x_m: float, y_m: float, z_m: float | None = None, radius_m: float = RADIUS_M
) -> Spot:
    """The spot on a piece of hardscape that is nearest to a place: from above, where no height is given."""
    name = f"hardscape {piece}"
    surface = res.surface(name)
    centre, normal = surface.cell_centre_m, surface.cell_normal
    aside = np.hypot(centre[:, 0] - x_m, centre[:, 1] - y_m)
    if z_m is None:  # the uppermost patch among those over the place
        over = np.flatnonzero((aside <= aside.min() + radius_m) & (normal[:, 2] > 0))
        if not len(over):
            over = np.array([np.argmin(aside)])
        middle = over[np.argmax(centre[over, 2])]
    else:
        middle = np.argmin(np.hypot(aside, centre[:, 2] - z_m))
    near = np.linalg.norm(centre - centre[middle], axis=1) <= radius_m
    cells = np.flatnonzero(near & (normal @ normal[middle] > 0.5))  # not the far side of a thin branch
    return Spot(centre[middle], name, surface.plane, cells, np.ones(len(cells)), surface.cell_area_m2[cells])


def _within(x: np.ndarray, y: np.ndarray, x_m: float, y_m: float, radius_m: float) -> np.ndarray:
    """Points within the radius; at least the nearest one, with the cell it lies in."""
    distance = np.hypot(x - x_m, y - y_m)
    return distance <= max(radius_m, distance.min())


def _plane_at(res: Result, z_m: float, ground_m: float) -> str:
    """The traced plane nearest to a height; the soil, if that is nearer still."""
    names = (name for name in res.surfaces if name.startswith("plane "))
    planes = {name: float(res.surface(name).cell_centre_m[0, 2]) for name in names}
    heights = {name: z for name, z in planes.items() if z > ground_m} | {"soil": ground_m}
    if z_m < ground_m - _ON_SOIL_M:
        raise StudyError(
            f"the height of {100 * z_m:.1f} cm lies within the soil, which is {100 * ground_m:.1f} cm high there."
        )
    return min(heights, key=lambda name: abs(heights[name] - z_m))


def check_inside(res: Result, x_m: float, y_m: float, z_m: float | None = None) -> None:
    """Refuse a place outside the tank."""
    tank = res.scene.tank
    high = tank.height if z_m is None else z_m
    if not (0 <= x_m <= tank.length and 0 <= y_m <= tank.width and 0 <= high <= tank.height):
        raise StudyError(
            f"the spot at {_words(x_m, y_m)} lies outside the tank.",
            hint=f"From the left 0-{100 * tank.length:g} cm, from the front 0-{100 * tank.width:g} cm, "
            f"height 0-{100 * tank.height:g} cm.",
        )


def _words(x_m: float, y_m: float) -> str:
    return f"{100 * x_m:g} cm from the left, {100 * y_m:g} cm from the front"
