"""The engine against a plain ray-tracer written another way (`naive`), in a clear tank with a lamp off the middle."""

import numpy as np
import pytest

import naive
from bench import bands, layout, paint, rectangle, shine
from zcheck import agree_pair, disagree_pair

pytestmark = [pytest.mark.validation, pytest.mark.statistical]

TANK = naive.Tank(
    lx=0.30,
    ly=0.20,
    lz=0.24,
    glass=0.012,
    water=0.20,
    soil=0.02,
    n_water=1.333,
    n_glass=1.52,
    a_water=0.5,
    a_glass=8.0,
)
LAMP = (0.10, 0.08, 0.27), (0.08, 0.05)
TEXT = """
[tank]
length = "30 cm"
width = "20 cm"
height = "24 cm"
thickness = "12 mm"
[tank.panes]
bottom = "clean"
[water]
level = "20 cm"
scattering = "0 1/m"
[substrate]
depth = "2 cm"
[run]
cell = "5 cm"
planes = []
[[fixture]]
shape = "panel"
size = ["8 cm", "5 cm"]
height = "7 cm"
channel = [{ spectrum = "D65", power = "9 W", flux = "10 umol/s" }]
"""


@pytest.fixture(scope="module")
def plain():
    """Twelve runs of the plain tracer: soil cells, then the four panes, shape (12, 28)."""
    runs = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        soil, out = naive.trace(TANK, *naive.lamp(40_000, *LAMP, rng), rng)
        runs.append(np.concatenate([soil.T.ravel(), out]))
    return np.array(runs)


@pytest.mark.parametrize("gathers", [False, True])
def test_plain_tracer(plain, gathers):
    packed = layout(
        TEXT,
        tank={
            "n_water": TANK.n_water,
            "n_glass": TANK.n_glass,
            "a_water_per_m": bands(TANK.a_water),
            "a_glass_per_m": bands(TANK.a_glass),
        },
    )
    paint(packed, packed.arrays.soil.surface, 0.0)
    shone = shine(packed, rectangle(*LAMP), 1 << 15, gathers=gathers)
    panes = np.stack(
        [shone.ended(f"out of the {name}")[:, 0] for name in ("left", "right", "front", "back")], axis=1
    )
    got = np.concatenate([shone.on("soil")[:, :, 0], panes], axis=1)
    agree_pair(got, plain, resolves=0.02)
    disagree_pair(got, 1.02 * plain)
    disagree_pair(
        got, np.concatenate([plain[:, :24].reshape(-1, 4, 6)[:, ::-1].reshape(-1, 24), plain[:, 24:]], axis=1)
    )
