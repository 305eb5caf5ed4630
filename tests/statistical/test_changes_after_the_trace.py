"""Dim, mix, age or recolour the lamps after the trace: the same as tracing them so, within errors, and at once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from underlit.metrics import ageing, colour, light, maps, revise, zones
from underlit.metrics.estimate import Estimate
from underlit.scene import scene_from_text
from underlit.tracer import trace

SCENES = Path(__file__).parents[2] / "scenes"

TANK = """
[tank]
length = "30 cm"
width = "20 cm"
height = "22 cm"
thickness = "5 mm"
[water]
level = "18 cm"
type = "light tea"
[substrate]
front = "2 cm"
back = "4 cm"
material = "brown soil"
[[hardscape]]
name = "slab"
shape = "slab"
size = ["8 cm", "6 cm", "2 cm"]
position = ["20 cm", "12 cm", "7 cm"]
material = "red-brown wood"
[[plant]]
name = "carpet"
band = [30, 90]
from = ["1 cm", "1 cm"]
to = ["29 cm", "10 cm"]
[[plant]]
name = "moss"
on = "slab"
band = [15, 60]
[[fixture]]
name = "bar"
shape = "bar"
size = ["24 cm", "5 cm"]
position = ["15 cm", "8 cm"]
height = "8 cm"
[[fixture.channel]]
name = "white"
spectrum = "{white}"
power = "8 W"
flux = "{white_flux} umol/s"
dim = {white_dim}
[[fixture.channel]]
name = "red"
spectrum = "red 660"
power = "3 W"
flux = "{red_flux} umol/s"
beam = "90 deg"
dim = {red_dim}
[[fixture]]
name = "clip"
shape = "disc"
size = "5 cm"
position = ["8 cm", "14 cm"]
height = "6 cm"
[[fixture.channel]]
name = "blue"
spectrum = "{blue}"
power = "2 W"
flux = "3 umol/s"
dim = {blue_dim}
[run]
cell = "2 cm"
planes = []
"""
AS_BUILT = {
    "white": "white 6500 K", "white_flux": 14.0, "red_flux": 6.0, "blue": "blue 450",
    "white_dim": 1.0, "red_dim": 1.0, "blue_dim": 1.0,
}  # fmt: skip


def traced(seed, photons=400_000, **changes):
    return trace(scene_from_text(TANK.format(**AS_BUILT | changes)), photons=photons, seed=seed)


@pytest.fixture(scope="module")
def once():
    return traced(seed=1)


def figures(res, dims=None) -> dict[str, Estimate]:
    """Numbers that a keeper reads off, each with its error."""
    found = {}
    for zone in zones.find_zones(res):
        report = zones.report(res, zone, dims)
        name = zone.plant.name
        found |= {
            f"{name} {key}": getattr(report, key) for key in ("p10", "median", "p90", "mean", "margin", "dli")
        }
    shown = light.describe(maps.spectrum(res, "soil", dims))
    return found | {f"soil {name}": value for name, value in shown.as_dict().items()}


CHANGES = {
    "dimmed": (
        {"white_dim": 0.6, "red_dim": 0.2, "blue_dim": 0.8},
        lambda res: (res, {"bar / white": 0.6, "bar / red": 0.2, "clip": 0.8}),
    ),
    "one lamp off": ({"blue_dim": 0.0}, lambda res: (res, {"clip": 0.0})),
    "another spectrum": (
        {"white": "warm white 3000 K", "blue": "green 525"},
        lambda res: (
            revise.with_spectrum(
                revise.with_spectrum(res, "bar / white", "warm white 3000 K"), "clip", "green 525"
            ),
            None,
        ),
    ),
    "aged": (
        {"white_flux": 14.0 * 0.85, "red_flux": 6.0 * 0.85},
        lambda res: (revise.with_output(res, {"bar": 0.85}), None),
    ),
}


@pytest.mark.statistical
@pytest.mark.parametrize("change", CHANGES)
def test_changed_afterwards_is_traced_so(once, change):
    """About 27 numbers, 30 degrees of freedom between two runs of 16 replicates: 5.5 sigma has odds of 2e-4."""
    written, later = CHANGES[change]
    res, dims = later(once)
    mine, fresh = figures(res, dims), figures(traced(seed=2, **written))
    assert set(mine) == set(fresh)
    moved = 0
    for name, value in mine.items():
        z = (value.value - fresh[name].value) / np.hypot(value.std_err, fresh[name].std_err)
        assert abs(z) < stats.t.isf(1e-5, 30), name
        before = figures(once)[name] if name in ("carpet median", "soil cct_k") else None
        if before is not None:
            moved += abs(before.value - value.value) > 20 * np.hypot(value.std_err, before.std_err)
    assert moved, "the change is large against the errors, so the test can fail"


@pytest.mark.statistical
def test_cells_agree_as_their_errors_say(once):
    """Chi-square over all soil cells of a recoloured trace against a fresh one."""
    mine = maps.ppfd(revise.with_spectrum(once, "bar / white", "warm white 3000 K"), "soil", {"clip": 0.5})
    fresh = maps.ppfd(traced(seed=3, white="warm white 3000 K", blue_dim=0.5), "soil")
    z = (mine.value - fresh.value) / np.hypot(mine.std_err, fresh.std_err)
    assert stats.kstest(z, stats.t(30).cdf).pvalue > 1e-4
    other = maps.ppfd(once, "soil", {"clip": 0.5})
    wrong = (other.value - fresh.value) / np.hypot(other.std_err, fresh.std_err)
    assert stats.kstest(wrong, stats.t(30).cdf).pvalue < 1e-4


def test_age_is_output():
    res = ageing.with_l70(traced(seed=1, photons=20_000), 20_000)
    zone = zones.find_zones(res)[0]
    left = float(ageing.light_left(10_000, 20_000))
    old = revise.with_output(res, {"bar": left, "clip": left})
    assert zones.median(old, zone).value == pytest.approx(left * zones.median(res, zone).value)


@pytest.mark.statistical
def test_colour_of_the_lamp_changes_on_the_way(once):
    """Tea takes the blue: the light on the soil is warmer than that of the lamps, after the change as well."""
    recoloured = revise.with_spectrum(once, "bar / white", "white 6500 K", flux_umol_s=30.0)
    lamp = maps.dim_settings(recoloured) @ [c.spectrum for c in recoloured.channels]
    soil = maps.spectrum(recoloured, "soil").value
    assert colour.cct_duv(soil)[0] < 0.9 * colour.cct_duv(lamp)[0]
