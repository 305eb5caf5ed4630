"""Shade: light with the hardscape over light without it, and the ground that stays dark."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from underlit.errors import StudyError
from underlit.metrics import maps
from underlit.metrics.estimate import Estimate
from underlit.metrics.footprint import Lattice
from underlit.metrics.spread import Area
from underlit.metrics.zones import LEAST_OPEN_SHARE, Zone
from underlit.results.result import Result, Surface

DARK = 0.5  # share of the light without hardscape, below which a place counts as shaded
LEAST_PATCH_M2 = 2e-4  # dark patches smaller than 2 cm² are not listed


@dataclass(frozen=True, eq=False)
class Shade:
    """Light with and without hardscape on one horizontal surface.

    Parameters
    ----------
    surface : str
    cells : ndarray, shape (n,)
        Its cells with open ground.
    area_m2 : ndarray, shape (n,)
        Open area of each. [m2]
    with_it, without : Estimate, samples of shape (K, n)
        PPFD on the open ground of each cell. [umol m-2 s-1]
    factor : Estimate, samples of shape (K, n)
        The one over the other; 1 is no shade.
    """

    surface: str
    cells: np.ndarray = field(repr=False)
    area_m2: np.ndarray = field(repr=False)
    with_it: Estimate
    without: Estimate
    factor: Estimate

    def over(self, zone: Zone | None = None) -> ZoneShade:
        """Shade of a zone on this surface, or of all open ground."""
        area = np.zeros(self.cells.max() + 1)
        area[self.cells] = self.area_m2
        if zone is not None:
            area[:] = 0.0
            known = zone.cells < len(area)
            area[zone.cells[known]] = zone.area_m2[known]
        weights = area[self.cells]
        light, bare = (Area(each, weights).mean() for each in (self.with_it, self.without))
        name = "all open ground" if zone is None else zone.plant.name
        return ZoneShade(name, bare, light, light / bare, Area(self.factor, weights).between(0.0, DARK))


@dataclass(frozen=True, eq=False)
class ZoneShade:
    """What hardscape takes from a zone.

    Parameters
    ----------
    name : str
    without, with_it : Estimate
        Mean PPFD. [umol m-2 s-1]
    factor : Estimate
        The one over the other.
    dark_share : Estimate
        Share of its area that is left less than half of its light.
    """

    name: str
    without: Estimate
    with_it: Estimate
    factor: Estimate
    dark_share: Estimate


@dataclass(frozen=True, eq=False)
class Patch:
    """Dark ground, all in one piece.

    Parameters
    ----------
    x_m, y_m : float
        The cell of it that lies nearest to its middle. [m]
    area_m2 : float
        [m2]
    ppfd : Estimate
        Mean over it. [umol m-2 s-1]
    left : Estimate, optional
        Part of the light without hardscape.
    """

    x_m: float
    y_m: float
    area_m2: float
    ppfd: Estimate
    left: Estimate | None = None


@dataclass(frozen=True, eq=False)
class Sight:
    """Straight light from one fixture to a spot.

    Parameters
    ----------
    fixture : str
    unshaded : Estimate
        PPFD that would come straight down if nothing stood in the way. [umol m-2 s-1]
    through : Estimate
        Share of it that arrives.
    taken_by : dict of str to Estimate
        Share that each piece of hardscape (or the soil) takes; whoever is met first from the spot. The largest first.
    """

    fixture: str
    unshaded: Estimate
    through: Estimate
    taken_by: dict[str, Estimate] = field(default_factory=dict)


def shade(res: Result, bare: Result, dims: maps.Dims = None, surface: str = "soil") -> Shade:
    """Light with the hardscape over light without it, cell by cell.

    Parameters
    ----------
    res : Result
    bare : Result
        The same scene traced without its hardscape, with as many replicates.
    dims : optional
        Settings of the channels.
    surface : str
        A horizontal one.

    Returns
    -------
    Shade

    Notes
    -----
    In a bare tank all of a cell is open; with stones only the open part is compared. Both traces draw the same random
    numbers, so errors that they share cancel in the ratio.
    """
    if res.replicates != bare.replicates or res.surface(surface).n_cells != bare.surface(surface).n_cells:
        raise StudyError(
            "the trace without hardscape is not of the same tank.", hint="Make it with `underlit shade`."
        )
    where = res.surface(surface)
    open_share = _open_share(res, where)
    cells = np.flatnonzero(open_share >= LEAST_OPEN_SHARE)
    with_it = Estimate(maps.ppfd(res, surface, dims).samples[:, cells] / open_share[cells])
    without = maps.ppfd(bare, surface, dims)[cells]
    area = where.cell_area_m2[cells] * open_share[cells]
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = with_it / without
    return Shade(surface, cells, area, with_it, without, factor)


def dark_patches(res: Result, zone: Zone, dims: maps.Dims = None) -> list[Patch]:
    """Ground of a zone that gets less than the lower edge of its band, the largest piece first.

    Parameters
    ----------
    res : Result
    zone : Zone
        On the soil or on a plane.
    dims : optional

    Returns
    -------
    list of Patch
        Found on cells averaged with their neighbours, so that noise makes no islands; none on hardscape, whose cells
        have no rows and columns.
    """
    surface = res.surface(zone.surface)
    if surface.shape is None:
        return []
    open_share = _open_share(res, surface)
    density = maps.ppfd(res, zone.surface, dims)
    dark = maps.smoothed(density, surface, open_share).value < zone.plant.band[0]
    area = np.zeros(surface.n_cells)
    area[zone.cells] = zone.area_m2
    pieces = _pieces(surface, area * dark)
    return [
        Patch(*_middle(surface, piece), float(piece.sum()), _mean(density, open_share, piece))
        for piece in pieces
    ]


def shaded_patches(res: Result, bare: Result, dims: maps.Dims = None, surface: str = "soil") -> list[Patch]:
    """Open ground that hardscape leaves less than half of its light, the largest piece first.

    Arguments as of `shade`; found as `dark_patches` are.
    """
    where = res.surface(surface)
    open_share, whole = _open_share(res, where), np.ones(where.n_cells)
    with_it, without = (maps.ppfd(one, surface, dims) for one in (res, bare))
    smooth = [
        maps.smoothed(light, where, share).value for light, share in ((with_it, open_share), (without, whole))
    ]
    is_open = open_share >= LEAST_OPEN_SHARE
    area = where.cell_area_m2 * open_share * (is_open & (smooth[0] < DARK * smooth[1]))
    found = []
    for piece in _pieces(where, area):
        light = _mean(with_it, open_share, piece)
        left = light / _mean(without, whole, piece)
        found.append(Patch(*_middle(where, piece), float(piece.sum()), light, left))
    return found


def _open_share(res: Result, surface: Surface) -> np.ndarray:
    lattice = Lattice.over(surface)
    return lattice.shares(~lattice.in_hardscape(res))


def _pieces(surface: Surface, area: np.ndarray) -> list[np.ndarray]:
    """Area in each cell of each connected piece, (C,) each, the largest first."""
    from scipy import ndimage

    labels, count = ndimage.label((area > 0).reshape(surface.shape))
    pieces = [area * (labels.ravel() == number + 1) for number in range(count)]
    return sorted(
        (piece for piece in pieces if piece.sum() >= LEAST_PATCH_M2), key=lambda piece: -piece.sum()
    )


def _middle(surface: Surface, area: np.ndarray) -> tuple[float, float]:
    """Centre of the cell of a piece nearest to its middle."""
    centre = surface.cell_centre_m[:, :2]
    middle = area @ centre / area.sum()
    distance = np.where(area > 0, np.linalg.norm(centre - middle, axis=1), np.inf)
    x, y = centre[np.argmin(distance)]
    return float(x), float(y)


def _mean(density: Estimate, open_share: np.ndarray, area: np.ndarray) -> Estimate:
    """Mean over the open ground of a piece."""
    return density.dot(np.divide(area, open_share, out=np.zeros_like(area), where=area > 0) / area.sum())
