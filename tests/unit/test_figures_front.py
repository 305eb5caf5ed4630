"""View from the front: colours against colour-science, sight against Snell and closed forms, light against the maps."""

import dataclasses

import colour
import numpy as np
import pytest

import synthetic
from readable import assert_readable
from underlit import figures, spectra
from underlit.constants import UMOL_PER_J_NM
from underlit.errors import DataError, StudyError
from underlit.figures import screen, sight, thicket, view
from underlit.figures.glow import Glow, Waters, grid_glow, mesh_glow, reflectances
from underlit.figures.reading import Reading
from underlit.kernels.fresnel import fresnel
from underlit.metrics import maps
from underlit.results.result import Optics

NM = spectra.GRID_NM
N_WATER = 1.334


@pytest.fixture(scope="module")
def res():
    return synthetic.result(photons=50_000, replicates=4)


def photons(illuminant):
    """Photon spectrum of a CIE illuminant as colour-science tables it, (401,)."""
    sd = colour.SDS_ILLUMINANTS[illuminant].copy().align(colour.SpectralShape(380, 780, 1))
    return sd.values * NM * UMOL_PER_J_NM


def light(illuminant, reflectance=1.0):
    """X, Y, Z of a surface, Y = 1 for a perfect white one."""
    weights = screen.photon_weights()
    return weights @ (photons(illuminant) * reflectance) / (weights[1] @ photons(illuminant))


# --- colour ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("grey", [0.05, 0.18, 0.5, 0.69])
@pytest.mark.parametrize("white", screen.WHITES)
def test_a_grey_patch_under_d65_is_the_grey_of_srgb(grey, white):
    shown = screen.to_screen(light("D65", grey), 1.0, screen.white_xyz(photons("D65")), white)
    expected = 1.055 * grey ** (1 / 2.4) - 0.055  # IEC 61966-2-1
    np.testing.assert_allclose(255 * shown, 255 * expected, atol=0.5)


@pytest.mark.parametrize("illuminant", ["A", "D65", "FL2"])
def test_the_patches_of_a_colour_chart_come_out_as_colour_science_has_them(illuminant):
    chart = colour.SDS_COLOURCHECKERS["BabelColor Average"]
    shape = colour.SpectralShape(380, 780, 1)
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    lamp = colour.SDS_ILLUMINANTS[illuminant].copy().align(shape)
    with colour.utilities.suppress_warnings(colour_runtime_warnings=True):  # all tables begin at 380 nm
        lamp_xyz = colour.sd_to_XYZ(lamp, cmfs) / colour.sd_to_XYZ(lamp, cmfs)[1]
    compared = 0
    for patch in chart.values():
        patch = patch.copy().align(shape)
        with colour.utilities.suppress_warnings(colour_runtime_warnings=True):
            xyz = colour.sd_to_XYZ(patch, cmfs, lamp, method="Integration") / 100
        seen = colour.chromatic_adaptation(
            xyz, lamp_xyz, screen.d65_xyz(), method="Von Kries", transform="CAT02"
        )
        linear = colour.XYZ_to_sRGB(seen, apply_cctf_encoding=False)
        if linear.min() > 0 and linear.max() < screen.KNEE:
            expected = colour.models.eotf_inverse_sRGB(linear)
            ours = screen.to_screen(
                light(illuminant, patch.values), 1.0, screen.white_xyz(photons(illuminant))
            )
            np.testing.assert_allclose(255 * ours, 255 * expected, atol=1.0, err_msg=patch.name)
            compared += 1
    assert compared > 15


def test_warm_light_is_warm_to_an_eye_used_to_daylight_and_neutral_to_one_used_to_it():
    white = screen.white_xyz(photons("A"))
    red, _, blue = screen.to_screen(light("A", 0.4), 1.0, white, "D65")
    assert red > blue + 0.3
    np.testing.assert_allclose(
        np.ptp(screen.to_screen(light("A", 0.4), 1.0, white, "adapted")), 0, atol=0.002
    )


