"""The colour scale: even to the eye, also to a colour-blind one, by colour-science's models."""

import colour
import numpy as np
import pytest

from underlit.figures import scale
from underlit.spectra import plant_bands


def seen_by(rgb, deficiency):
    """sRGB colours as seen with a full colour-vision deficiency (Machado, Oliveira & Fernandes 2009)."""
    if deficiency is None:
        return rgb
    linear = colour.models.eotf_sRGB(rgb) @ colour.matrix_cvd_Machado2009(deficiency, 1.0).T
    return colour.models.eotf_inverse_sRGB(np.clip(linear, 0, 1))


def uniform_space(rgb):
    """CAM02-UCS coordinates (Luo, Cui & Li 2006)."""
    return colour.XYZ_to_CAM02UCS(colour.sRGB_to_XYZ(rgb) * 1.0) * 100


@pytest.mark.parametrize("deficiency", [None, "Protanomaly", "Deuteranomaly"])
def test_more_light_is_always_lighter(deficiency):
    lightness = uniform_space(seen_by(scale.light_ramp()(np.arange(256))[:, :3], deficiency))[:, 0]
    assert (np.diff(lightness[::4]) > 0).all()
    assert np.ptp(lightness) > 0.8 * np.ptp(uniform_space(np.array([[0, 0, 0], [1, 1, 1]]))[:, 0])


def test_equal_steps_of_light_are_about_equal_steps_of_colour():
    place = uniform_space(scale.light_ramp()(np.arange(256))[:, :3])[::8]
    step = np.linalg.norm(np.diff(place, axis=0), axis=1)
    assert step.max() / step.mean() < 1.4
    assert step.min() / step.mean() > 0.7


@pytest.mark.parametrize("deficiency", [None, "Protanomaly", "Deuteranomaly"])
def test_neighbouring_bands_stay_apart(deficiency):
    shared = scale.scale_for([np.array([0.0, 200.0])], tuple(plant_bands().values()))
    place = uniform_space(seen_by(shared.rgb(np.array([7, 20, 32, 60, 115, 175.0])), deficiency))
    assert np.linalg.norm(np.diff(place, axis=0), axis=1).min() > 4  # 1 is about a just noticeable difference


def test_oklab_of_white_and_red():
    """Values of Ottosson's page: white is (1, 0, 0), sRGB red (0.628, 0.225, 0.126)."""
    lab = np.array([[1, 0, 0], [0.62796, 0.22486, 0.12585]])
    assert scale.oklab_to_srgb(lab) == pytest.approx(np.array([[1, 1, 1], [1, 0, 0]]), abs=2e-3)


def test_levels_are_the_starts_of_the_bands():
    bands = tuple(plant_bands().values())
    shared = scale.scale_for([np.linspace(0, 120, 50)], bands)
    assert shared.top == 120
    assert shared.levels == sorted(band.low for band in bands if band.low < 120)


@pytest.mark.parametrize(
    ("value", "top"),
    [(0, 1), (0.93, 1), (1.0, 1), (1.01, 1.2), (130, 150), (150, 150), (617, 800), (9.9, 10)],
)
def test_round_tops(value, top):
    assert scale.round_up(value) == pytest.approx(top)


def test_a_few_bright_cells_do_not_stretch_the_scale():
    values = np.full(1000, 90.0)
    values[0] = 900.0
    shared = scale.scale_for([values])
    assert shared.top == 100
    assert shared.clipped


def test_words_on_the_map_can_be_read():
    shared = scale.Scale(100.0)
    for value in np.linspace(0, 100, 41):
        ground, ink = shared.rgb(value), {"#000000": 0.0, "#ffffff": 1.0}[shared.contrast(value)]
        light = [colour.sRGB_to_XYZ(np.broadcast_to(c, 3))[1] for c in (ground, ink)]
        assert (max(light) + 0.05) / (min(light) + 0.05) > 4.4  # WCAG 2 asks for 4.5 for text
