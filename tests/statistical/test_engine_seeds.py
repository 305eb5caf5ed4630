"""Same seed, same bits; other seeds, other noise about the same value, as large as the standard error says."""

from functools import partial

import numpy as np
import pytest
from scipy import stats

from bench import bands, lamp_of, layout, pencil, shine, tank_text
from underlit.metrics.estimate import Estimate
from underlit.scene.loader import from_text
from underlit.tracer import trace

pytestmark = pytest.mark.statistical

TEXT = """
[tank]
length = "20 cm"
width = "16 cm"
height = "18 cm"
thickness = "5 mm"
[tank.panes]
back = { state = "bonded film", colour = "white" }
[water]
level = "15 cm"
type = "straw"
[substrate]
material = "pale sand"
front = "2 cm"
back = "4 cm"
[[hardscape]]
name = "rock"
shape = "stone"
size = ["6 cm", "5 cm", "6 cm"]
position = ["13 cm", "9 cm"]
triangles = 500
[floaters]
cover = 0.3
[run]
cell = "2 cm"
plane_cell = "4 cm"
planes = ["8 cm"]
replicates = 16
[[fixture]]
shape = "panel"
size = ["10 cm", "6 cm"]
height = "7 cm"
[[fixture.channel]]
name = "white"
spectrum = "D65"
power = "9 W"
flux = "10 umol/s"
leds = 4
[[fixture.channel]]
name = "red"
spectrum = "red 660"
power = "5 W"
flux = "3 umol/s"
beam = "60 deg"
"""


def same(one, other):
    return np.array_equal(one.budget_sums, other.budget_sums) and all(
        np.array_equal(one.sums[name], other.sums[name]) for name in one.surfaces
    )


def test_threads_do_not_change_a_bit():
    run = partial(trace, from_text(TEXT), photons=400_000)
    alone = run(seed=5, threads=1)
    assert same(alone, run(seed=5, threads=2))
    assert same(alone, run(seed=5, threads=3))
    assert not same(alone, run(seed=6, threads=1))


def test_precision_stops_at_the_same_photon_for_any_threads():
    run = partial(trace, from_text(TEXT), precision=0.05)
    alone, two = run(seed=5, threads=1), run(seed=5, threads=2)
    assert alone.stop_reason == "precision"
    assert alone.rel_err <= 0.05
    assert same(alone, two)
    assert np.array_equal(alone.photons, two.photons)


@pytest.mark.parametrize("gathers", [True, False])
def test_being_watched_does_not_change_a_bit(gathers):
    """Errors between layers are worked out where somebody asks for them, or where they steer what is done next."""
    text = TEXT if gathers else TEXT.replace('type = "straw"', 'surface_slope_rms = "5 deg"')
    assert layout(text).arrays.gathers == gathers
    run, seen = partial(trace, from_text(text), photons=200_000, seed=5), []
    watched = run(progress=seen.append)
    assert len(seen) > 2
    assert same(watched, run())


def test_a_batch_can_be_cut_anywhere():
    """Photons are numbered: 3000 of them at once, or 1000 and 2000, are the same; sums differ by rounding alone."""
    packed = layout(TEXT)
    run = partial(shine, packed, lamp_of(TEXT), replicates=2, seed=3, gathers=False)
    whole, first, rest = run(3000), run(1000), run(2000, first=1000)
    np.testing.assert_allclose(whole.cells, (first.cells + 2.0 * rest.cells) / 3.0, rtol=1e-5, atol=1e-9)
    np.testing.assert_allclose(whole.sinks, (first.sinks + 2.0 * rest.sinks) / 3.0, rtol=1e-9, atol=1e-9)
    assert np.abs(first.cells - rest.cells).max() > 1e-3


