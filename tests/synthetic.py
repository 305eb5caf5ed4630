"""A made-up result whose true transport is known, with Poisson noise: for tests of what follows a trace.

Nothing is traced. The true transport is a plausible formula (a lamp's inverse-square spot, a shadow behind a
ball, absorption of water by wavelength); each replicate draws a Poisson number of hits around it.
"""

from __future__ import annotations

import numpy as np

from underlit.results.result import Channel, Result, Surface
from underlit.spectra import GRID_NM

SCENE = """\
title = "Synthetic tank"

[tank]
length = "60 cm"
width = "30 cm"
height = "36 cm"
thickness = "6 mm"

[water]
level = "33 cm"

[substrate]
material = "dark soil"
front = "3 cm"
back = "6 cm"

[[plant]]
name = "carpet"
band = [50, 90]
target = 60
from = ["5 cm", "3 cm"]
to = ["55 cm", "12 cm"]

[[plant]]
name = "background"
demand = "medium"
outline = [["5 cm", "20 cm"], ["55 cm", "20 cm"], ["55 cm", "28 cm"], ["5 cm", "28 cm"]]
read_height = "9 cm"

[[fixture]]
name = "bar"
position = ["30 cm", "15 cm"]
height = "12 cm"
shape = "bar"
size = ["54 cm", "8 cm"]
price = 120.0

[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "18 W"
efficacy = "1.8 umol/J"

[[fixture.channel]]
name = "red"
spectrum = "red 660"
power = "5 W"
efficacy = "2.2 umol/J"

[[fixture]]
name = "clip"
position = ["12 cm", "15 cm"]
height = "10 cm"
shape = "disc"
size = "8 cm"

[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "6 W"
efficacy = "1.7 umol/J"

[schedule]
hours = 8
ramp = "30 min"
"""

WAVELENGTH_NM = np.linspace(380.0, 780.0, 16)
LENGTH_M, WIDTH_M, LEVEL_M = 0.60, 0.30, 0.33
BALL_CENTRE_M, BALL_RADIUS_M = np.array([0.38, 0.17, 0.07]), 0.05
LAMPS_M = (np.array([0.30, 0.15, 0.45]), np.array([0.12, 0.15, 0.43]))
SOURCE_NAMES = ["bar", "clip"]
BUDGET_NAMES = [
    "absorbed in soil",
    "absorbed in water",
    "out through the panes",
    "spill over the rim",
    "hardscape ball",
]
SCALE = 2.0**32


def result(*, seed: int = 1, replicates: int = 16, photons: int = 200_000, cell_m: float = 0.01) -> Result:
    """A synthetic result.

    Parameters
    ----------
    seed, replicates : int
    photons : int
        Per source and replicate; sets the noise.
    cell_m : float
        Size of the soil cells. [m]

    Returns
    -------
    Result
    """
    rng = np.random.default_rng(seed)
    surfaces = {surface.name: surface for surface in _surfaces(cell_m)}
    sums = {
        name: _noisy(rng, true_transport(surface), replicates, photons) for name, surface in surfaces.items()
    }
    return Result(
        scene_text=SCENE,
        scene_file="synthetic.toml",
        seed=seed,
        wavelength_nm=WAVELENGTH_NM,
        source_names=list(SOURCE_NAMES),
        photons=np.full(2, photons, np.int64),
        channels=_channels(),
        surfaces=surfaces,
        sums=sums,
        budget_names=list(BUDGET_NAMES),
        budget_sums=_budget(rng, replicates, photons),
        scale=SCALE,
        file_digests={"stones/ball.stl": "0" * 64},
        versions={"underlit": "0.1.0", "numpy": np.__version__},
        counters={"lost": 0, "capped": 3},
        created="2026-01-01T12:00:00+00:00",
        wall_s=12.5,
        stop_reason="photons",
        rel_err=0.03,
    )


