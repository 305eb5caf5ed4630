"""Spectra, zones, depth, differences, lamps and the scene drawing: numbers against the metrics and closed forms."""

import dataclasses

import numpy as np
import pytest

import synthetic
from readable import assert_readable
from underlit import figures
from underlit.errors import StudyError
from underlit.figures import compare, curves, drafting, lamp, quantities, spectrum
from underlit.figures.drawing import draw_view
from underlit.figures.reading import Reading, count_words, stretches
from underlit.metrics import buying, maps, photons, zones
from underlit.metrics.estimate import with_error
from underlit.scene import scene_from_text
from underlit.scene.use import Schedule
from underlit.scene.world import build_world
from underlit.spectra import GRID_NM

HEIGHTS_M = (0.04, 0.08, 0.12, 0.16, 0.2, 0.24, 0.28, 0.31)


@pytest.fixture(scope="module")
def res():
    return with_planes(synthetic.result(photons=50_000, replicates=8))


def with_planes(res):
    """The synthetic result with a stack of planes, without noise, in place of its one."""
    flat = res.surfaces["plane 0.140"]
    surfaces = {name: surface for name, surface in res.surfaces.items() if name != flat.name}
    sums = {name: res.sums[name] for name in surfaces}
    for z in HEIGHTS_M:
        lift = np.array([0.0, 0.0, z - 0.14])
        name = f"plane {z:.3f}"
        surfaces[name] = dataclasses.replace(
            flat, name=name, vertices_m=flat.vertices_m + lift, cell_centre_m=flat.cell_centre_m + lift
        )
        expected = synthetic.true_transport(surfaces[name]) * float(res.photons[0]) * res.scale
        sums[name] = np.tile(np.rint(expected).astype(np.int64), (res.replicates, 1, 1, 1))
    return dataclasses.replace(res, surfaces=surfaces, sums=sums)


def meshes(figure):
    return [c for ax in figure.axes for c in ax.collections if type(c).__name__ == "QuadMesh"]


def dimmed(res, dim):
    return dataclasses.replace(res, channels=[dataclasses.replace(c, dim=dim) for c in res.channels])


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("draw", [figures.spectra_figure, figures.zones_figure, figures.profile_figure])
def test_figures_are_readable(res, draw, theme):
    assert_readable(draw(res, theme=theme))


@pytest.mark.parametrize("draw", [figures.difference_figure, figures.shade_figure])
def test_comparisons_are_readable(res, draw):
    assert_readable(draw(res, dimmed(res, 0.7)))


def test_compared_maps_share_one_scale(res):
    figure = figures.compare_figure([res, dimmed(res, 0.5)], ["full", "half"])
    assert_readable(figure)
    full, half = meshes(figure)
    assert (full.norm.vmin, full.norm.vmax) == (half.norm.vmin, half.norm.vmax)
    ratio = np.asarray(half.get_array()) / np.asarray(full.get_array())
    assert ratio[np.isfinite(ratio)] == pytest.approx(0.5)


def test_the_day_encloses_the_light_integral(res):
    figure = figures.day_figure(res)
    assert_readable(figure)
    lines = [container[0] for container in figure.axes[0].containers]
    for line, zone in zip(lines, zones.find_zones(res), strict=True):
        area = 0.0036 * np.trapezoid(line.get_ydata(), line.get_xdata())  # umol s-1 h to mol
        assert area == pytest.approx(float(zones.report(res, zone).dli.value))


def test_a_day_past_midnight_goes_on_at_nought():
    times, share = Schedule(start="20:00", hours=8, ramp="1 h").corners()
    assert times == [20, 21, 27, 28]
    assert share == [0, 1, 1, 0]


def test_a_course_is_drawn_as_it_is_written(res):
    text = res.scene_text.replace(
        'hours = 8\nramp = "30 min"', 'course = [["20:00", 0.2], ["22:00", 1], ["01:30", "40 %"]]'
    )
    late = dataclasses.replace(res, scene_text=text)
    line = figures.day_figure(late).axes[0].containers[0][0]
    median = float(zones.report(late, zones.find_zones(late)[0]).median.value)
    assert line.get_xdata() == pytest.approx([20, 20, 22, 25.5, 25.5])
    assert line.get_ydata() == pytest.approx(median * np.array([0, 0.2, 1, 0.4, 0]))