def test_bright_and_vivid_light_keeps_its_hue_and_stays_on_the_screen():
    rng = np.random.default_rng(3)
    linear = rng.random((500, 3)) * np.array([3.0, 2.0, 0.5])
    xyz = colour.RGB_to_XYZ(linear, "sRGB")
    shown = screen.to_screen(xyz, 1.0, screen.d65_xyz(), "D65")
    assert shown.min() >= 0 and shown.max() <= 1
    back = colour.models.eotf_sRGB(shown)
    kept = (back * linear).sum(axis=1) / (linear**2).sum(axis=1)
    np.testing.assert_allclose(back, kept[:, None] * linear, atol=1e-3)
    brighter = screen.tone(np.linspace(0, 4, 100))
    assert np.all(np.diff(brighter) > 0) and brighter[-1] < 1
    spectral = screen.photon_weights().T[60:260:20] * 10
    assert np.isfinite(screen.to_screen(spectral, 1.0, screen.d65_xyz(), "D65")).all()


def test_the_darkness_has_a_colour_too():
    np.testing.assert_array_equal(screen.to_screen(np.zeros((2, 3)), 1.0, screen.d65_xyz()), 0)
    with pytest.raises(StudyError, match="all lamps are off"):
        screen.white_xyz(np.zeros(401))


# --- water -----------------------------------------------------------------------------------------------


def in_water(res, transport, water):
    """A result whose soil gets light by a curve of wavelength that is known at every nanometre."""
    soil, nodes = res.surface("soil"), spectra.NODES_NM
    landed = soil.cell_area_m2[:, None] * transport[nodes.astype(int) - 380]
    sums = np.rint(landed * res.scale * res.photons[0]).astype(np.int64)
    sums = dict(res.sums) | {"soil": np.broadcast_to(sums, (res.replicates, 2, *sums.shape))}
    return dataclasses.replace(res, wavelength_nm=nodes, sums=sums, optics=Optics(water, np.zeros(401), {}))


@pytest.mark.parametrize("a440", [0.3, 4.0, 8.0])
def test_colours_at_the_nodes_are_those_at_every_nanometre(res, a440):
    """Straight light of several lengths, and some that a wooden root sent on, of which the result knows nothing."""
    water = spectra.water_absorption_per_m(NM, a440, 0.015, 0.0, 25.0)
    sand, wood = (spectra.surface_reflectance(name, NM) for name in ("pale sand", "red-brown wood"))
    arrived = np.exp(-np.outer([0.15, 0.4, 1.1], water)).sum(axis=0) + wood * np.exp(-0.7 * water)
    read = Reading(in_water(res, arrived, water))
    lamp = read.dims @ np.array([channel.spectrum for channel in read.res.channels])
    white, xy = screen.photon_weights(), screen.white_xyz(lamp)[:2] / screen.white_xyz(lamp).sum()
    open_share = np.ones(read.res.surface("soil").n_cells)
    glow = grid_glow(read, "soil", sand, open_share, Waters.of(water, 2.0))
    for path in (0.0, 0.2, 0.6, 1.1):
        got = glow.seen(np.array([[40]]), np.ones((1, 1)), np.array([path]))[0]
        exact = white @ (lamp * arrived * np.exp(-water * path) * sand) / np.pi
        top = white[1] @ (lamp * arrived) / np.pi
        lab = [colour.XYZ_to_Lab(xyz / top, xy) for xyz in (got, exact)]
        assert colour.delta_E(*lab, method="CIE 2000") < 0.1


def test_tea_water_turns_from_yellow_to_amber_and_pure_water_to_cyan():
    lamp = photons("D65")
    white = screen.white_xyz(lamp)
    hues = {}
    for name, a440 in (("tea", 4.0), ("pure", 0.0)):
        water = spectra.water_absorption_per_m(NM, a440, 0.015, 0.0, 25.0)
        light_after = screen.photon_weights() @ (lamp * np.exp(-np.outer([0.3, 1.0, 2.5], water))).T
        xyz = light_after.T / (screen.photon_weights()[1] @ lamp)
        lab = colour.XYZ_to_Lab(xyz, white[:2] / white.sum())
        hues[name] = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360
    assert np.all(np.diff(hues["tea"]) < 0) and 85 < hues["tea"][0] < 105 and 40 < hues["tea"][-1] < 90
    assert np.all((hues["pure"] > 150) & (hues["pure"] < 260))


