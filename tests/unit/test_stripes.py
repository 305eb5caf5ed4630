"""Colour stripes and the ends of the light, against patterns of known size."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import synthetic
from underlit.metrics import ends
from underlit.metrics.estimate import Estimate
from underlit.metrics.stripes import stripes, variation_of_ratio


def noisy_ratio(true, noise, seed, cells=3000, replicates=16):
    """Red and blue whose ratio varies by `true` over cells, each with a noise of its own."""
    rng = np.random.default_rng(seed)
    blue = rng.uniform(50, 150, cells)
    red = blue * (1 + true * rng.standard_normal(cells))
    per_replicate = noise * np.sqrt(replicates)
    samples = [each * (1 + per_replicate * rng.standard_normal((replicates, cells))) for each in (red, blue)]
    return Estimate(samples[0]), Estimate(samples[1])


@pytest.mark.parametrize(("true", "noise"), [(0.2, 0.05), (0.1, 0.1), (0.05, 0.05)])
def test_noise_is_taken_off(true, noise):
    """With as much noise as pattern the plain coefficient of variation is far too high."""
    red, blue = noisy_ratio(true, noise, 1)
    found = variation_of_ratio(red, blue)
    plain = (red.value / blue.value).std() / (red.value / blue.value).mean()
    assert found.value == pytest.approx(true, rel=0.12)
    if noise >= true:
        assert plain > 1.4 * true


def test_even_colour_has_no_stripes():
    red, blue = noisy_ratio(0.0, 0.05, 2)
    assert variation_of_ratio(red, blue).value < 0.02


@pytest.mark.statistical
def test_error_of_the_index_holds():
    found = [variation_of_ratio(*noisy_ratio(0.1, 0.06, seed, cells=400)) for seed in range(60)]
    # The pattern itself is drawn anew each time; its share of the spread is that of a standard deviation of 400 cells.
    pattern = 0.1 / np.sqrt(2 * 400)
    spread = np.std([one.value for one in found], ddof=1)
    claimed = np.sqrt(np.mean([one.std_err**2 for one in found]) + pattern**2)
    assert claimed == pytest.approx(spread, rel=0.4)


def striped(res, period_m, amount):
    """Red in stripes along x, blue even; the light of the clip alone."""
    soil = res.surfaces["soil"]
    x = soil.cell_centre_m[:, 0]
    wave = np.zeros((2, 2, soil.n_cells, 16))
    red = res.wavelength_nm > 590
    wave[:, 1, :, red] = (1 + amount * np.sign(np.sin(2 * np.pi * x / period_m)))[None]
    wave[:, 1, :, ~red] = 1.0
    lit = dataclasses.replace(res)
    lit._cache["soil"] = wave * soil.cell_area_m2[:, None]
    return lit


def test_stripes_of_a_known_depth():
    """Red that goes up and down by a fifth: a coefficient of variation of 0.2."""
    res = synthetic.result(photons=1_000, cell_m=0.01)
    index = stripes(striped(res, 0.04, 0.2), {"bar": 0}).index
    assert index.value == pytest.approx(0.2, rel=0.02)
    assert stripes(striped(res, 0.04, 0.0), {"bar": 0}).index.value == pytest.approx(0.0, abs=1e-9)


def test_finer_cells_are_joined_and_coarser_ones_told():
    fine = synthetic.result(photons=1_000, cell_m=0.005)
    assert stripes(fine).cell_m == pytest.approx(0.01)
    assert stripes(synthetic.result(photons=1_000, cell_m=0.03)).cell_m == pytest.approx(0.03)
    # Stripes of two fine cells vanish within one joined cell, but for the few that the ball covers half.
    assert stripes(striped(fine, 0.01, 0.2), {"bar": 0}).index.value < 0.02


def test_light_without_blue_has_no_index():
    res = synthetic.result(photons=1_000, cell_m=0.02)
    assert np.isnan(stripes(res, {"bar/white": 0, "clip": 0}).index.value)


def test_ends_add_up_and_spill_is_what_leaves():
    res = synthetic.result(photons=5_000, cell_m=0.03)
    groups = ends.grouped(res)
    assert sum(group.value for group in groups.values()) == pytest.approx(100.0)
    assert set(groups) == {"soil", "water", ends.ROOM, ends.HARDSCAPE}
    each = dict(zip(res.budget_names, ends.shares(res).value, strict=True))
    assert ends.spill(res).value == pytest.approx(
        each["out through the panes"] + each["spill over the rim"], rel=1e-9
    )


def test_every_end_that_the_tracer_knows_has_a_group():
    from underlit.kernels.arrays import SINK_NAMES

    res = synthetic.result(photons=1_000, cell_m=0.03)
    groups = {name: ends.group_of(res, name) for name in SINK_NAMES}
    assert ends.HARDSCAPE not in groups.values()
    room = {name for name, group in groups.items() if group == ends.ROOM}
    assert room == {
        name for name in SINK_NAMES if name.startswith(("past", "reflected", "back out", "out of"))
    }
    assert ends.group_of(res, "absorbed by ball") == ends.HARDSCAPE
    assert ends.group_of(res, "absorbed by carpet") == ends.PLANTS
