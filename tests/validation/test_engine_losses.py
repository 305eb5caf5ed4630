"""What takes light by a plain factor: water by wavelength (Beer and Lambert), dirt, braces, what lies on a lid."""

from dataclasses import replace

import numpy as np
import pytest

from bench import NO_GLASS, bands, layout, pencil, shine, slant, tank_text
from underlit.scene.loader import from_text
from underlit.tracer.pack import pack
from zcheck import agree, disagree

pytestmark = [pytest.mark.validation, pytest.mark.statistical]


def left_after(water, nodes_nm, depth_m=0.4):
    """Share of collimated light left after `depth_m` of water without a surface, per node."""
    text = tank_text("30 cm", "30 cm", "50 cm", f"{depth_m + 0.001} m").replace('type = "pure"', water)
    packed = pack(from_text(text), wavelength_nm=np.array(nodes_nm, float))
    packed.arrays.reflectance[:] = 0.0
    packed = replace(packed, arrays=packed.arrays._replace(tank=packed.arrays.tank._replace(n_water=1.0)))
    shone = shine(packed, pencil((0.15, 0.15, 0.55), (0, 0, -1)), 1 << 8, replicates=2)
    return shone.on("soil").sum(axis=1).mean(axis=0)


def test_pure_water():
    """WA-07: over 0.40 m, absorption of Pope and Fry 1997 (to 700 nm) and Smith and Baker 1981, at their 22 degC."""
    got = left_after('type = "pure"\ntemperature = "22 degC"', [450, 550, 650, 700, 740])
    np.testing.assert_allclose(got, [0.9963, 0.9777, 0.8728, 0.7791, 0.3860], atol=2e-4)


def test_dissolved_colour():
    """WA-10: a(440) exp(-S (lambda - 440)) on top of pure water."""
    nodes = [440, 500, 550, 650]
    stained = left_after('type = "pure"\ncolour_a440 = "2 1/m"\ncolour_slope = "0.015 1/nm"', nodes)
    pure = left_after('type = "pure"', nodes)
    expected = np.exp(-0.4 * 2.0 * np.exp(-0.015 * (np.array(nodes) - 440.0)))
    np.testing.assert_allclose(stained / pure, expected, rtol=2e-5)


def test_dirt_at_each_crossing():
    """Through two panes of index 1, one of them with dirt that takes a fifth."""
    clear = np.array([1.0, 1.0, 0.8, 1.0, 1.0])
    packed = layout(tank_text("30 cm", "20 cm", "20 cm", "0 cm"), tank=NO_GLASS | {"clear": clear})
    shone = shine(packed, pencil((0.15, -0.1, 0.1), (0.1, 1.0, 0.0)), 1 << 8, replicates=2)
    np.testing.assert_allclose(shone.ended("out of the back"), 0.8, atol=1e-6)
    np.testing.assert_allclose(shone.ended("absorbed by dirt"), 0.2, atol=1e-6)


def test_brace():
    """Half of an even sheet of light falls on a brace that lets 30 % through."""
    more = '[[tank.brace]]\nfrom = ["0 cm", "0 cm"]\nto = ["15 cm", "20 cm"]\ntransmittance = 0.3\n'
    packed = layout(tank_text("30 cm", "20 cm", "20 cm", "0 cm", more=more), tank=NO_GLASS)
    packed.arrays.reflectance[:] = 0.0
    for x, expected in ((0.07, 0.3), (0.23, 1.0)):
        shone = shine(packed, pencil((x, 0.1, 0.3), (0, 0, -1)), 1 << 14)
        soil = shone.ended("absorbed by soil")[:, :1]
        np.testing.assert_allclose(shone.ended("absorbed by lid")[:, 0], 1.0 - expected, atol=1e-6)
        if expected == 1.0:
            np.testing.assert_allclose(soil, 1.0, atol=1e-6)
        else:
            agree(soil, [expected], resolves=0.02)  # roulette: what is left is all or nothing
            disagree(soil, [1.02 * expected])


@pytest.mark.parametrize(
    ("material", "condition", "left"),
    [("float", "lived-in", 0.93), ("float", "neglected", 0.75), ("acrylic", "condensation", 0.78)],
)
def test_what_lies_on_a_lid(material, condition, left):
    more = f'[tank.lid]\nmaterial = "{material}"\ncondition = "{condition}"\nthickness = "4 mm"\n'
    packed = layout(
        tank_text("30 cm", "20 cm", "20 cm", "0 cm", more=more),
        tank=NO_GLASS,
        cover={"lid_n": 1.0, "lid_a_per_m": bands(25.0)},
    )
    packed.arrays.reflectance[:] = 0.0
    shone = shine(packed, pencil((0.1, 0.1, 0.3), slant(30.0)), 1 << 12)
    expected = left * np.exp(-25.0 * 0.004 / np.cos(np.radians(30.0)))
    agree(shone.ended("absorbed by soil")[:, :1], [expected], resolves=0.02)
    disagree(shone.ended("absorbed by soil")[:, :1], [expected * 1.02])