# --- lines of sight --------------------------------------------------------------------------------------


def flat_glow(luminance, n=4):
    paths = np.array([0.0, 10.0])
    return Glow(np.log(np.full((n, 2, 3), luminance, np.float32)), paths)


def box(back=None, side=None, solids=None, level=0.3):
    """A tank of 40 x 30 x 36 cm with panes as given."""
    side, back = side or sight.Backing(), back or sight.Backing()
    speck = np.array([[0.0, 0.0, 0.0], [1e-4, 0, 0], [0, 1e-4, 0]])
    solids = solids or sight.Solids(speck, np.array([[0, 1, 2]]), flat_glow(1e-9, 3), np.ones(1), np.zeros(1))
    panes = {"left": side, "right": side, "front": sight.Backing(), "back": back}
    return sight.Tank(np.array([0.4, 0.3, 0.36]), level, 0.006, N_WATER, 1.52, 0.0, panes, solids)


def film(luminance, **how):
    return sight.Backing(flat_glow(luminance), np.array([0.0, 0.4]), np.array([0.0, 0.36]), **how)


def test_reflectances_are_those_of_the_tracer():
    for eta in (1 / 1.334, 1.334, 1.52 / 1.334):
        cosines = np.linspace(0.01, 1, 40)
        expected = np.array([fresnel(mu, eta) for mu in cosines])
        np.testing.assert_allclose(np.column_stack(sight.fresnel(cosines, eta)), expected, atol=1e-12)
    assert sight.fresnel(np.ones(1), 1 / 1.333)[0] == pytest.approx(0.02037, abs=1e-5)


def test_the_front_pane_bends_as_snell_says():
    eye, at = np.array([0.2, -0.7, 0.15]), np.array([[0.38, 0.05], [0.21, 0.33]])
    rays = sight.enter(box(), eye, at)
    for k, index in ((0, N_WATER), (1, 1.0)):
        in_air = np.array([at[k, 0] - 0.2, 0.7 - 0.006, at[k, 1] - 0.15])
        sine = np.hypot(in_air[0], in_air[2]) / np.linalg.norm(in_air)
        assert np.hypot(*rays.way[k, [0, 2]]) == pytest.approx(sine / index)
        assert np.linalg.norm(rays.way[k]) == pytest.approx(1.0)
        shift = 0.006 * (sine / 1.52) / np.sqrt(1 - (sine / 1.52) ** 2)
        assert np.linalg.norm(rays.at_m[k, [0, 2]] - at[k]) == pytest.approx(shift)
    assert rays.wet.tolist() == [True, False]


def test_a_film_glued_behind_water_is_dimmed_by_two_surfaces_and_n_squared():
    tank = box(film(100.0, bonded=True))
    seen = sight.Sight(tank).look(sight.enter(tank, np.array([0.2, -50.0, 0.15]), np.array([[0.2, 0.15]])))
    into_glass = ((1.52 - 1) / (1.52 + 1)) ** 2
    into_water = ((1.52 - N_WATER) / (1.52 + N_WATER)) ** 2
    expected = 100 * (1 - into_glass) * (1 - into_water) / N_WATER**2
    np.testing.assert_allclose(seen[0], expected, rtol=1e-5)


def test_side_panes_and_water_surface_are_mirrors_from_inside():
    eye = np.array([0.2, -0.6, 0.28])
    at = np.array(
        [[0.385, 0.15], [0.2, 0.295]]
    )  # flatly onto the right pane; flatly onto the surface from below
    low = np.array([0.2, -0.6, 0.05])
    tank = box(film(100.0, bonded=True))
    for place, point in ((eye, at[:1]), (low, at[1:])):
        rays = sight.enter(tank, place, point)
        weight = rays.weight.copy()
        seen = sight.Sight(tank).look(rays)
        np.testing.assert_allclose(seen[0], 100 * weight[0] / N_WATER**2, rtol=1e-5)
    glued = box(film(100.0, bonded=True), side=film(1.0, bonded=True))
    assert sight.Sight(glued).look(sight.enter(glued, eye, at[:1]))[0, 1] < 1.0


