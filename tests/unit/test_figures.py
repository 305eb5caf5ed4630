"""Figures: what is drawn equals what was given, no word is cut off or covered, same bytes each time."""

import dataclasses

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.contour import QuadContourSet
from matplotlib.figure import Figure
from matplotlib.path import Path as Curve

import synthetic
from readable import assert_readable
from underlit import figures
from underlit.errors import DataError
from underlit.figures import album, budget, data, labels, outline, panes, plan, scale, section, style
from underlit.figures.reading import Reading
from underlit.metrics import maps
from underlit.spectra import plant_bands

TANKS = {
    "cube": (0.3, 0.3, 0.3),
    "long": (1.2, 0.4, 0.25),
    "deep": (0.75, 0.45, 0.6),
    "tiny": (0.2, 0.12, 0.15),
}
FIGURES = (
    album.soil_figure,
    album.section_figure,
    album.panes_figure,
    album.hardscape_figure,
    album.budget_figure,
)


@pytest.fixture(scope="module")
def res():
    return synthetic.result(photons=50_000, replicates=4)


def light_map(length, width, cells=30):
    """A bright spot off the middle."""
    x, y = np.linspace(0, length, cells + 1), np.linspace(0, width, cells // 2 + 1)
    u, v = np.meshgrid(0.5 * (x[1:] + x[:-1]) / length, 0.5 * (y[1:] + y[:-1]) / width)
    return data.LightMap(x, y, 160 * np.exp(-((u - 0.6) ** 2 + (v - 0.4) ** 2) / 0.15))


def meshes(figure):
    return [c for ax in figure.axes for c in ax.collections if type(c).__name__ == "QuadMesh"]


@pytest.mark.parametrize("draw", FIGURES)
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_figure_of_a_result_is_readable(res, draw, theme):
    assert_readable(draw(res, theme=theme))


@pytest.mark.parametrize("tank", TANKS)
@pytest.mark.parametrize("unit", ["cm", "in"])
def test_maps_are_readable_for_all_shapes_of_tank(tank, unit):
    length, width, _ = TANKS[tank]
    outline_m = np.array([[0.02, 0.02], [0.8, 0.02], [0.8, 0.5], [0.02, 0.5]]) * (length, width)
    lamp = np.array([[0.1, 0.4], [0.9, 0.4], [0.9, 0.6], [0.1, 0.6]]) * (length, width)
    light = light_map(length, width)
    points = np.array([[0.5, 0.2], [0.85, 0.8]]) * (length, width)
    over = data.Plan(
        length, width, 0.006, (), [data.Zone("carpet 70–120", outline_m)], [lamp], points, np.ones(2)
    )
    shared = album.light_scale([light.value])
    drawn = plan.plan_figure(light, over, scale=shared, unit=unit, title="A title", notes=["A note. " * 30])
    assert_readable(drawn)


@pytest.mark.parametrize("tank", TANKS)
def test_panes_and_sections_are_readable_for_all_shapes_of_tank(tank):
    length, width, height = TANKS[tank]
    soil = {"front": length, "back": length, "left": width, "right": width}
    found = {
        side: panes.Pane(light_map(run, height), np.array([0, run]), np.full(2, 0.1 * height), 0.9 * height)
        for side, run in soil.items()
    }
    assert_readable(
        panes.panes_figure(found, scale=album.light_scale([p.light.value for p in found.values()]))
    )
    cuts = [upright(length, height), upright(width, height)]
    assert_readable(section.section_figure(cuts, scale=album.light_scale([s.value for s in cuts])))


def upright(length, height, slope=300.0):
    """A section whose light is linear along and up."""
    x, z = np.linspace(0, length, 31), np.arange(0.02, 0.9 * height, 0.02)
    middle = 0.5 * (x[1:] + x[:-1])
    value = 20 + slope * z[:, None] + 100 * middle[None, :]
    soil_x = np.array([0, length])
    return section.Section(
        "somewhere", "from the left", x, z, value, soil_x, np.full(2, 0.1 * height), length, height,
        0.9 * height,
        soil_value=20 + slope * 0.1 * height + 100 * soil_x,
        lamps_m=[(0.1 * length, 0.9 * length, 1.2 * height)],
    )  # fmt: skip


def test_the_soil_map_draws_the_ppfd_of_each_cell(res):
    figure = album.soil_figure(res)
    (drawn,) = meshes(figure)
    density = maps.ppfd(res, "soil").value.reshape(res.surface("soil").shape)
    share = Reading(res).open_share(res.surface("soil")).reshape(density.shape)
    open_cells = share == 1.0
    assert open_cells.sum() > 1500
    assert np.array_equal(np.asarray(drawn.get_array())[open_cells], density[open_cells])
    assert np.asarray(drawn.get_coordinates()[0, :, 0]) == pytest.approx(100 * res.surface("soil").x_edges_m)


def test_a_cell_partly_under_a_stone_shows_the_light_of_its_open_part(res):
    surface = res.surface("soil")
    share = Reading(res).open_share(surface)
    drawn = Reading(res).horizontal_map("soil").value.ravel()
    partly = (share > 0.3) & (share < 0.9)
    assert partly.sum() > 5
    assert drawn[partly] == pytest.approx(maps.ppfd(res, "soil").value[partly] / share[partly])
    assert np.isnan(drawn[share < 0.1]).all()


def test_contours_stand_where_bands_begin(res):
    figure = album.soil_figure(res)
    light = Reading(res).horizontal_map("soil").value
    drawn = [c for ax in figure.axes for c in ax.collections if isinstance(c, QuadContourSet)]
    low, high = np.nanpercentile(light, [10, 90])
    levels = {level for c in drawn for level in c.levels}
    assert levels <= {band.low for band in plant_bands().values()}
    assert levels >= {band.low for band in plant_bands().values() if low < band.low < high}
    assert len(levels) >= 2


def test_contours_of_a_ramp_lie_at_the_level():
    light = light_map(0.6, 0.3, 60)
    ramp = dataclasses.replace(light, value=np.tile(100 * light.x_m / 0.6, (30, 1)))
    shared = scale.Scale(100.0, (scale.Band("from 40", 40, 80),))
    figure = plan.plan_figure(ramp, data.Plan(0.6, 0.3), scale=shared)
    (contours,) = [c for ax in figure.axes for c in ax.collections if isinstance(c, QuadContourSet)]
    (curve,) = contours.get_paths()
    assert curve.vertices[:, 0] == pytest.approx(np.full(len(curve.vertices), 0.4 * 60), abs=0.05)


def test_dims_scale_what_is_drawn(res):
    full, half = (np.asarray(meshes(album.soil_figure(res, dims=dim))[0].get_array()) for dim in (1.0, 0.5))
    assert np.nanmax(np.abs(half / full - 0.5)) < 1e-12


def test_a_shared_scale_is_used_as_it_is(res):
    shared = scale.Scale(321.0)
    (drawn,) = meshes(album.soil_figure(res, scale=shared))
    assert (drawn.norm.vmin, drawn.norm.vmax) == (0.0, 321.0)


def test_section_is_straight_between_planes():
    cut = upright(0.6, 0.3)
    x, z, light = section.interpolated(cut)
    row = z + 0.5 * (z[1] - z[0])
    inside = ~np.isnan(light)
    inside &= (row > 0.03)[:, None] & (row < cut.z_m[-1])[:, None] & (x > 0.01)[None, :] & (x < 0.59)[None, :]
    expected = 20 + 300 * row[:, None] + 100 * x[None, :]
    assert inside.sum() > 10_000
    assert np.abs(light - expected)[inside].max() < 300 * 1.1 * (z[1] - z[0])  # a row of the picture
    assert np.isnan(light[row < 0.029]).all()


def test_section_does_not_reach_through_stone():
    """Bright above a slab, dark below it: no value in between."""
    cut = upright(0.6, 0.3, slope=0.0)
    value = np.where(cut.z_m[:, None] > 0.155, 100.0, 10.0) + 0 * cut.value
    x, y = np.linspace(0, 0.6, 301), np.linspace(0, 0.3, 151)
    slab = (y[:, None] > 0.15) & (y[:, None] < 0.16) & (x[None, :] >= 0)
    cut = dataclasses.replace(
        cut, value=value, soil_value=np.full(2, 10.0), solid=outline.Coverage(x, y, slab * 1.0)
    )
    _, _, light = section.interpolated(cut)
    assert set(np.unique(light[~np.isnan(light)]).round(6)) == {10.0, 100.0}


def test_light_above_a_stone_is_as_beside_it():
    """Between the stone's top and the next plane: planes that it stands through are known on both its sides."""
    cut = upright(0.6, 0.3)
    x, y = np.linspace(0, 0.6, 301), np.linspace(0, 0.3, 151)
    stone = (abs(x - 0.3) < 0.05)[None, :] & (y < 0.17)[:, None]
    cut = dataclasses.replace(cut, solid=outline.Coverage(x, y, stone * 1.0))
    x, z, light = section.interpolated(cut)
    row = z + 0.5 * (z[1] - z[0])
    above = np.ix_((row > 0.175) & (row < cut.z_m[-1]), abs(x - 0.3) < 0.04)
    expected = 20 + 300 * row[:, None] + 100 * x[None, :]
    assert np.abs(light - expected)[above].max() < 300 * 1.1 * (z[1] - z[0])
    assert np.isnan(light[np.ix_(row < 0.165, abs(x - 0.3) < 0.04)]).all()


def test_a_lamp_beyond_the_view_is_named_above_it():
    """Where a stone may stand up to the rim."""
    cuts = [dataclasses.replace(upright(run, 0.25), lamps_m=[(0.1, 0.3, 0.6)]) for run in (1.2, 0.4)]
    figure = section.section_figure(cuts, title="A title")
    assert_readable(figure)
    for ax in figure.axes[:2]:
        (words,) = (text for text in ax.texts if "lamp" in text.get_text())
        assert words.get_window_extent().y0 >= ax.get_window_extent().y1


def test_words_keep_off_a_stone_thinner_than_they_are():
    ax = Figure(figsize=(4, 3)).add_axes((0, 0, 1, 1))
    ax.set(xlim=(0, 4), ylim=(0, 3))
    placer = labels.Placer(ax)
    placer.block(Curve([[1.99, 0], [2.01, 0], [2.01, 1.5], [1.99, 1.5]]))
    through, beside, far = placer.room(np.array([[2.0, 1.0], [2.2, 1.0], [3.0, 1.0]]), 0.5, 0.2)
    assert through < 0
    assert beside < 0
    assert far == pytest.approx(3.0 - 0.25 - 2.01)


def test_section_says_nothing_far_from_any_plane():
    cut = upright(0.6, 0.3)
    cut = dataclasses.replace(cut, z_m=cut.z_m[:4], value=cut.value[:4])
    _, z, light = section.interpolated(cut)
    assert np.isnan(light[z > cut.z_m[3] + 0.03]).all()
    assert np.isfinite(light[(z > cut.z_m[3]) & (z < cut.z_m[3] + 0.015)]).all()


def test_shares_add_up_to_a_hundred_photons(res):
    shares = Reading(res).shares()
    assert sum(share.of_100 for share in shares) == pytest.approx(100, abs=1e-9)
    assert {share.name for share in shares} == set(res.budget.names)


def test_budget_bars_are_as_long_as_their_numbers():
    shares = [
        budget.Share("absorbed by soil", 60, 0.5, budget.KINDS[0]),
        budget.Share("past", 40, 0.5, "the room"),
    ]
    figure = budget.budget_figure(shares)
    strip, bars = figure.axes
    assert [bar.get_width() for bar in strip.patches] == [60, 40]
    assert [bar.get_width() for bar in bars.patches] == [60, 40]
    assert "60.0 ± 0.5" in {t.get_text() for t in bars.texts}


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("absorbed by soil", "soil, hardscape and plants"),
        ("absorbed by main stone", "soil, hardscape and plants"),
        ("absorbed in water", "water"),
        ("absorbed in glass", "glass and films"),
        ("absorbed by dirt on panes", "glass and films"),
        ("absorbed by lid, rim and braces", "lamps and covers"),
        ("past the tank", "the room"),
        ("out of the left pane", "the room"),
        ("roulette balance", "balance"),
    ],
)
def test_kinds_of_fate(name, kind):
    assert budget.kind_of(name) == kind