def test_curves_are_named_without_touching():
    x = np.array([5.0, 10.0, 20.0])
    found = [figures.Curve(f"curve {i}", x, 100 - x + 0.2 * i, 0 * x + 1) for i in range(5)]
    figure = figures.curves_figure(found, x_name="height (cm)", y_name="PPFD", band=figures.Band("", 40, 60))
    assert_readable(figure)
    drawn = [container[0].get_ydata() for container in figure.axes[0].containers]
    assert all(np.array_equal(line, curve.y) for line, curve in zip(drawn, found, strict=True))


def test_names_move_no_farther_than_they_must():
    assert curves._apart(np.array([0.0, 1.0, 2.0]), 0.5).tolist() == [0, 1, 2]
    assert curves._apart(np.array([1.0, 1.0]), 0.5) == pytest.approx([0.75, 1.25])
    assert np.diff(curves._apart(np.array([0.0, 0.1, 0.15, 2.0]), 0.4)).min() == pytest.approx(0.4)


def test_tables_are_readable():
    columns = [
        figures.Column("lamp", ["one bar of 47 W", "two bars"]),
        figures.Column("median on the carpet, µmol m⁻² s⁻¹", ["113 ± 1", "98 ± 1"], numbers=True),
        figures.Column("carpet", ["✓ right", "✗ too dark"]),
    ]
    figure = figures.table_figure(columns, title="Which lamp?", notes=["A note."])
    assert_readable(figure)
    assert {"✓ right", "98 ± 1"} <= {text.get_text() for text in figure.axes[0].texts}


def test_spectrum_on_the_soil_is_the_one_of_the_metrics(res):
    figure = figures.spectra_figure(res, dims=0.5)
    soil, lamps = figure.axes  # placed from the bottom up
    drawn, shape = (line.get_ydata() for line in soil.lines[:2])
    open_cells = (Reading(res).open_share(res.surface("soil")) > 0.999) * 1.0
    assert drawn == pytest.approx(maps.spectrum(res, "soil", 0.5, open_cells).value)
    emitted = sum(0.5 * channel.spectrum for channel in res.channels)
    assert lamps.lines[0].get_ydata() == pytest.approx(emitted)
    assert photons.par(shape) == pytest.approx(photons.par(drawn))
    assert shape / emitted == pytest.approx(np.full(401, (shape / emitted)[200]))


def test_wavelengths_have_their_colours():
    rgb = dict(zip(GRID_NM, spectrum.wavelength_rgb(), strict=True))
    assert np.argmax(rgb[455]) == 2
    assert np.argmax(rgb[530]) == 1
    assert np.argmax(rgb[650]) == 0
    red, green, blue = rgb[580]  # yellow
    assert min(red, green) > 2 * blue


def test_zone_bars_are_the_report_of_the_metrics(res):
    bars, notes = quantities.zone_bars(Reading(res))
    assert not notes
    assert [bar.name for bar in bars] == ["carpet", "background"]
    for bar, zone in zip(bars, zones.find_zones(res), strict=True):
        report = zones.report(res, zone)
        assert (bar.p10, bar.median, bar.p90) == (report.p10.value, report.median.value, report.p90.value)
        assert (bar.low, bar.high) == zone.plant.band
        assert report.verdict in bar.words


def test_a_zone_that_cannot_be_read_is_named(res):
    text = res.scene_text.replace('from = ["5 cm", "3 cm"]', 'from = ["36 cm", "15 cm"]')
    text = text.replace('to = ["55 cm", "12 cm"]', 'to = ["39 cm", "18 cm"]')
    bars, notes = quantities.zone_bars(Reading(dataclasses.replace(res, scene_text=text)))
    assert [bar.name for bar in bars] == ["background"]
    assert "carpet" in notes[0]


def test_depth_profile_is_the_mean_of_open_planes(res):
    found = quantities.depth_profile(Reading(res))
    assert found.z_m == pytest.approx(HEIGHTS_M)
    for z, mean in zip(found.z_m, found.mean, strict=True):
        if z > 0.13:  # above soil and ball
            assert mean == pytest.approx(maps.ppfd(res, f"plane {z:.3f}").value.mean())
    assert sum(found.colours.values()) == pytest.approx(found.mean)
    assert (found.p10 < found.mean).all()
    assert (found.mean < found.p90).all()


def test_without_planes_there_is_no_profile(res):
    bare = dataclasses.replace(res, surfaces={"soil": res.surfaces["soil"]})
    with pytest.raises(StudyError, match="no horizontal plane"):
        figures.profile_figure(bare)


def test_noise_alone_is_dotted_in_95_of_100_cells():
    """Two results of one truth: within two standard errors, as Student's t has it for 15 degrees (93.6 %)."""
    one, other = (Reading(synthetic.result(seed=seed, photons=100_000)) for seed in (1, 2))
    change = compare.difference(one, other)
    known = np.isfinite(change.value)
    within = np.abs(change.value[known]) < compare.SURE * change.std_err[known]
    assert 0.915 < within.mean() < 0.955


