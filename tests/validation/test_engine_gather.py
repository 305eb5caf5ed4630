"""First light on the soil solved for instead of hit by chance: both ways must give the same map.

The photon loop without gathering is what the closed forms check; here it is the reference for the gather, in scenes
with all that can stand in the way or send light back.
"""

import numpy as np
import pytest

from bench import may_gather, shine
from underlit.scene.loader import from_text
from underlit.tracer.pack import pack
from underlit.tracer.sources import build_lamps
from zcheck import agree_pair, disagree_pair

pytestmark = [pytest.mark.statistical]


def scene(
    lamp, tank="", water='level = "20 cm"', floor='front = "2 cm"\nback = "5 cm"', more="", glass="6 mm"
):
    return f"""
[tank]
length = "30 cm"
width = "20 cm"
height = "24 cm"
thickness = "{glass}"
{tank}
[water]
{water}
[substrate]
material = "pale sand"
{floor}
{more}
[run]
cell = "2 cm"
planes = []
{lamp}
"""


def fixture(shape, size, height, more="", channel=""):
    return (
        f'[[fixture]]\nshape = "{shape}"\nsize = {size}\nheight = "{height}"\n{more}\n'
        f'[[fixture.channel]]\nspectrum = "D65"\npower = "9 W"\nflux = "10 umol/s"\n{channel}\n'
    )


NEAR = 'position = ["7 cm", "6 cm"]'
PANEL = fixture("panel", '["8 cm", "5 cm"]', "7 cm", NEAR)
SPOT = fixture(
    "disc",
    '"3 cm"',
    "9 cm",
    'tilt = "30 deg"\ntilt_to = "left"',
    'beam = { lens = "gaussian", fwhm = "50 deg" }',
)
TUBE = fixture("tube", '["24 cm", "16 mm"]', "5 cm", 'shade = { depth = "1 cm" }')
LEDS = fixture("panel", '["8 cm", "5 cm"]', "7 cm", NEAR, 'leds = 6\nled_size = "5 mm"\nbeam = "70 deg"')
INSIDE = fixture("bar", '["20 cm", "2 cm"]', "2 cm")
BESIDE = fixture("panel", '["20 cm", "8 cm"]', "9 cm", 'position = ["2 cm", "0 cm"]')
WINDOW = (
    '[window]\nside = "front"\ndistance = "10 cm"\nsize = ["30 cm", "40 cm"]\nexitance = "100 umol/m^2/s"\n'
)
PANES = """[tank.panes]
front = { state = "clean", dirt = 0.2 }
back = { state = "bonded film", colour = "white" }
left = { state = "dry film", colour = "mirror" }
right = { state = "dry film", colour = "black" }
"""
COVERS = """[tank.rim]
width = "1 cm"
[[tank.brace]]
from = ["9 cm", "0 cm"]
to = ["13 cm", "20 cm"]
transmittance = 0.3
"""
ROCKS = """[[hardscape]]
name = "rock"
shape = "stone"
size = ["9 cm", "7 cm", "8 cm"]
position = ["20 cm", "10 cm"]
triangles = 2000
[[hardscape]]
name = "post"
shape = "cylinder"
diameter = "2 cm"
length = "28 cm"
position = ["8 cm", "12 cm"]
"""
FLOATERS = '[floaters]\ncover = 0.7\nring = { centre = ["15 cm", "10 cm"], radius = "6 cm" }\n'
HEDGE = """[[plant]]
name = "hedge"
from = ["3 cm", "5 cm"]
to = ["20 cm", "20 cm"]
canopy = { height = "6 cm", leaf_area_index = 1.5 }
"""
RIDGES = (
    'profile = [["0 cm", "1 cm"], ["5 cm", "6 cm"], ["10 cm", "1 cm"], ["15 cm", "8 cm"], ["20 cm", "2 cm"]]'
)

SCENES = {
    "clean panes": scene(PANEL),
    "thick panes, shallow water": scene(PANEL, water='level = "6 cm"', floor='depth = "1 cm"', glass="25 mm"),
    "every pane different": scene(SPOT, PANES),
    "rim, brace, floating plants": scene(PANEL, COVERS, more=FLOATERS),
    "rocks": scene(LEDS, more=ROCKS),
    "tube in a housing": scene(TUBE),
    "cloudy, coloured": scene(PANEL, water='level = "20 cm"\ntype = "tea"\nscattering = "3 1/m"'),
    "leaves": scene(PANEL, more=HEDGE),
    "ridges": scene(SPOT, floor=RIDGES),
    "soil above the water": scene(PANEL, water='level = "5 cm"', floor=RIDGES),
    "lamp below the rim": scene(INSIDE),
    "lamp across a pane": scene(BESIDE),
    "window": scene(WINDOW),
    "window, low water": scene(WINDOW, water='level = "8 cm"'),
    "bare bottom": scene(PANEL, floor='depth = "0 cm"'),
}


@pytest.mark.parametrize("name", SCENES)
def test_gathered_or_not(name):
    text = SCENES[name]
    parsed = from_text(text)
    packed = pack(parsed)
    assert may_gather(packed.arrays)
    assert packed.arrays.gathers
    (source,) = build_lamps(parsed).sources
    photons = 1 << (17 if "window" in name or "tube" in name else 15 if name == "leaves" else 14)
    with_, without = (
        shine(packed, source, photons, 32, seed, gathers).on("soil")[:, :, [0, 8, 15]]
        for seed, gathers in ((1, True), (2, False))
    )
    # Dark cells too: light that is gathered where none can come shows there, and nowhere else.
    seen = (with_ + without).mean(axis=(0, 2)) > 1e-5 * without.sum(axis=1).mean()
    agree_pair(with_[:, seen], without[:, seen], resolves=0.02)
    shifted = np.roll(without, 1, axis=1)
    disagree_pair(with_[:, seen], shifted[:, seen])