def true_transport(surface: Surface) -> np.ndarray:
    """Expected photons per cell and emitted photon, shape (S, C, B)."""
    return np.stack([_true_from(lamp, surface) for lamp in LAMPS_M])


def _true_from(lamp: np.ndarray, surface: Surface) -> np.ndarray:
    ray = lamp - surface.cell_centre_m
    distance = np.linalg.norm(ray, axis=1)
    mu_lamp = ray[:, 2] / distance
    mu_cell = np.abs(np.einsum("cd,cd->c", ray, surface.cell_normal)) / distance
    dark = 0.15 if surface.name.startswith("hardscape") else 1.0
    facing = np.einsum("cd,cd->c", ray, surface.cell_normal) > 0
    lit = np.where(facing | (dark == 1.0), 1.0, dark) * np.where(_shaded(surface, ray), 0.2, 1.0)
    geometric = lit * mu_lamp * mu_cell * surface.cell_area_m2 / (np.pi * distance**2)
    absorption = 0.05 + 2.5 * np.exp((WAVELENGTH_NM - 780.0) / 60.0)
    depth = np.maximum(LEVEL_M - surface.cell_centre_m[:, 2], 0.0)
    return geometric[:, None] * np.exp(-absorption * (depth / mu_lamp)[:, None])


def _shaded(surface: Surface, ray: np.ndarray) -> np.ndarray:
    if surface.name.startswith("hardscape"):
        return np.zeros(len(ray), bool)
    unit = ray / np.linalg.norm(ray, axis=1, keepdims=True)
    to_ball = BALL_CENTRE_M - surface.cell_centre_m
    along = np.einsum("cd,cd->c", to_ball, unit)
    miss = np.linalg.norm(to_ball - along[:, None] * unit, axis=1)
    return (miss < BALL_RADIUS_M) & (along > 0)


def _noisy(rng: np.random.Generator, expected: np.ndarray, replicates: int, photons: int) -> np.ndarray:
    """Hits are Poisson and carry all bands, as a tracer's packets do: bands of one cell are correlated."""
    brightest = expected.max(axis=-1, keepdims=True)
    hits = rng.poisson(brightest * photons, (replicates, *brightest.shape))
    colour = np.divide(expected, brightest, out=np.zeros_like(expected), where=brightest > 0)
    return np.rint(hits * colour * SCALE).astype(np.int64)


def _budget(rng: np.random.Generator, replicates: int, photons: int) -> np.ndarray:
    counts = rng.multinomial(photons, [0.55, 0.08, 0.12, 0.17, 0.08], (replicates, 2))
    return np.repeat((counts * SCALE).astype(np.int64)[..., None], len(WAVELENGTH_NM), axis=-1)


def _channels() -> list[Channel]:
    white = np.exp(-0.5 * ((GRID_NM - 450) / 9) ** 2) + 0.8 * np.exp(-0.5 * ((GRID_NM - 570) / 60) ** 2)
    red = np.exp(-0.5 * ((GRID_NM - 660) / 8) ** 2)
    white, red = white / np.trapezoid(white, GRID_NM), red / np.trapezoid(red, GRID_NM)
    return [
        Channel("white", "bar", 0, 32.4 * white, 18.0, 1.0, 120.0),
        Channel("red", "bar", 0, 11.0 * red, 5.0, 1.0, 120.0),
        Channel("white", "clip", 1, 10.2 * white, 6.0, 1.0),
    ]


