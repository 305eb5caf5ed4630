"""Fitting a scene to readings: intervals that hold the truth as often as they claim, and outliers."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import underlit
from small_scene import SMALL
from underlit.errors import StudyError
from underlit.scene.edit import change
from underlit.studies import fit, meter, response
from underlit.studies.readings import Head, Spot

pytestmark = pytest.mark.statistical

SCALE, COLOUR_PER_M = 0.85, 1.5
DEEP = SMALL.replace('height = "20 cm"', 'height = "45 cm"', 1).replace('width = "20 cm"', 'width = "30 cm"')
PLACES_M = ((0.05, 0.08), (0.1, 0.15), (0.15, 0.22), (0.05, 0.22), (0.15, 0.08))
SPOTS = [Spot((x, y, z)) for z in (0.08, 0.22, 0.37) for x, y in PLACES_M]


@pytest.fixture(scope="module")
def scene():
    return underlit.scene_from_text(DEEP)


@pytest.fixture(scope="module")
def model(scene, tmp_path_factory):
    return response.trace_response(
        scene, SPOTS, tmp_path_factory.mktemp("traces"), Head(), photons=200_000, seed=1
    )


def noisy(model, rng, scale=SCALE, colour=COLOUR_PER_M):
    """Readings with 5 % of noise, by a hand that is 1 cm off in each direction."""
    true = model.readings(np.array([scale]), colour)
    astray = np.exp((model.slope * 0.01 * rng.standard_normal(model.slope.shape)).sum(axis=1))
    return true * astray * (1 + 0.05 * rng.standard_normal(len(true)))


def solved(model, values):
    spots = [
        dataclasses.replace(spot, reading=float(value)) for spot, value in zip(SPOTS, values, strict=True)
    ]
    return fit.solve(model, spots, 0.3)


def test_intervals_hold_the_truth_in_90_to_99_of_100_trials(model):
    rng, held = np.random.default_rng(5), np.zeros(2)
    for _ in range(200):
        found = solved(model, noisy(model, rng))
        held += [
            found.factors[0].low <= SCALE <= found.factors[0].high,
            found.colour_per_m.low <= COLOUR_PER_M <= found.colour_per_m.high,
        ]
    assert (held >= 180).all(), held
    assert (held <= 198).all(), held


def test_clear_water_is_held_by_the_interval_too(model):
    rng = np.random.default_rng(6)
    held = [solved(model, noisy(model, rng, 1.0, 0.05)).colour_per_m for _ in range(100)]
    assert sum(q.low <= 0.05 <= q.high for q in held) >= 88
    assert min(q.low for q in held) == 0.0


def test_a_wrong_reading_is_flagged_and_does_no_harm(model):
    rng = np.random.default_rng(7)
    values = noisy(model, rng)
    values[4] *= 2.0
    found = solved(model, values)
    assert np.flatnonzero(found.outlier).tolist() == [4]
    assert found.factors[0].low <= SCALE <= found.factors[0].high


def test_a_fresh_trace_of_another_tank_is_recovered(scene, model, tmp_path):
    """Readings from a trace of the true tank itself, other seed, at a colour between those traced for the fit."""
    true = change(
        scene, {"fixture.clip.channel.white.efficacy": "1.36 umol/J", "water.colour_a440": "1.7 1/m"}
    )
    read = meter.predict(true, SPOTS, tmp_path, photons=400_000, seed=9).shown.value
    spots = [dataclasses.replace(spot, reading=float(value)) for spot, value in zip(SPOTS, read, strict=True)]
    found = fit.solve(model, spots, 0.3, noise=0.01, placing_m=0.0)
    assert found.factors[0].low <= 0.85 <= found.factors[0].high
    assert found.colour_per_m.low <= 1.7 <= found.colour_per_m.high
    corrected = found.corrected(scene)
    assert corrected.fixture[0].channel[0].efficacy == pytest.approx(1.36, rel=0.05)
    assert corrected.water.colour_a440 == pytest.approx(found.colour_per_m.value, abs=0.006)


def test_lamps_that_were_read_alone_get_factors_of_their_own():
    settings = np.array([[1.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 1.0, 1.0]])
    groups, belongs = response.groups_of(settings, ["bar / white", "bar / red", "clip / white"])
    assert groups == [("bar / white", "bar / red"), ("clip / white",)]
    assert belongs.tolist() == [[1, 0], [1, 0], [0, 1]]


def test_one_depth_in_still_light_cannot_tell_colour_from_output(model):
    """The same reading again and again: no slope to go by."""
    alike = dataclasses.replace(
        model, shown=np.repeat(model.shown[:, :1], 15, axis=1), slope=np.zeros((15, 3)), rel_err=np.zeros(15)
    )
    with pytest.raises(StudyError, match="cannot tell"):
        solved(alike, np.full(15, 50.0))


def test_too_few_readings_are_refused(model):
    with pytest.raises(StudyError, match="expected 4 or more"):
        fit.solve(model, [dataclasses.replace(spot, reading=50.0) for spot in SPOTS[:3]], 0.3)