def test_many_photons_of_one_weight_in_one_cell():
    """A ray straight down into a map of one cell: sums in single precision must not grow until weights are rounded off.

    Each of the short batches is good to 3e-5 of its sum, see `_SUMMED_EVERY`.
    """
    text = tank_text("60 cm", "30 cm", "36 cm", "30 cm", cell="60 cm")
    packed = layout(text, tank={"a_water_per_m": bands(np.linspace(0.1, 5.0, 16))})
    run = partial(shine, packed, pencil((0.2, 0.1, 0.5), (0, 0, -1)), replicates=2, gathers=False)
    photons, batch = 1 << 17, 1 << 10
    short = np.mean([run(batch, first=first).on("soil") for first in range(0, photons, batch)], axis=0)
    assert short.shape[1] == 1
    np.testing.assert_allclose(run(photons).on("soil"), short, rtol=6e-4)


N_SEEDS = 120


def quantities(shone):
    """Soil, its front half, one soil cell, rock, plane, light back out of the top; one band, shape (K, 6)."""
    soil = shone.on("soil")[:, :, 8]
    parts = [
        soil.mean(axis=1),
        soil[:, : soil.shape[1] // 2].mean(axis=1),
        soil[:, 33],
        shone.on("hardscape rock")[:, :, 8].sum(axis=1),
        shone.on("plane 0.080")[:, :, 8].sum(axis=1),
        shone.ended("back out of the top")[:, 8],
    ]
    return np.stack(parts, axis=1)


@pytest.fixture(scope="module", params=[False, True], ids=["photons", "gathered"])
def runs(request):
    """Small traces with many seeds: soil cells (seeds, K, C) and quantities (seeds, K, 6); and a long one."""
    packed, lamp = layout(TEXT), lamp_of(TEXT)
    run = partial(shine, packed, lamp, gathers=request.param)
    small = [run(2048, 16, seed) for seed in range(N_SEEDS)]
    cells = np.array([shone.on("soil")[:, :, 8] for shone in small])
    return cells, np.array([quantities(shone) for shone in small]), quantities(run(1 << 16, 32, 9999))


def test_other_seeds_agree(runs):
    """p-values of 120 seeds against a long run with yet another seed are uniform, for six quantities."""
    _, small, long = runs
    estimates, reference = [Estimate(samples) for samples in small], Estimate(long)
    z = np.array([(e.value - reference.value) / np.hypot(e.std_err, reference.std_err) for e in estimates])
    p = stats.t.cdf(z, df=small.shape[1] - 1)
    for column in p.T:
        assert stats.kstest(column, "uniform").pvalue > 1e-3
    wrong = np.array([(e.value - 1.02 * reference.value) / e.std_err for e in estimates])
    assert stats.kstest(stats.t.cdf(wrong[:, 0], df=small.shape[1] - 1), "uniform").pvalue < 1e-3


def variance_ratio(samples):
    """Variance of the values over the seeds, over the mean of the squared standard errors."""
    estimates = [Estimate(one) for one in samples]
    values, std_errs = np.array([e.value for e in estimates]), np.array([e.std_err for e in estimates])
    return values.var(axis=0, ddof=1) / (std_errs**2).mean(axis=0)


def test_standard_errors_are_honest_for_zone_means(runs):
    """The ratio follows F with 119 and 120 x 15 degrees of freedom; an error 20 % too small would not pass."""
    _, small, _ = runs
    ratio = variance_ratio(small)
    freedom = N_SEEDS - 1, N_SEEDS * (small.shape[1] - 1)
    low, high = stats.f.isf([1.0 - 1e-3 / 12, 1e-3 / 12], *freedom)
    assert ((ratio > low) & (ratio < high)).all(), f"{ratio}, bounds {low:.2f} to {high:.2f}"
    assert (ratio / 0.75**2 > high).any()


def test_standard_errors_are_honest_in_the_raw_cells(runs):
    """All cells together: cells are not independent, so their number is halved for the bound."""
    cells, _, _ = runs
    ratio = variance_ratio(cells)
    spread = np.sqrt(2.0 / (N_SEEDS - 1) / (0.5 * len(ratio)))
    assert abs(ratio.mean() - 1.0) < 4.0 * spread
    assert 4.0 * spread < 1.0 / 0.95**2 - 1.0  # an error 5 % too small would not pass
    p = stats.f.cdf(ratio, N_SEEDS - 1, N_SEEDS * (cells.shape[1] - 1))
    assert stats.kstest(p, "uniform").pvalue > 1e-3