def test_a_real_change_is_not_dotted(res):
    change = compare.difference(Reading(res), Reading(dimmed(res, 0.4)))
    known = np.isfinite(change.value) & (Reading(res).horizontal_map().value > 20)
    sure = known & (np.abs(change.value) > compare.SURE * change.std_err)
    assert sure[known].mean() > 0.9
    (drawn,) = meshes(figures.difference_figure(res, dimmed(res, 0.4)))
    assert np.asarray(drawn.get_array())[sure] == pytest.approx(change.value[sure])
    assert (np.asarray(drawn.get_array())[known & ~sure] == 0).all()
    assert drawn.norm.vmin == -drawn.norm.vmax


def test_shade_is_the_share_of_light_left(res):
    left = compare.shade(Reading(res), Reading(dimmed(res, 0.25)))
    assert left.value[np.isfinite(left.value)] == pytest.approx(25.0)


def test_maps_of_unlike_cells_are_not_compared(res):
    with pytest.raises(StudyError, match="different soil cells"):
        figures.difference_figure(res, synthetic.result(cell_m=0.02, photons=1000))


def test_a_tilted_lamp_keeps_its_size_and_looks_where_it_is_told():
    corners, aim = lamp.face("bar", (0.4, 0.1), (0.3, 0.2, 0.5), 0.3, np.radians(30), 0.0)
    assert aim == pytest.approx([0.5, 0.0, -np.sqrt(3) / 2])
    edges = np.diff(np.vstack([corners, corners[:1]]), axis=0)
    assert np.linalg.norm(edges, axis=1) == pytest.approx([0.4, 0.1, 0.4, 0.1])
    assert edges @ aim == pytest.approx(np.zeros(4), abs=1e-12)
    assert corners.mean(0) == pytest.approx([0.3, 0.2, 0.5])
    assert corners[np.argmax(corners[:, 0]), 2] > 0.5  # facing right lifts the right side


def test_a_round_lamp_is_round():
    corners, _ = lamp.face("disc", (0.2, 0.2), (0, 0, 0), 0.0, 0.0, 0.0)
    assert np.linalg.norm(corners, axis=1) == pytest.approx(np.full(48, 0.1))


def test_beams_bend_by_snells_law_and_end_at_the_pane():
    corners, aim = lamp.face("bar", (0.1, 0.1), (0.3, 0.15, 0.5), 0.0, 0.0, 0.0)
    bulb = lamp.Lamp("bulb", corners, aim, (np.radians(60),))
    left, right = lamp.beam_edges(bulb, np.radians(60), 0, 0.4, 0.05, 0.6)
    (x0, z0), (x1, z1), (x2, z2) = right
    assert (z0, z1, z2) == pytest.approx((0.5, 0.4, 0.05))
    into, through = np.arctan2(x1 - x0, z0 - z1), np.arctan2(x2 - x1, z1 - z2)
    assert np.sin(into) / np.sin(through) == pytest.approx(1.333)
    assert left[:, 0] == pytest.approx(0.6 - right[:, 0])
    short = lamp.beam_edges(bulb, np.radians(60), 0, 0.4, 0.05, 0.45)[1]
    assert short[-1, 0] == pytest.approx(0.45)
    assert short[-1, 1] > 0.05
    spilled = lamp.beam_edges(bulb, np.radians(150), 0, 0.4, 0.05, 0.6)[1]
    assert len(spilled) == 2  # it passes the tank


def test_stretches_of_a_line_through_a_notched_zone():
    notched = np.array([[0, 0], [4, 0], [4, 3], [3, 3], [3, 1], [1, 1], [1, 3], [0, 3]], float)
    assert stretches(notched, 0, 2.0) == [(0.0, 1.0), (3.0, 4.0)]
    assert stretches(notched, 0, 0.5) == [(0.0, 4.0)]
    assert stretches(notched, 1, 3.5) == [(0.0, 3.0)]
    assert stretches(notched, 0, 9.0) == []


@pytest.mark.parametrize(
    ("n", "words"),
    [
        (950, "950"),
        (4_200, "4.2 thousand"),
        (4_190_000, "4.2 million"),
        (2_000_000_000, "2 thousand million"),
    ],
)
def test_counts_in_words(n, words):
    assert count_words(n) == words