def test_a_clean_pane_shows_a_dark_room():
    tank = box()
    seen = sight.Sight(tank).look(sight.enter(tank, np.array([0.2, -0.6, 0.15]), np.array([[0.2, 0.15]])))
    np.testing.assert_allclose(seen, 0, atol=1e-9)


def test_a_cloud_of_leaves_hides_by_beer_and_its_clumps_change_little():
    low, high, ground = thicket.columns(
        [[0.1, 0.1], [0.7, 0.1], [0.7, 0.2], [0.1, 0.2]], lambda yx: 0 * yx[0]
    )
    corners = (np.array([0.0, 0.3]), np.array([0.0, 0.3]), np.array([0.0, 0.8]))
    cloud = thicket.Thicket(low, high, ground, 0.25, 12.0, flat_glow(50.0, 8), corners)
    rng = np.random.default_rng(0)
    n = 4000
    at = np.column_stack([rng.uniform(0.11, 0.69, n), np.zeros(n), rng.uniform(0.02, 0.15, n)])
    way = np.tile([0.0, 1.0, 0.0], (n, 1))
    light, left = cloud.along(at, way, np.full(n, 0.3), np.zeros(n), np.ones(n, bool))
    np.testing.assert_allclose(light, 50 * (1 - left[:, None]) * np.ones(3), rtol=1e-4)
    assert left.mean() == pytest.approx(np.exp(-12.0 * 0.1), rel=0.1)
    short, _ = cloud.along(at, way, np.full(n, 0.09), np.zeros(n), np.ones(n, bool))
    np.testing.assert_array_equal(short, 0)


@pytest.mark.parametrize("rule, expected", [("spherical", 0.5), ("horizontal", 0.0)])
def test_leaves_show_a_level_eye_what_their_rule_says(rule, expected):
    assert thicket.seen_level(rule) == expected
    assert thicket.seen_level("planophile") < 0.5 < thicket.seen_level("erectophile")


def test_grain_changes_no_mean():
    places = np.random.default_rng(1).uniform(0.0, 1.0, (200_000, 3)) / 0.0014
    grain = np.exp(0.15 * thicket.unevenness(places) - 0.5 * 0.15**2)
    assert grain.mean() == pytest.approx(1.0, abs=0.01) and grain.std() > 0.05


# --- the picture -----------------------------------------------------------------------------------------


def test_soil_in_the_picture_is_as_bright_as_the_map_says(res):
    read = Reading(res)
    seen = view.picture(read, n_pixels=40_000)
    rows, columns, _ = seen.xyz.shape
    length, _, height = read.size_m
    x, z = (np.arange(columns) + 0.5) * length / columns, height - (np.arange(rows) + 0.5) * height / rows
    x, z = (axis.ravel() for axis in np.meshgrid(x, z))
    tank, eye = view.tank_of(read), view.eye_before(read)
    rays = sight.enter(tank, eye, np.column_stack([x, z]))
    # The made-up soil is the plane z = 0.03 + 0.1 y: where each line meets it, by hand.
    far = (0.03 + 0.1 * rays.at_m[:, 1] - rays.at_m[:, 2]) / (rays.way[:, 2] - 0.1 * rays.way[:, 1])
    spot = rays.at_m + far[:, None] * rays.way
    good = (far > 0) & (spot[:, 1] > 0.03) & (spot[:, 1] < 0.1) & (spot[:, 0] > 0.05) & (spot[:, 0] < 0.2)
    soil = res.surface("soil")
    i, j = (spot[good, :2] / 0.01).astype(int).T
    lux = maps.ppfd(res, "soil", None, "photopic").value.reshape(soil.shape)[j, i]
    water = read.scene.water
    clear = np.exp(-far[good] * spectra.water_absorption_per_m(np.array([555.0]), water.colour_a440,
                   water.colour_slope, 0.0, 25.0))  # fmt: skip
    dark_soil = spectra.surface_reflectance(read.scene.substrate.material, np.array([555.0]))
    expected = lux * dark_soil / np.pi * clear * rays.weight[good] / tank.n_water**2
    assert good.sum() > 300
    assert seen.xyz[..., 1].ravel()[good].mean() == pytest.approx(expected.mean(), rel=0.04)


