"""The light that an eye before the front pane receives, put together from a result."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from underlit import spectra
from underlit.errors import DataError, StudyError
from underlit.figures import screen
from underlit.figures.glow import Glow, Waters, grid_glow, mesh_glow, reflectances
from underlit.figures.panes import SIDES
from underlit.figures.reading import LEAST_OPEN_SHARE, Reading, edges_of
from underlit.figures.sight import Backing, Rays, Sight, Solids, Tank, enter, in_all_lights
from underlit.figures.thicket import Thicket, columns, scattered, seen_level
from underlit.metrics import maps
from underlit.results.result import Result
from underlit.scene.plants import Plant

INDEX_NM = 550.0  # wavelength whose refractive index bends all light
_OWN_GLASS_INDEX = 1.52  # a result keeps no index of glass from a file; it hardly moves the picture
PIXELS = 420_000  # of a picture, about
_PORTION = 200_000  # lines of sight followed in one go, over the number of lights: bounds memory
_EYE_AWAY = 1.6  # distance of the eye from the pane, in diagonals of the pane
_SHOWN_WHITE = (
    0.3  # reflectance that is drawn as white where the soil has its median light; more on pale soil
)
_BURIED_SHARE = 0.01  # of the light on the plane above, below which a place on a plane is in the ground
_SOIL_GRAIN, _ROCK_GRAIN = (0.0014, 0.15), (0.0035, 0.07)  # decoration: size [m] and unevenness


@dataclass(frozen=True)
class Picture:
    """Light that reaches the eye, before any choice of exposure.

    Attributes
    ----------
    xyz : ndarray, shape (height, width, 3)
        CIE 1931, Y the luminance; first row at the rim. [cd m-2]
    lamp_xyz : ndarray, shape (3,)
        White of the lamps, Y = 1.
    usual_exposure_cd_m2 : float
        Luminance to be drawn as white where nothing else is asked for. [cd m-2]
    """

    xyz: np.ndarray
    lamp_xyz: np.ndarray
    usual_exposure_cd_m2: float

    def on_screen(self, exposure_cd_m2: float, white: str) -> np.ndarray:
        """sRGB, (height, width, 3)."""
        return screen.to_screen(self.xyz, exposure_cd_m2, self.lamp_xyz, white)


def picture(
    res: Result | Reading, dims: maps.Dims = None, *, eye_m: tuple[float, float, float] | None = None,
    n_pixels: int = PIXELS,
) -> Picture:  # fmt: skip
    """Light that an eye before the front pane receives.

    Parameters
    ----------
    res : Result
    dims : optional
        Settings of the channels; default those of the scene.
    eye_m : (float, float, float), optional
        Place of the eye, y below 0; default before the middle of the pane. [m]
    n_pixels : int
        About as many; four lines of sight are followed for each.

    Returns
    -------
    Picture
    """
    read = Reading.of(res, dims)
    lamp_xyz = _lamp_xyz(read)
    xyz = _look(read, tank_of(read), eye_m, n_pixels)
    return Picture(xyz, lamp_xyz, usual_exposure_cd_m2(read))


def channels_seen(read: Reading, n_pixels: int = PIXELS) -> np.ndarray:
    """What each channel of the lamps adds to the picture at full setting.

    Returns
    -------
    ndarray, shape (M, height, width, 3)
        X, Y, Z. [cd m-2]
    """
    n = len(read.res.channels)
    xyz = _look(read, in_all_lights([tank_of(read.at(alone)) for alone in np.eye(n)]), None, n_pixels)
    return np.moveaxis(xyz.reshape(*xyz.shape[:2], n, 3), 2, 0)


def _look(read: Reading, tank: Tank, eye_m: tuple[float, float, float] | None, n_pixels: int) -> np.ndarray:
    """X, Y, Z of each pixel, (height, width, 3), or of each light in turn; first row at the rim. [cd m-2]"""
    eye = eye_before(read) if eye_m is None else np.asarray(eye_m, float)
    if not eye[1] < -tank.glass_m:
        raise StudyError(f"the eye must be in front of the pane, y below 0, got {eye[1]:g} m.")
    points, (rows, columns_) = _points(read.size_m, n_pixels)
    sight = Sight(tank)
    lights = tank.solids.glow.log_xyz.shape[-1] // 3
    parts = np.array_split(points, max(1, len(points) * lights // _PORTION))
    light = np.concatenate([sight.look(_uncovered(enter(tank, eye, part), read)) for part in parts])
    return light.reshape(rows, 2, columns_, 2, -1).mean(axis=(1, 3))


def can_be_seen(read: Reading) -> bool:
    """Whether there is light, and every material is known: a result keeps no films and leaves from files."""
    try:
        _lamp_xyz(read), usual_exposure_cd_m2(read)
        [_film(read, side) for side in SIDES], [_leaf(read, plant) for plant in _leafy(read)]
    except (DataError, StudyError):
        return False
    return True


def _lamp_xyz(read: Reading) -> np.ndarray:
    return screen.white_xyz(read.dims @ np.array([channel.spectrum for channel in read.res.channels]))


def _points(size_m: np.ndarray, n_pixels: int) -> tuple[np.ndarray, tuple[int, int]]:
    """Four places x, z on the front pane for each pixel, row by row from the rim; and rows and columns. [m]"""
    length, _, height = size_m
    step = np.sqrt(length * height / n_pixels)
    n_x, n_z = max(round(length / step), 2), max(round(height / step), 2)
    x = (np.arange(2 * n_x) + 0.5) * length / (2 * n_x)
    z = height - (np.arange(2 * n_z) + 0.5) * height / (2 * n_z)
    return np.stack(np.meshgrid(x, z), axis=-1).reshape(-1, 2), (n_z, n_x)


def _uncovered(rays: Rays, read: Reading) -> Rays:
    """Nothing is seen where the soil lies against the pane."""
    rays.weight *= rays.at_m[:, 2] > read.soil_height((rays.at_m[:, 1], rays.at_m[:, 0]))
    return rays


def usual_exposure_cd_m2(read: Reading) -> float:
    """Luminance of a matt surface of reflectance 0.3 in the median place on the soil. [cd m-2]

    On soil so pale that it would be brighter than the tone curve is straight for, of a paler one. Seen from the air,
    through water and pane without loss.
    """
    open_share = read.open_share(read.res.surface("soil"))
    lux = maps.ppfd(read.res, "soil", read.dims, "photopic").value
    is_open = open_share > LEAST_OPEN_SHARE
    median = float(np.median(lux[is_open] / open_share[is_open])) if is_open.any() else 0.0
    if not median > 0.0:
        raise StudyError("no visible light reaches the soil.", hint="Trace more photons, or turn a lamp up.")
    photopic = screen.photon_weights()[1]
    soil = float(reflectances(read)["soil"] @ photopic / photopic.sum())
    reflectance = max(_SHOWN_WHITE, soil / screen.KNEE)
    return reflectance * median / np.pi / (_water_index(read) ** 2 if read.scene.water.level > 0 else 1.0)


def eye_before(read: Reading) -> np.ndarray:
    """Before the middle of the front pane, a little above the middle of the water. [m]"""
    length, _, height = read.size_m
    level = read.scene.water.level or height
    return np.array([length / 2, -_EYE_AWAY * np.hypot(length, height), 0.7 * level])


def tank_of(read: Reading) -> Tank:
    """A result at one setting, made ready to be looked into."""
    scene, water = read.scene, read.scene.water
    a_water = spectra.water_absorption_per_m(
        spectra.GRID_NM, water.colour_a440, water.colour_slope, water.chlorophyll, water.temperature
    )
    n_glass, a_glass = _glass(read)
    waters = Waters.of(a_water, 3.0 * float(np.linalg.norm(read.size_m)))
    front = np.exp(-a_glass * scene.tank.thickness)
    floaters = scene.floaters
    return Tank(
        size_m=read.size_m,
        level_m=water.level,
        glass_m=scene.tank.thickness,
        n_water=_water_index(read),
        n_glass=n_glass,
        cover=floaters.cover if floaters is not None and floaters.ring is None else 0.0,
        panes={side: _backing(read, side, front, waters) for side in SIDES},
        solids=_solids(read, front, waters),
        thickets=_thickets(read, front, waters),
    )


def _water_index(read: Reading) -> float:
    return float(spectra.water_index(np.array([INDEX_NM]), read.scene.water.temperature)[0])


def _glass(read: Reading) -> tuple[float, np.ndarray]:
    """Index and absorption of the front pane, (401,). [-, m-1]"""
    name, optics = read.scene.tank.glass, read.res.optics
    if name not in spectra.glass_names() and optics is not None:
        return _OWN_GLASS_INDEX, optics.glass_absorption_per_m
    index, absorption = spectra.glass(name, spectra.GRID_NM, read.scene.folder)
    return float(np.interp(INDEX_NM, spectra.GRID_NM, index)), absorption


def _solids(read: Reading, front: np.ndarray, waters: Waters) -> Solids:
    """Soil and hardscape; what they send out has passed the front pane."""
    glows, vertices, faces, grains = [], [], [], []
    n_vertices = 0
    for name, reflectance in reflectances(read).items():
        surface = read.res.surface(name)
        if name == "soil":
            glow = grid_glow(read, name, front * reflectance, read.open_share(surface), waters)
        else:
            glow = mesh_glow(read, name, front * reflectance, waters)
        faces.append(surface.faces + n_vertices)
        vertices.append(surface.vertices_m)
        n_vertices += len(surface.vertices_m)
        glows.append(glow.log_xyz)
        grains.append(np.tile(_SOIL_GRAIN if name == "soil" else _ROCK_GRAIN, (len(surface.faces), 1)))
    glow = Glow(np.concatenate(glows), waters.path_m)
    return Solids(np.concatenate(vertices), np.concatenate(faces), glow, *np.concatenate(grains).T)


def _backing(read: Reading, side: str, front: np.ndarray, waters: Waters) -> Backing:
    """What is seen at a pane from inside."""
    pane, name = getattr(read.scene.tank.panes, side), f"pane {side}"
    clear, bonded = 1.0 - pane.dirt, pane.state == "bonded film"
    reflectance = _film(read, side)
    if reflectance is None or name not in read.res.surfaces:
        return Backing(clear=clear)
    if pane.state != "clean" and pane.colour == "mirror":
        photopic = screen.photon_weights()[1]
        return Backing(mirror=float(reflectance @ photopic / photopic.sum()), clear=clear, bonded=bonded)
    glow = grid_glow(read, name, front * reflectance, read.pane_share(side), waters)
    return Backing(glow, *edges_of(read.res.surface(name)), bonded=bonded, clear=clear)


def _film(read: Reading, side: str) -> np.ndarray | None:
    """Reflectance of what is behind a pane, (401,), if there is anything; the front is always looked through."""
    pane = getattr(read.scene.tank.panes, side)
    material = pane.behind if pane.state == "clean" else pane.colour
    if material is None or side == "front":
        return None
    return spectra.surface_reflectance(material, spectra.GRID_NM, read.scene.folder)


def _thickets(read: Reading, front: np.ndarray, waters: Waters) -> list[Thicket]:
    """Canopies with an outline, the nearest first, where the result has light on horizontal planes for them."""
    planes = sorted(read.names("plane"), key=lambda name: _height_m(read, name))
    found = [_thicket(read, plant, planes, front, waters) for plant in _leafy(read) if len(planes) > 1]
    return sorted(found, key=lambda thicket: thicket.low_m[1])


def _leafy(read: Reading) -> list[Plant]:
    return [plant for plant in read.scene.plant if plant.canopy is not None and plant.outline is not None]


def _thicket(read: Reading, plant: Plant, planes: list[str], front: np.ndarray, waters: Waters) -> Thicket:
    canopy = plant.canopy
    assert canopy is not None
    leaf = front * _leaf(read, plant)
    glows = [
        grid_glow(read, name, leaf, read.open_share(read.res.surface(name)), waters).log_xyz
        for name in planes
    ]
    for lower, upper in reversed(list(pairwise(glows))):  # in the ground: the light just above it
        buried = lower[:, 0, 1] < upper[:, 0, 1] + np.log(_BURIED_SHARE)
        lower[buried] = upper[buried]
    heights = np.array([_height_m(read, name) for name in planes])
    x_edges, y_edges = edges_of(read.res.surface(planes[0]))
    density = canopy.leaf_area_index[-1] * canopy.clumping / canopy.height
    return Thicket(
        *columns(np.array(plant.outline), read.soil_height), canopy.height, density * seen_level(canopy.leaf_angle),
        Glow(np.concatenate(glows), waters.path_m), (heights, y_edges, x_edges),
    )  # fmt: skip


def _leaf(read: Reading, plant: Plant) -> np.ndarray:
    assert plant.canopy is not None
    return scattered(*spectra.leaf(plant.canopy.leaf, spectra.GRID_NM, read.scene.folder))


def _height_m(read: Reading, name: str) -> float:
    return float(read.res.surface(name).cell_centre_m[0, 2])
