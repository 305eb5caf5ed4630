"""Straight light from lamp to spot: a closed form, and screens that cover known parts of a lamp."""

from __future__ import annotations

import math

import numpy as np
import pytest

from underlit.kernels.sight import refracted
from underlit.metrics import maps, spots
from underlit.scene import scene_from_text
from underlit.tracer import trace
from underlit.tracer.sight import who_shades

TANK = """
[tank]
length = "60 cm"
width = "40 cm"
height = "40 cm"
thickness = "6 mm"
[water]
level = "{level}"
type = "pure"
[substrate]
depth = "2 cm"
[[fixture]]
name = "lamp"
shape = "panel"
size = ["{size}", "{size}"]
position = ["30 cm", "20 cm"]
height = "20 cm"
height_above = "bottom"
[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "10 W"
flux = "20 umol/s"
[run]
cell = "2 cm"
planes = []
"""

SLAB = """
[[hardscape]]
name = "{name}"
shape = "slab"
size = ["{size}", "{size}", "1 mm"]
position = ["{x}", "{y}", "{z}"]
material = "grey rock"
"""


def traced(text, photons=200_000):
    return trace(scene_from_text(text), photons=photons, seed=3)


@pytest.mark.parametrize(
    ("launch_deg", "rho_m", "irradiance"),
    [(0, 0.0, 5.4221), (10, 0.07468, 5.2529), (20, 0.15243, 4.7699), (30, 0.23686, 4.0397), (45, 0.38773, 2.6811),
     (60, 0.60279, 1.2791)],
)  # fmt: skip
def test_point_above_flat_water(launch_deg, rho_m, irradiance):
    """Isotropic point 0.2 m above water of index 1.333, plane 0.3 m below it (reference/CHECKS, GE-09)."""
    sin_air, found = refracted(0.2, 0.3, 1.333, rho_m)
    assert math.degrees(math.asin(sin_air)) == pytest.approx(launch_deg, abs=0.02)
    assert found == pytest.approx(irradiance, rel=1e-3)


def test_without_water_it_is_the_inverse_square():
    _, found = refracted(0.5, 0.0, 1.333, 0.2)
    r2 = 0.5**2 + 0.2**2
    assert found == pytest.approx(0.5 / r2**1.5 * _passed(0.5, r2), rel=1e-9)


def _passed(h, r2):
    """Part that a level water surface lets through at this angle."""
    c1 = h / math.sqrt(r2)
    c2 = math.sqrt(1 - (1 - c1**2) / 1.333**2)
    s, p = (c1 - 1.333 * c2) / (c1 + 1.333 * c2), (1.333 * c1 - c2) / (1.333 * c1 + c2)
    return 1 - (s * s + p * p) / 2


@pytest.fixture(scope="module")
def half_screened():
    """A slab whose edge passes right under the middle of the lamp, over the spot at the middle of the soil."""
    slab = SLAB.format(name="screen", size="30 cm", x="15 cm", y="20 cm", z="10 cm")
    far = SLAB.format(name="elsewhere", size="4 cm", x="52 cm", y="6 cm", z="4 cm")
    return traced(TANK.format(level="15 cm", size="10 cm") + slab + far)


def test_a_screen_over_half_the_lamp_takes_half(half_screened):
    (sight,) = who_shades(half_screened, spots.find_spot(half_screened, 0.30, 0.20))
    assert sight.fixture == "lamp"
    assert sight.taken_by["screen"].value == pytest.approx(0.5, abs=max(4 * sight.through.std_err, 0.02))
    assert "elsewhere" not in sight.taken_by
    assert sight.through.value + sight.taken_by["screen"].value == pytest.approx(1.0)


def test_right_under_it_the_screen_takes_all_and_aside_nothing(half_screened):
    (covered,) = who_shades(half_screened, spots.find_spot(half_screened, 0.18, 0.20))
    assert covered.through.value == 0.0
    assert covered.taken_by["screen"].value == pytest.approx(1.0)
    (free,) = who_shades(half_screened, spots.find_spot(half_screened, 0.45, 0.20))
    assert free.through.value == 1.0
    assert free.taken_by == {}


def test_hills_of_soil_count():
    hill = TANK.replace('depth = "2 cm"', 'along = "x"\nprofile = [["0 cm", "2 cm"], ["25 cm", "2 cm"], '
                        '["29 cm", "13 cm"], ["33 cm", "2 cm"], ["60 cm", "2 cm"]]')  # fmt: skip
    res = traced(
        hill.format(level="15 cm", size="2 cm").replace('["30 cm", "20 cm"]', '["52 cm", "20 cm"]'), 50_000
    )
    (sight,) = who_shades(res, spots.find_spot(res, 0.22, 0.20))
    assert sight.taken_by["soil"].value > 0.9


def test_straight_light_is_what_a_black_box_gets():
    """Panes of bonded black film send nothing back: all light on the soil is straight. Against the tracer."""
    black = "\n[tank.panes]\n" + "\n".join(
        f'{side} = {{ state = "bonded film", colour = "black" }}'
        for side in ("front", "back", "left", "right")
    )
    text = TANK.format(level="15 cm", size="10 cm").replace("[water]", f"{black}\n[water]", 1)
    res = traced(
        text.replace('depth = "2 cm"', 'depth = "2 cm"\nmaterial = { reflectance = 0.0 }'), 2_000_000
    )
    for x, y in ((0.30, 0.20), (0.20, 0.12), (0.48, 0.30)):
        spot = spots.find_spot(res, x, y, radius_m=0.02)
        (sight,) = who_shades(res, spot)
        counted = spot.mean(maps.ppfd(res, "soil"))
        water = 0.99  # absorption of pure water over 13 cm, white light
        limit = 4 * math.hypot(float(counted.std_err), float(sight.unshaded.std_err)) / counted.value + 0.01
        assert sight.unshaded.value * water == pytest.approx(float(counted.value), rel=limit)


def test_two_lamps_are_told_apart_and_dimmed():
    second = TANK.format(level="15 cm", size="4 cm").partition("[[fixture]]")[2].partition("[run]")[0]
    second = second.replace('"lamp"', '"side"').replace('["30 cm", "20 cm"]', '["10 cm", "20 cm"]')
    slab = SLAB.format(name="screen", size="10 cm", x="20 cm", y="20 cm", z="10 cm")
    res = traced(TANK.format(level="15 cm", size="4 cm") + "\n[[fixture]]" + second + slab, 50_000)
    spot = spots.find_spot(res, 0.30, 0.20)
    lamp, side = who_shades(res, spot)
    assert (lamp.fixture, side.fixture) == ("lamp", "side")
    assert lamp.through.value == 1.0
    assert side.taken_by["screen"].value == pytest.approx(1.0, abs=0.05)
    off = who_shades(res, spot, {"side": 0.0})[1]
    assert off.unshaded.value == 0.0 and np.isnan(off.through.value)
