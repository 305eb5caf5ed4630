"""Reported errors against the spread over fifty traces: what a keeper reads off must vary as much as it says."""

from __future__ import annotations

import numpy as np
import pytest

from underlit.metrics import depth, ends, light, maps, shade, spots, stripes, zones
from underlit.scene import scene_from_text
from underlit.scene.bare import without_hardscape
from underlit.tracer import trace

SEEDS = 50
PHOTONS = 24_000

TANK = """
[tank]
length = "24 cm"
width = "16 cm"
height = "20 cm"
thickness = "4 mm"
[water]
level = "16 cm"
type = "straw"
[substrate]
depth = "2 cm"
[[hardscape]]
name = "slab"
shape = "slab"
patch = "3 cm"
size = ["6 cm", "5 cm", "2 cm"]
position = ["16 cm", "10 cm", "6 cm"]
[[plant]]
name = "carpet"
band = [60, 120]
target = 80
from = ["1 cm", "1 cm"]
to = ["23 cm", "15 cm"]
[[plant]]
name = "moss"
on = "slab"
band = [15, 60]
[[fixture]]
name = "bar"
shape = "bar"
size = ["18 cm", "3 cm"]
position = ["12 cm", "8 cm"]
height = "6 cm"
[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "8 W"
flux = "4 umol/s"
leds = 6
[[fixture.channel]]
name = "red"
spectrum = "red 660"
power = "3 W"
flux = "1.5 umol/s"
leds = 3
beam = "60 deg"
[run]
cell = "1 cm"
planes = ["8 cm"]
plane_cell = "2 cm"
"""


def answers(res, bare):
    """Numbers of every kind that commands print, as estimates."""
    found = {}
    for zone in zones.find_zones(res):
        report, name = zones.report(res, zone), zone.plant.name
        keys = ("p10", "median", "p90", "mean", "in_band", "margin", "dli", "dim_to")
        found |= {f"{name} {key}": getattr(report, key) for key in keys}
    found["all dim to"] = zones.dim_all_to(res, zones.find_zones(res)).percent
    spot = spots.find_spot(res, 0.08, 0.06)
    for where, spectrum in (("soil", maps.spectrum(res, "soil")), ("spot", spot.spectrum(res))):
        shown = light.describe(spectrum, "McCree field").as_dict()
        found |= {f"{where} {key}": shown[key] for key in ("par", "ypf", "pur_share", "cct_k", "duv", "red")}
    found["red at the spot"] = spot.by_channel(res)[1]
    profile = depth.at_spot(res, 0.08, 0.06)
    found |= {f"depth {i}": profile.ppfd[i] for i in range(3)}
    found["spill"] = ends.spill(res)
    found["stripes"] = stripes.stripes(res).index
    over = shade.shade(res, bare).over()
    found |= {"left of the light": over.factor, "under half": over.dark_share}
    return found


@pytest.fixture(scope="module")
def found():
    """Values and claimed errors by name, each of shape (SEEDS,)."""
    scene, bare = scene_from_text(TANK), scene_from_text(without_hardscape(TANK))
    rows: dict[str, list[tuple[float, float]]] = {}
    for seed in range(SEEDS):
        pair = (trace(one, photons=PHOTONS, seed=seed) for one in (scene, bare))
        for name, value in answers(*pair).items():
            rows.setdefault(name, []).append((float(value.value), float(value.std_err)))
    return {name: np.array(pairs).T for name, pairs in rows.items()}


@pytest.mark.statistical
def test_spread_over_seeds_is_the_reported_error(found):
    """Fifty traces know a spread to 10 % (one sigma): 45 % is 4.5 sigma, for some 35 numbers."""
    assert len(found) > 30
    ratio = {
        name: np.sqrt(np.mean(errors**2)) / np.std(values, ddof=1) for name, (values, errors) in found.items()
    }
    assert not {name: value for name, value in ratio.items() if not 1 / 1.45 < value < 1.45}


@pytest.mark.statistical
def test_two_standard_errors_hold_most_values(found):
    """Of all values about 94 % lie within two reported errors of the mean (15 degrees of freedom)."""
    some = (  # a share of an area can be 0 without error
        (values - values.mean(), errors) for values, errors in found.values() if errors.all()
    )
    z = np.concatenate([offset / error for offset, error in some])
    assert 0.90 < np.mean(np.abs(z) < 2.0) < 0.98