@pytest.mark.parametrize("fmt", ["png", "svg", "pdf"])
def test_save_all_writes_every_figure_and_the_same_bytes_again(res, tmp_path, fmt):
    first = figures.save_all(res, tmp_path / "one", fmt, theme="dark", unit="in")
    again = figures.save_all(res, tmp_path / "two", fmt, theme="dark", unit="in")
    assert {path.stem for path in first} >= {"soil", "sections", "panes", "hardscape", "budget"}
    for one, other in zip(first, again, strict=True):
        assert one.read_bytes() == other.read_bytes(), one.name
    assert sorted(path.name for path in (tmp_path / "one").iterdir()) == sorted(path.name for path in first)


def test_what_the_result_lacks_is_not_drawn(res, tmp_path):
    few = {name: s for name, s in res.surfaces.items() if name in ("soil", "water surface")}
    bare = dataclasses.replace(res, surfaces=few)
    assert "sections" not in {path.stem for path in figures.save_all(bare, tmp_path)}


@pytest.mark.parametrize(
    "wrong", [{"fmt": "bmp"}, {"theme": "pink"}, {"unit": "ell"}, {"front_white": "noon"}]
)
def test_unknown_choices_are_refused_before_anything_is_written(res, tmp_path, wrong):
    with pytest.raises(DataError, match="Use one of"):
        figures.save_all(res, tmp_path, **wrong)
    assert not list(tmp_path.iterdir())


def test_a_failed_save_leaves_nothing_behind(tmp_path):
    figure = style.sheet(2, 1).figure
    figure.savefig = lambda *a, **k: (_ for _ in ()).throw(OSError("disk full"))
    with pytest.raises(DataError, match="disk full"):
        style.save(figure, tmp_path / "a.png")
    assert not list(tmp_path.iterdir())


def test_the_readers_own_settings_stay_as_they_are(res):
    with mpl.rc_context({"font.size": 30.0, "axes.facecolor": "red", "font.family": "serif"}):
        before = dict(mpl.rcParams)
        figure = album.soil_figure(res)
        assert dict(mpl.rcParams) == before
    assert figure.axes[0].xaxis.label.get_size() == style.TEXT_PT
