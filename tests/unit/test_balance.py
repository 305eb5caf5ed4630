"""Settings for all zones at once, against plain search, against closed forms, and against their own claims."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest

import synthetic
from underlit.errors import StudyError
from underlit.metrics import colour, maps, zones
from underlit.metrics.balance import balance
from underlit.metrics.colour_window import ColourWindow
from underlit.metrics.spread import quantiles

TWO_ZONES = """
[[plant]]
name = "carpet"
band = [{low}, 90]
target = {carpet}
ceiling = {most}
from = ["5 cm", "3 cm"]
to = ["55 cm", "12 cm"]

[[plant]]
name = "corner"
band = [20, 60]
target = {corner}
ceiling = {ceiling}
from = ["2 cm", "18 cm"]
to = ["20 cm", "28 cm"]
"""


def with_zones(res, carpet=45, corner=50, ceiling=90, most=120, low=30):
    head, _, rest = res.scene_text.partition("[[plant]]")
    tail = rest[rest.index("[[fixture]]") :]
    text = TWO_ZONES.format(carpet=carpet, corner=corner, ceiling=ceiling, most=most, low=low)
    return dataclasses.replace(res, scene_text=f"{head}{text}\n{tail}")


@pytest.fixture(scope="module")
def traced():
    return synthetic.result(cell_m=0.02)


def levels(res, settings):
    """Median and P90 of each zone."""
    reports = [zones.report(res, zone, settings) for zone in zones.find_zones(res)]
    return np.array([r.median.value for r in reports]), np.array([r.p90.value for r in reports])


def watts(res, settings):
    return float(settings @ [channel.power_w for channel in res.channels])


def grid_search(res, step, settings_of):
    """Least watts of all settings on a grid that meet every target under every ceiling."""
    plants = [zone.plant for zone in zones.find_zones(res)]
    by_zone = [(z, maps.ppfd_by_channel(res, z.surface)) for z in zones.find_zones(res)]
    best = math.inf
    for factors in itertools.product(np.arange(0, 1 + 1e-9, step), repeat=2):
        settings = settings_of(*factors)
        light = [(z, settings @ each.value) for z, each in by_zone]
        found = [quantiles(cells[z.cells] / z.open_share, z.share, (0.5, 0.9)) for z, cells in light]
        pairs = zip(found, plants, strict=True)
        if all(median >= plant.target and p90 <= plant.ceiling for (median, p90), plant in pairs):
            best = min(best, watts(res, settings))
    return best


def test_two_fixtures_take_no_more_watts_than_any_on_a_grid(traced):
    res = with_zones(traced)
    found = balance(res)
    settings = found.settings.value
    median, p90 = levels(res, settings)
    assert found.possible
    assert np.all(median >= [44.9, 49.9])
    assert np.all(p90 <= [120.1, 90.1])
    assert settings[0] == settings[1]  # the bar keeps its mix
    best = grid_search(res, 0.02, lambda bar, clip: np.array([bar, bar, clip]))
    assert watts(res, settings) <= best * 1.002
    assert watts(res, settings) >= best * 0.95  # the grid is coarse, the answer no miracle


def test_free_channels_take_no_more_watts_than_any_on_a_grid(traced):
    res = with_zones(traced)
    found = balance(res, free=True)
    assert found.possible
    best = grid_search(res, 0.02, lambda red, clip: np.array([0.0, red, clip]))
    best = min(best, grid_search(res, 0.02, lambda white, red: np.array([white, red, 0.0])))
    assert float(found.power_w.value) <= best * 1.002
    assert float(found.power_w.value) <= float(balance(res).power_w.value) * 1.001


def test_one_fixture_is_dimmed_as_one_setting_for_all(traced):
    """Fixture by fixture with one fixture alone is the common setting, in closed form."""
    res = with_zones(traced, corner=30, ceiling=45)
    lone = res.with_channels([dataclasses.replace(c, fixture="lamp") for c in res.channels])
    found = balance(lone)
    together = zones.dim_all_to(lone, zones.find_zones(lone))
    assert found.settings.value[0] == pytest.approx(together.percent.value / 100, rel=1e-4)
    assert found.settings.std_err[0] == pytest.approx(together.percent.std_err / 100, rel=0.05)
    assert together.binds in found.binds


def test_impossible_wishes_name_what_stands_in_the_way(traced):
    res = with_zones(traced, carpet=60, ceiling=60)
    found = balance(res)
    assert not found.possible
    assert "ceiling of corner" in found.binds
    short = {one.zone.plant.name: one.short for one in found.zones}
    median, p90 = levels(res, found.settings.value)
    assert short["carpet"] == pytest.approx(1 - median[0] / 60, abs=0.01)
    assert p90[1] == pytest.approx(60, rel=0.01)
    factor = found.would_do["ceiling of corner"]
    assert factor > 1.01
    assert balance(with_zones(traced, carpet=60, ceiling=60 * factor * 1.02)).possible
    assert not balance(with_zones(traced, carpet=60, ceiling=60 * factor * 0.95)).possible


def test_lamps_that_are_too_weak_are_said_to_be(traced):
    res = with_zones(traced, carpet=100, most=500, ceiling=500)
    found = balance(res)
    assert not found.possible
    assert {"full power of bar / white", "full power of bar / red", "full power of clip / white"} & set(
        found.binds
    )
    np.testing.assert_allclose(found.settings.value, 1.0, atol=1e-4)


def test_watts_are_kept(traced):
    res = with_zones(traced)
    needed = float(balance(res).power_w.value)
    found = balance(res, watts=0.8 * needed)
    assert not found.possible
    assert float(found.power_w.value) == pytest.approx(0.8 * needed, rel=1e-4)
    assert found.power_w.std_err < 1e-3  # the limit is no estimate
    (name,) = (name for name in found.binds if name.startswith("limit of"))
    assert found.would_do[name] == pytest.approx(1 / 0.8, rel=0.05)
    own = balance(res, watts={"clip": 2.0})
    assert watts(res, own.settings.value * [0, 0, 1]) <= 2.0 + 1e-6


def test_settings_stay_under_their_own_limit(traced):
    found = balance(with_zones(traced), most={"clip": 0.1})
    assert found.settings.value[2] <= 0.1 + 1e-6


@pytest.mark.parametrize("where", ["soil", "lamp"])
def test_colour_stays_within_its_window(traced, where):
    res = with_zones(traced, carpet=30, corner=25)
    free = balance(res, free=True)
    found = balance(res, window=ColourWindow(4500, 6000, 0.006), window_at=where)
    assert found.possible

    def shade(settings):
        light = settings @ np.array([c.spectrum for c in res.channels])
        return colour.cct_duv(light if where == "lamp" else maps.spectrum(res, "soil", settings).value)

    cct_k, duv = shade(found.settings.value)
    assert 4480 <= cct_k <= 6020
    assert abs(duv) <= 0.0062
    assert float(found.power_w.value) >= float(free.power_w.value) * 0.999
    assert any(name.startswith("colour window") for name in found.binds)
    outside = free.settings.value @ np.array([c.spectrum for c in res.channels])
    assert (
        not 4500 <= colour.describe(outside + 1e-12).cct_k <= 6000
        or abs(colour.describe(outside).duv) > 0.006
    )


def test_colour_that_no_mix_has_leaves_the_lamps_off(traced):
    found = balance(with_zones(traced), window=ColourWindow(2000, 2200, 0.002))
    assert not found.possible
    assert np.all(found.settings.value == 0.0)
    assert any(name.startswith("colour window") for name in found.binds)


@pytest.mark.parametrize(
    ("options", "message"), [({"watts": 0.0}, "more than 0"), ({"watts": {"lamp": 3}}, "lamp")]
)
def test_impossible_limits_are_refused(traced, options, message):
    with pytest.raises(StudyError, match=message):
        balance(with_zones(traced), **options)


@pytest.mark.statistical
def test_errors_of_settings_hold_over_repeated_traces():
    """24 traces know a spread to 15 % (one sigma): 60 % is 4 sigma. No setting lies at a bound here."""
    traces = (synthetic.result(seed=seed, photons=10_000, cell_m=0.02) for seed in range(24))
    found = [
        balance(with_zones(trace, carpet=50, corner=55, ceiling=150, most=150), most=3.0) for trace in traces
    ]
    for channel in (0, 2):
        values = [one.settings[channel] for one in found]
        assert all(0.1 < value.value < 2.9 for value in values)
        spread = np.std([value.value for value in values], ddof=1)
        claimed = np.sqrt(np.mean([value.std_err**2 for value in values]))
        assert claimed == pytest.approx(spread, rel=0.6)
