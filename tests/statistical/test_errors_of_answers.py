"""Reported errors against fifty traces and a long one: what a keeper reads off must be as wrong as it says.

The carpet's cells are noisy to 9 %, the patches of moss to 45 %, and to 150 % where they are darkest, with one photon
in the mean: quantiles of a map so noisy are off by more than they vary, and their errors have to say so.
"""

from __future__ import annotations

import numpy as np
import pytest

from underlit.metrics import depth, ends, light, maps, shade, spots, stripes, summary, zones
from underlit.scene import scene_from_text
from underlit.scene.bare import without_hardscape
from underlit.tracer import trace

SEEDS = 50
PHOTONS = 24_000
QUANTILES = {
    f"{zone} {key}"
    for zone in ("carpet", "moss")
    for key in ("p10", "median", "p90", "in_band", "margin", "dli", "dim_to")
} | {"soil P10", "all dim to"}
LONG = 50 * PHOTONS

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
    ground = summary.open_area(res, maps.ppfd(res, "soil"), np.ones(res.surface("soil").shape).ravel())
    found |= {"variation": ground.variation(), "soil P10": ground.quantiles(0.1)[0]}
    over = shade.shade(res, bare).over()
    found |= {"left of the light": over.factor, "under half": over.dark_share}
    return found


@pytest.fixture(scope="module")
def scenes():
    return scene_from_text(TANK), scene_from_text(without_hardscape(TANK))


@pytest.fixture(scope="module")
def found(scenes):
    """Values and claimed errors by name, each of shape (SEEDS,)."""
    rows: dict[str, list[tuple[float, float]]] = {}
    for seed in range(SEEDS):
        pair = (trace(one, photons=PHOTONS, seed=seed) for one in scenes)
        for name, value in answers(*pair).items():
            rows.setdefault(name, []).append((float(value.value), float(value.std_err)))
    return {name: np.array(pairs).T for name, pairs in rows.items()}


@pytest.fixture(scope="module")
def off(scenes, found):
    """Difference of each trace from a long one, and what error both claim, by name."""
    true = answers(*(trace(one, photons=LONG, seed=1000) for one in scenes))
    return {
        name: (values - true[name].value, np.hypot(errors, true[name].std_err))
        for name, (values, errors) in found.items()
    }


@pytest.mark.statistical
def test_values_are_as_wrong_as_they_say(off):
    """Root mean square over its claim, for some 40 numbers. Fifty traces know it to 10 % (one sigma).

    Errors of quantiles cover a bias that is itself an estimate: on maps as noisy as these they hold to a factor of two.
    """
    assert len(off) > 35
    ratio = {name: np.sqrt(np.mean(apart**2) / np.mean(errors**2)) for name, (apart, errors) in off.items()}
    bound = {name: 2.0 if name in QUANTILES else 1.6 for name in ratio}
    assert not {name: value for name, value in ratio.items() if not 1 / bound[name] < value < bound[name]}


@pytest.mark.statistical
def test_spread_over_seeds_is_the_reported_error(found):
    """For all but quantiles and what follows from them, whose error has more in it: 45 % is 4.5 sigma."""
    ratio = {
        name: np.sqrt(np.mean(errors**2)) / np.std(values, ddof=1) for name, (values, errors) in found.items()
    }
    assert not {
        name: value
        for name, value in ratio.items()
        if not 1 / 1.45 < value < (np.inf if name in QUANTILES else 1.45)
    }


@pytest.mark.statistical
def test_two_standard_errors_hold_most_values(off):
    """Of all values about 94 % lie within two reported errors of the long trace (15 degrees of freedom)."""
    some = (
        (apart, errors) for apart, errors in off.values() if errors.all()
    )  # a share may be 0 without error
    z = np.concatenate([apart / error for apart, error in some])
    assert 0.90 < np.mean(np.abs(z) < 2.0) < 0.98


@pytest.mark.statistical
def test_the_check_can_fail(off):
    """The spread alone tells less than half of what the median of the carpet is off by."""
    apart, _ = off["carpet median"]
    assert np.sqrt(np.mean(apart**2)) > 1.6 * np.std(apart, ddof=1)


@pytest.mark.statistical
def test_what_has_too_few_photons_says_so(scenes):
    """A photon or four on patches in the dark half of the moss, a hundred on the carpet; fifty times that is enough."""
    short, long = (trace(scenes[0], photons=photons, seed=3) for photons in (PHOTONS, LONG))
    flags = [[zones.report(res, zone).few for zone in zones.find_zones(res)] for res in (short, long)]
    assert flags == [[(), ("P10", "median")], [(), ()]]
