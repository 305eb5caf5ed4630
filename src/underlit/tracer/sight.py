"""What shades a spot: which piece takes which share of which lamp's straight light."""

from __future__ import annotations

import numpy as np

from underlit import spectra
from underlit.kernels.arrays import SourceArrays
from underlit.kernels.bvh import Bvh, build_bvh, new_stack
from underlit.kernels.held import Held
from underlit.kernels.sight import look_up
from underlit.metrics.estimate import Estimate
from underlit.metrics.maps import Dims, dim_settings
from underlit.metrics.shade import Sight
from underlit.metrics.spots import Spot
from underlit.results.result import Result
from underlit.scene.model import Scene
from underlit.tracer.pack import PATH_NM
from underlit.tracer.sources import build_lamps

POINTS = 256  # of a lamp, seen from each of so many points of the spot
PLACES = 32
_OPEN = 0.99  # share of a cell that must be open for points to be taken from all of it
_OFF_M = 1e-4  # how far above its surface a spot is looked from
SOIL = "soil"


def who_shades(res: Result, spot: Spot, dims: Dims = None, scene: Scene | None = None) -> list[Sight]:
    """Which piece takes which share of which lamp's straight light at a spot.

    Parameters
    ----------
    res : Result
    spot : Spot
    dims : optional
        Settings of the channels.
    scene : Scene, optional
        Needed only where lamps are read from files; default the text in the result.

    Returns
    -------
    list of Sight
        One for each fixture.

    Notes
    -----
    Straight light is what goes from the lamp through the opening and the level water surface to the spot, refracted
    once. Light returned by panes, scattered, or sent on by soil and stones is left out, and so are lid, floating
    plants and leaves, which dim all of it alike. Shapes are those in the result; the soil is as coarse as its cells.
    """
    lamps = build_lamps(scene or res.scene)
    settings = dim_settings(res, dims)
    bvh, owner, names = _world(res)
    views = [_view(res, bvh, owner, len(names), source, spot) for source in lamps.sources]
    par = np.array([channel.spectrum for channel in res.channels]) @ spectra.weighting("PAR") * settings
    found = []
    for fixture in dict.fromkeys(channel.fixture for channel in res.channels):
        mine = [m for m, channel in enumerate(res.channels) if channel.fixture == fixture]
        light = sum(par[m] * views[res.channels[m].source] for m in mine)
        found.append(_sight(fixture, Estimate(light), names))
    return found


def _sight(fixture: str, light: Estimate, names: list[str]) -> Sight:
    """From light by what it meets first, samples (K, 1 + pieces)."""
    total = Estimate(light.samples.sum(axis=1))
    if not total.value > 0:
        return Sight(fixture, total, Estimate.exact(np.nan, light.replicates))
    shares = Estimate.of(lambda parts: parts / parts.sum(), light)
    order = [i for i in np.argsort(-shares.value[1:], kind="stable") if shares.value[1 + i] > 0]
    return Sight(fixture, total, shares[0], {names[i]: shares[1 + i] for i in order})


def _world(res: Result) -> tuple[Bvh, np.ndarray, list[str]]:
    """Everything opaque in a result: its triangles, whose each is, and the names."""
    names = [SOIL, *(name for name in res.surfaces if name.startswith("hardscape "))]
    vertices, faces, owner, count = [], [], [], 0
    for number, name in enumerate(names):
        surface = res.surface(name)
        vertices.append(surface.vertices_m)
        faces.append(surface.faces + count)
        owner.append(np.full(len(surface.faces), number))
        count += len(surface.vertices_m)
    pieces = [name.removeprefix("hardscape ") for name in names]
    return build_bvh(np.concatenate(vertices), np.concatenate(faces)), np.concatenate(owner), pieces


def _view(
    res: Result, bvh: Bvh, owner: np.ndarray, n_pieces: int, source: SourceArrays, spot: Spot
) -> np.ndarray:
    """Light of one source by what it meets first (nothing, each piece), (PLACES, 1 + pieces). [m-2 per photon]"""
    from scipy.stats import qmc

    tank, water = res.scene.tank, res.scene.water
    index = float(spectra.water_index(np.array([PATH_NM]), water.temperature)[0])
    box = np.array([tank.length, tank.width, tank.height, water.level, index])
    light, face, stack = np.zeros(POINTS), np.zeros(POINTS, np.int64), new_stack()
    sums, held = np.zeros((PLACES, 1 + n_pieces)), (Held(bvh), Held(source))
    for k, (place, normal) in enumerate(zip(*_places(res, spot), strict=True)):
        u = qmc.Sobol(2, seed=k).random(POINTS)
        look_up(*held, box, place, normal, u, light, face, stack)
        met = np.where(face < 0, 0, 1 + owner[face])
        sums[k] = np.bincount(met, light, 1 + n_pieces) / POINTS
    return sums


def _places(res: Result, spot: Spot) -> tuple[np.ndarray, np.ndarray]:
    """Points spread over a spot, just off its surface, and the normal that light is counted along, (PLACES, 3) each."""
    surface, rng = res.surface(spot.surface), np.random.default_rng(1)
    up = np.tile([0.0, 0.0, 1.0], (PLACES, 1))
    cells = spot.cells[spot.open_share > _OPEN]
    if not len(cells):
        return np.tile(spot.place_m, (PLACES, 1)) + _OFF_M * up, up
    corners = surface.vertices_m[surface.faces[np.isin(surface.cell_of_face, cells)]]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(cross, axis=1)
    chosen = rng.choice(len(corners), PLACES, p=area / area.sum())
    a, b = np.sort(rng.random((2, PLACES)), axis=0)
    weights = np.column_stack([a, b - a, 1.0 - b])
    points = np.einsum("kc,kcd->kd", weights, corners[chosen])
    normal = up if spot.plane != "surface normal" else cross[chosen] / area[chosen, None]
    return points + _OFF_M * normal, normal
