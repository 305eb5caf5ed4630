"""Pages of shipped scenes: small, and able to answer with map, plants and front view in sight."""

from __future__ import annotations

from pathlib import Path

import pytest

import browser
from underlit import load_scene, trace
from underlit.journal import page, save_page

SCENES = Path(__file__).parents[2] / "scenes"


@pytest.mark.slow
@pytest.mark.parametrize("name", ["c-driftwood", "f-diy-bars"])
def test_page_of_a_shipped_scene(chromium, tmp_path, name):
    res = trace(load_scene(SCENES / name), photons=100_000)
    path = save_page([res], tmp_path / "tank.html").resolve()
    assert path.stat().st_size < page.MOST_BYTES == 8_000_000
    with browser.Opened(chromium, path, height=2600) as opened:
        opened.until("document.getElementById('front-A').hasAttribute('aria-label')")
        before = opened.page.locator("#front-A").get_attribute("aria-label")
        opened.set_slider("A-0", 30)
        assert opened.page.locator("#front-A").get_attribute("aria-label") != before
        assert opened.faults == []
        assert [url for url in opened.asked if not url.startswith(("file:", "data:", "blob:"))] == []
