"""The same tank in this engine, which follows light from the lamp, and in Mitsuba 3, which follows it back.

Mitsuba's path tracer starts at irradiance meters: on soil in the open, in the shadow of a stone and in a corner of the
glass, and on all of the rock. Its scalar variant needs no other library. Water and glass absorb nothing here and the
lamp is a Lambertian rectangle, as both can model these; panes are real, with two faces each.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from zcheck import agree, disagree

pytest.importorskip("mitsuba", reason="Mitsuba 3 is not installed: pip install underlit[peers]")

from benchmarks import mitsuba_tank
from benchmarks.contenders.engine import Tracer
from benchmarks.tank import Setup, prepare
from underlit.scene.loader import from_text

pytestmark = [pytest.mark.validation, pytest.mark.statistical]

TANK = """
[tank]
length = "30 cm"
width = "20 cm"
height = "20 cm"
thickness = "5 mm"
bottom_thickness = "5 mm"
panes = { bottom = "clean" }
[water]
level = "17 cm"
scattering = "0 1/m"
[substrate]
material = { reflectance = 0.2 }
depth = "3 cm"
[[hardscape]]
name = "tall stone"
shape = "stone"
size = ["8 cm", "7 cm", "10 cm"]
seed = 3
triangles = 2000
position = ["11 cm", "12 cm"]
sink = "5 mm"
material = { reflectance = 0.4 }
[[hardscape]]
name = "small stone"
shape = "stone"
size = ["6 cm", "5 cm", "4 cm"]
seed = 4
triangles = 1000
position = ["19 cm", "6 cm"]
sink = "5 mm"
material = { reflectance = 0.4 }
[[fixture]]
name = "panel"
shape = "panel"
size = ["12 cm", "10 cm"]
position = ["22 cm", "11 cm"]
height = "8 cm"
[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "20 W"
efficacy = "2 umol/J"
beam = "120 deg"
[run]
planes = []
cell = "1 cm"
"""

# Patches of soil: x0, y0, x1, y1 in cells of 1 cm. The lamp hangs to the right, so shadows fall to the left.
PATCHES = {"light": (23, 9, 27, 13), "shadow": (3, 11, 6, 14), "corner": (27, 0, 30, 3)}
REPLICATES, SEED = 32, 11
PHOTONS, PATHS_PER_PIXEL, PIXELS = 4_000_000, 900, 8
LIFT_M = 1e-5  # of a meter over the soil


@pytest.fixture(scope="module")
def setup() -> Setup:
    return prepare(from_text(TANK), np.array([550.0]), clear=True)


@pytest.fixture(scope="module")
def peer(setup):
    """Share of the lamp's light that lands on each patch and on rock, shape (REPLICATES, 4)."""
    mi = mitsuba_tank.variant("scalar_rgb")
    tank = setup.numbers(mitsuba_tank.UNIT_M)
    scene = mi.load_dict(_metered(mi, tank), optimize=False)  # else it makes one meter of them all
    integrator = mi.load_dict({"type": "path", "max_depth": 300, "rr_depth": 5})
    area = {sensor.id(): 0.0 for sensor in scene.sensors()}
    for name, (x0, y0, x1, y1) in PATCHES.items():
        area[name] = (x1 - x0) * (y1 - y0) * tank.cell**2
    corner = tank.vertices[tank.faces]
    doubled = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area["rock"] = 0.5 * float(np.linalg.norm(doubled, axis=1).sum())
    names = [sensor.id() for sensor in scene.sensors()]
    shares = np.empty((REPLICATES, len(names)))
    for k, i in np.ndindex(shares.shape):
        image = mi.render(scene, sensor=i, integrator=integrator, spp=PATHS_PER_PIXEL, seed=SEED + k)
        shares[k, i] = np.array(image).mean() * area[names[i]]
    return shares[:, [names.index(name) for name in (*PATCHES, "rock")]]


def _metered(mi, tank) -> dict:
    """The tank with its meters."""
    objects = mitsuba_tank.tank_objects(mi, tank)
    rock = mitsuba_tank.diffuse(mi, tank.rock_reflectance)
    objects["rock"] = mitsuba_tank.mesh(
        mi, "rock", tank.vertices, tank.faces, rock, meter=mi.load_dict(_meter("rock"))
    )
    cell = tank.cell
    for name, (x0, y0, x1, y1) in PATCHES.items():
        middle = [0.5 * (x0 + x1) * cell, 0.5 * (y0 + y1) * cell, tank.soil + LIFT_M / tank.unit_m]
        half = [0.5 * (x1 - x0) * cell, 0.5 * (y1 - y0) * cell, 1.0]
        objects[f"patch_{name}"] = {
            "type": "rectangle",
            "to_world": mi.ScalarTransform4f().translate(middle).scale(half),
            "bsdf": mitsuba_tank.diffuse(mi, tank.soil_reflectance),
            "sensor": _meter(name),
        }
    return objects


def _meter(name: str) -> dict:
    film = {
        "type": "hdrfilm",
        "width": PIXELS,
        "height": PIXELS,
        "rfilter": {"type": "box"},
        "pixel_format": "luminance",
        "component_format": "float32",
    }
    return {"type": "irradiancemeter", "id": name, "film": film, "sampler": {"type": "multijitter"}}


def traced(setup: Setup, seed: int = SEED) -> np.ndarray:
    """The same shares by this engine."""
    cells = Tracer(setup).cells(PHOTONS, 2, seed, REPLICATES)[..., 0]
    layout = setup.packed.layout
    ny, nx = layout.surfaces["soil"].shape
    soil = cells[:, : ny * nx].reshape(-1, ny, nx)
    shares = [soil[:, y0:y1, x0:x1].sum(axis=(1, 2)) for x0, y0, x1, y1 in PATCHES.values()]
    rock = np.zeros(len(cells))
    for name, surface in layout.surfaces.items():
        if name.startswith("hardscape "):
            rock += cells[:, layout.first[name] : layout.first[name] + surface.n_cells].sum(axis=1)
    return np.stack([*shares, rock], axis=1)


def test_light_on_soil_and_rock(setup, peer):
    """Replicates of both are paired, so that the spread of their differences holds the error of both."""
    ours = traced(setup)
    open_, shadow, corner, rock = peer.mean(axis=0)
    assert shadow < 0.5 * open_ * 9 / 16, "the patch in shadow is not in shadow"
    assert min(corner, rock) > 0.005
    agree(1.0 + (ours - peer) / peer.mean(axis=0), np.ones(4), resolves=0.02)


@pytest.mark.parametrize("entry", [{"n_water": 1.45}, {"n_glass": 1.8}])
def test_another_index_shows(setup, peer, entry):
    """The check fails for a tank that differs in one number."""
    packed = setup.packed
    arrays = packed.arrays._replace(tank=packed.arrays.tank._replace(**entry))
    mutant = traced(replace(setup, packed=replace(packed, arrays=arrays)))
    disagree(1.0 + (mutant - peer) / peer.mean(axis=0), np.ones(4))