def test_evenly_lit_hardscape_is_evenly_bright_down_to_the_soil(res):
    """A ball a third of which is in the soil: half-buried patches must not look dark."""
    ball = res.surface("hardscape ball")
    ball = dataclasses.replace(ball, vertices_m=ball.vertices_m - np.array([0.0, 0.0, 0.035]),
                               cell_centre_m=ball.cell_centre_m - np.array([0.0, 0.0, 0.035]))  # fmt: skip
    corners = ball.vertices_m[ball.faces]
    area = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    out = corners[..., 2] > 0.03 + 0.1 * corners[..., 1]
    lit = np.bincount(ball.cell_of_face, area * out.mean(axis=1), ball.n_cells)
    landed = np.rint(lit[:, None] * np.ones(16) * res.scale * res.photons[0]).astype(np.int64)
    sums = dict(res.sums) | {ball.name: np.broadcast_to(landed, (res.replicates, 2, *landed.shape))}
    read = Reading(dataclasses.replace(res, surfaces=dict(res.surfaces) | {ball.name: ball}, sums=sums))
    glow = mesh_glow(read, ball.name, np.ones(401), Waters.of(np.zeros(401), 1.0))
    lamp = read.dims @ np.array([channel.spectrum for channel in res.channels])
    bright = np.exp(glow.log_xyz[:, 0, 1]) / (screen.photon_weights()[1] @ lamp / np.pi)
    well_out = ball.vertices_m[:, 2] > 0.03 + 0.1 * ball.vertices_m[:, 1] + 0.004
    assert 0.3 < well_out.mean() < 0.9
    np.testing.assert_allclose(bright[well_out], 1.0, atol=0.02)


def test_materials_are_those_that_the_trace_kept(res):
    kept = Optics(np.zeros(401), np.zeros(401), {"soil": np.linspace(0.1, 0.2, 401)})
    read = Reading(dataclasses.replace(res, optics=kept))
    np.testing.assert_array_equal(reflectances(read)["soil"], kept.reflectances["soil"])


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_figures_are_readable(res, theme):
    assert_readable(figures.front_figure(res, theme=theme))
    pair = [Reading(res, {"bar / red": 0.0}), Reading(res, {"bar / red": 1.0})]
    assert_readable(figures.front_compare_figure(pair, ["white", "white and red"], theme=theme))


def test_compared_pictures_share_their_exposure(res):
    pair = [Reading(res, 1.0), Reading(res, 0.25)]
    bright, dim = (ax.images[0].get_array() for ax in figures.front_compare_figure(pair, "ab").axes)
    lit = dim.mean(axis=-1) > 0.02
    assert bright[lit].mean() > 1.5 * dim[lit].mean()


def test_a_dark_tank_is_not_drawn_and_wrong_words_are_refused(res):
    assert not view.can_be_seen(Reading(res, 0.0))
    with pytest.raises(StudyError, match="all lamps are off"):
        figures.front_figure(res, 0.0)
    with pytest.raises(DataError, match="white"):
        figures.front_figure(res, white="pink")
    with pytest.raises(StudyError, match="above 0"):
        figures.front_figure(res, exposure_cd_m2=-1.0)
    with pytest.raises(StudyError, match="in front of the pane"):
        view.picture(res, eye_m=(0.3, 0.1, 0.2))
    with pytest.raises(StudyError, match="nothing to compare"):
        figures.front_compare_figure([])
