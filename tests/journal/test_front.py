"""The view from the front and the colour of the light, as the page has them, against the library's own."""

from __future__ import annotations

import base64
import dataclasses
import io
import re

import numpy as np
import pytest
from matplotlib.image import imread

import browser
from underlit.figures.reading import Reading
from underlit.figures.view import picture, usual_exposure_cd_m2
from underlit.journal import save_page
from underlit.metrics import colour, maps
from underlit.spectra import lamp

BLOCKS = (9, 16)  # rows and columns of the picture that are compared as means: grain and noise drop out
# As a file: millions of numbers take the browser seconds to hand over.
PICTURE = "document.getElementById('front-A').toDataURL()"


def in_blocks(image):
    rows, columns = BLOCKS
    parts = [np.array_split(row, columns, axis=1) for row in np.array_split(image, rows, axis=0)]
    return np.array([[part.mean(axis=(0, 1)) for part in row] for row in parts])


def seen_on_page(tank):
    """Blocks of the picture as the page shows it, 0..255."""
    tank.show("front")
    tank.until("document.getElementById('front-A').getAttribute('aria-label') !== null")
    tank.page.wait_for_timeout(300)
    file = base64.b64decode(tank.page.evaluate(PICTURE).partition(",")[2])
    return in_blocks(255 * imread(io.BytesIO(file))[..., :3])


def seen_by_library(res, dims, white):
    read = Reading(res)
    image = picture(read.at(dims), n_pixels=220_000).on_screen(usual_exposure_cd_m2(read), white)
    return 255 * in_blocks(image)


@pytest.mark.parametrize("white", ["adapted", "D65"])
def test_picture_follows_the_sliders_as_the_library_draws_it(tank, res, white):
    tank.show("front")
    tank.page.locator(f"input[name=white][value={white}]").check()
    for dims in ([1.0, 1.0, 1.0], [0.2, 1.0, 0.0]):
        for m, dim in enumerate(dims):
            tank.set_slider(f"A-{m}", 100 * dim)
        shown, drawn = seen_on_page(tank), seen_by_library(res, dims, white)
        shown, drawn = shown[1:-2], drawn[1:-2]  # without the line of the water, and the soil behind the pane
        lit = drawn.max(axis=-1) > 5.0
        assert lit.sum() > 10
        assert np.abs(shown - drawn)[lit].mean() < 1.5 and np.abs(shown - drawn).max() < 8.0
    other = seen_by_library(res, [1.0, 1.0, 1.0], white)[1:-2]
    assert np.abs(shown - other)[lit].mean() > 6.0


def test_exposure_slider_brightens_the_picture(tank):
    before = seen_on_page(tank)
    tank.set_slider("exposure", 2)
    assert seen_on_page(tank).mean() > 1.3 * before.mean()
    assert "+2 stops" in tank.text("exposure-words")
    tank.set_slider("exposure", 0)


def test_what_the_picture_leaves_out_is_said(tank):
    tank.show("front")
    assert "Plants without a canopy" in tank.page.locator("#front details").text_content()
    assert "cd m⁻²" in tank.text("front-caption")


@pytest.mark.parametrize("dims", [[0.5, 0.3, 0.0], [0.2, 0.2, 0.0], [1.0, 0.6, 0.3]])
def test_rendering_index_follows_the_sliders(tank, res, dims):
    for m, dim in enumerate(dims):
        tank.set_slider(f"A-{m}", 100 * dim)
    expected = colour.cri_ra(maps.spectrum(res, "soil", dims).value)
    assert float(re.search(r"Ra ([\d.]+)", tank.text("soil-colour"))[1]) == pytest.approx(expected, rel=5e-3)
    tank.show("lamps")
    lamps = np.array(dims) @ np.array([channel.spectrum for channel in res.channels])
    shown = re.search(
        r"([\d ]+)\D.*K, Duv ([+−][\d.]+), (.*)\.", tank.page.locator("#lamps .caption").inner_text()
    )
    found = colour.describe(lamps)
    assert float(shown[2].replace("−", "-")) == pytest.approx(found.duv, abs=3e-4)
    if found.ra is None:
        assert shown[3].startswith("too far from white")
    else:
        assert float(re.search(r"Ra ([\d.]+)", shown[3])[1]) == pytest.approx(found.ra, rel=5e-3)


def test_no_rendering_index_far_from_white(tank, res):
    for m, dim in enumerate([0.2, 1.0, 0.0]):
        tank.set_slider(f"A-{m}", 100 * dim)
    assert colour.describe(maps.spectrum(res, "soil", [0.2, 1.0, 0.0]).value).ra is None
    assert "Ra " not in tank.text("soil-colour").replace("for an Ra", "")


def test_two_tanks_are_seen_side_by_side_in_one_exposure(chromium, pair_path):
    with browser.Opened(chromium, pair_path) as pair:
        pair.show("front")
        pair.until(
            "['A', 'B'].every((n) => document.getElementById(`front-${n}`).hasAttribute('aria-label'))"
        )
        assert pair.page.locator("#front-B").is_visible()
        assert pair.page.locator("input[name=white][value=D65]").is_checked()
        assert pair.faults == []


def test_rendering_index_of_warm_light_is_taken_against_a_black_body(chromium, res, tmp_path):
    warm = res.channels[0].spectrum.sum() * lamp("warm white 3000 K").on_grid().value
    channels = [dataclasses.replace(channel, spectrum=warm) for channel in res.channels]
    lit = dataclasses.replace(res, channels=channels)
    expected = colour.describe(maps.spectrum(lit, "soil").value)
    assert expected.cct_k < 5000
    with browser.Opened(chromium, save_page([lit], tmp_path / "warm.html").resolve()) as opened:
        shown = re.search(r"Ra ([\d.]+)", opened.text("soil-colour"))
        assert float(shown[1]) == pytest.approx(expected.ra, rel=5e-3)


def test_page_without_a_picture_says_so(chromium, res, tmp_path):
    """A film of a material in a file that the result does not keep: nothing is made up in its place."""
    film = '[tank.panes]\nright = { state = "dry film", colour = "lost.csv" }\n\n[water]'
    lost = dataclasses.replace(res, scene_text=res.scene_text.replace("[water]", film))
    with browser.Opened(chromium, save_page([lost], tmp_path / "lost.html").resolve()) as opened:
        opened.show("front")
        assert opened.page.locator("#no-front").is_visible()
        assert opened.page.locator("#front-settings").is_hidden()
        assert opened.faults == []