def _surfaces(cell_m: float) -> list[Surface]:
    def slope(x, y):
        return 0.03 + 0.1 * y

    across, deep = (np.arange(0.0, end + 1e-9, cell_m) for end in (LENGTH_M, WIDTH_M))
    x, y = (np.linspace(0.0, LENGTH_M, 31), np.linspace(0.0, WIDTH_M, 16))
    up = np.linspace(0.0, 0.36, 19)
    flat, pane = "horizontal", "surface normal"
    return [
        _grid("soil", flat, across, deep, lambda x, y: (x, y, slope(x, y)), (0.0, 0.0, 1.0)),
        _grid("pane front", pane, x, up, lambda x, z: (x, 0 * x, z), (0.0, 1.0, 0.0)),
        _grid("pane back", pane, x, up, lambda x, z: (x, 0 * x + WIDTH_M, z), (0.0, -1.0, 0.0)),
        _grid("pane left", pane, y, up, lambda y, z: (0 * y, y, z), (1.0, 0.0, 0.0)),
        _grid("pane right", pane, y, up, lambda y, z: (0 * y + LENGTH_M, y, z), (-1.0, 0.0, 0.0)),
        _grid("water surface", flat, x, y, lambda x, y: (x, y, 0 * x + LEVEL_M), (0.0, 0.0, 1.0)),
        _grid("plane 0.140", flat, x, y, lambda x, y: (x, y, 0 * x + 0.14), (0.0, 0.0, 1.0)),
        _ball(),
    ]


def _grid(name, plane, u_edges, v_edges, place, normal) -> Surface:
    nu, nv = len(u_edges) - 1, len(v_edges) - 1
    v, u = (axis.ravel() for axis in np.meshgrid(v_edges, u_edges, indexing="ij"))
    j, i = (axis.ravel() for axis in np.mgrid[:nv, :nu])
    corner = j * (nu + 1) + i
    lower = np.column_stack([corner, corner + 1, corner + nu + 2])
    upper = np.column_stack([corner, corner + nu + 2, corner + nu + 1])
    vertices = np.column_stack(place(u, v))
    return Surface(
        name=name,
        kind="grid",
        plane=plane,
        vertices_m=vertices,
        faces=np.stack([lower, upper], axis=1).reshape(-1, 3).astype(np.int32),
        cell_of_face=np.repeat(np.arange(nu * nv, dtype=np.int32), 2),
        cell_area_m2=np.outer(np.diff(v_edges), np.diff(u_edges)).ravel(),
        cell_centre_m=vertices[np.column_stack([lower, upper[:, 2:]])].mean(axis=1),
        cell_normal=np.tile(normal, (nu * nv, 1)),
        shape=(nv, nu),
        x_edges_m=np.asarray(u_edges),
        y_edges_m=np.asarray(v_edges),
    )


def _ball(n_around: int = 48, n_up: int = 24) -> Surface:
    steps = np.linspace(0, np.pi, n_up + 1), np.linspace(0, 2 * np.pi, n_around + 1)
    polar, around = np.meshgrid(*steps, indexing="ij")
    unit = np.stack([np.sin(polar) * np.cos(around), np.sin(polar) * np.sin(around), np.cos(polar)], axis=-1)
    j, i = (axis.ravel() for axis in np.mgrid[:n_up, :n_around])
    a, b = j * (n_around + 1) + i, (j + 1) * (n_around + 1) + i
    faces = np.concatenate([np.column_stack([a, b, b + 1]), np.column_stack([a, b + 1, a + 1])])
    cell = np.tile((j // 2) * (n_around // 3) + i // 3, 2)
    vertices = BALL_CENTRE_M + BALL_RADIUS_M * unit.reshape(-1, 3)
    cross = np.cross(
        vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]]
    )
    area = np.linalg.norm(cross, axis=1) / 2
    cell_area = np.bincount(cell, area)
    sums = [np.bincount(cell, area * vertices[faces].mean(axis=1)[:, axis]) for axis in range(3)]
    centre = np.column_stack(sums) / cell_area[:, None]
    normal = (centre - BALL_CENTRE_M) / np.linalg.norm(centre - BALL_CENTRE_M, axis=1, keepdims=True)
    return Surface(
        name="hardscape ball",
        kind="mesh",
        plane="surface normal",
        vertices_m=vertices,
        faces=faces.astype(np.int32),
        cell_of_face=cell.astype(np.int32),
        cell_area_m2=cell_area,
        cell_centre_m=centre,
        cell_normal=normal,
    )