SCENE = """
title = "A scene with a rather long title that has to be broken into two lines on small pages"
[tank]
length = "{length} cm"
width = "{width} cm"
height = "{height} cm"
thickness = "6 mm"
rim = {{ width = "1 cm" }}
[substrate]
front = "2 cm"
back = "4 cm"
[[hardscape]]
name = "slab"
shape = "slab"
size = ["8 cm", "5 cm", "3 cm"]
position = ["{x} cm", "{y} cm"]
[[plant]]
name = "carpet"
from = ["1 cm", "1 cm"]
to = ["{length} cm", "{y} cm"]
canopy = {{ height = "4 cm", leaf_area_index = 2 }}
[[meter]]
grid = {{ nx = 2, ny = 2, z = "6 cm" }}
[[fixture]]
name = "bar"
shape = "bar"
size = ["{x} cm", "4 cm"]
height = "15 cm"
tilt = "20 deg"
channel = [{{ spectrum = "white 6500 K", power = "9 W", efficacy = "1.6 umol/J", beam = "90 deg" }}]
"""


def scene(length, width, height):
    return scene_from_text(SCENE.format(length=length, width=width, height=height, x=length / 2, y=width / 2))


@pytest.mark.parametrize("size", [(30, 30, 30), (120, 40, 25), (75, 45, 60), (20, 12, 15)])
@pytest.mark.parametrize("unit", ["cm", "in"])
def test_scene_drawings_are_readable(size, unit):
    assert_readable(figures.scene_figure(scene(*size), unit=unit))


def test_a_slab_is_seen_by_its_sides():
    one = scene(60, 30, 36)
    draft = drafting.draft_of(one, build_world(one))
    areas = {view: 1e4 * seen.area_m2 for view, seen in draft.hardscape[0].views.items()}
    assert areas["from above"] == pytest.approx(8 * 5, rel=0.02)
    assert areas["from the front"] == pytest.approx(8 * 3, rel=0.03)
    assert areas["from the right"] == pytest.approx(5 * 3, rel=0.03)


def test_views_of_a_scene_draw_on_axes_of_ones_own():
    one = scene(60, 30, 36)
    sheet = figures.scene_figure(one)
    ax = sheet.add_axes((0, 0, 0.2, 0.2))
    assert draw_view(drafting.draft_of(one, build_world(one)), "from the front", ax) is ax


@pytest.mark.parametrize("suffix", ["png", "svg", "pdf"])
def test_scene_drawing_files(tmp_path, suffix):
    one = scene(60, 30, 36)
    paths = [figures.scene_drawing(one, tmp_path / f"{name}.{suffix}", theme="dark") for name in "ab"]
    assert paths[0].read_bytes() == paths[1].read_bytes()
    assert paths[0].stat().st_size > 10_000


def test_buying_figure_says_what_is_enough_and_what_it_costs(res):
    weak = dataclasses.replace(
        res,
        channels=[dataclasses.replace(c, spectrum=0.05 * c.spectrum) for c in res.channels],
    )
    found = buying.offers({"strong": res, "weak": weak}, tariff=0.3)
    figure = figures.buying_figure(found, title="Two lamps")
    texts = {text.get_text() for ax in figure.axes for text in ax.texts}
    for offer in found:
        for zone in offer.zones:
            median, (low, _) = zone.report.median, zone.report.zone.plant.band
            sign = "✓" if float(median.value) >= low else "✗"
            assert f"{sign} {with_error(float(median.value), float(median.std_err), 3)}" in texts
    assert any(text.startswith("✗") for text in texts) and any(text.startswith("✓") for text in texts)
    assert {"strong", "weak"} <= texts
    assert_readable(figure)
    with pytest.raises(StudyError, match="nothing to compare"):
        figures.buying_figure([])


def test_settings_are_said_as_short_as_they_can_be(res):
    assert Reading(res, 0.5).settings() == "lamps at 50 %"
    each = Reading(res, {"bar / red": 0.3}).settings().replace("\u00a0", " ")
    assert each == "bar / white 100 %; bar / red 30 %; clip / white 100 %"
    twice = dataclasses.replace(
        res, channels=[*res.channels, *(dataclasses.replace(c, name=f"other {c.name}") for c in res.channels)]
    )
    one = Reading(twice, [1, 0.3, 1, 1, 1, 1]).settings().replace("\u00a0", " ")
    assert one == "lamps at 100 %, but bar / red 30 %"
    many = Reading(twice, [0.1, 0.2, 0.3, 0.4, 0.5, 0.3]).settings().replace("\u00a0", " ")
    assert many == "bar 10–50 %; clip 30 %"
