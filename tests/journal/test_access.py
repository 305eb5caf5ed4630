"""An outside judge of accessibility, axe-core, on the page as it opens and as it looks in the dark."""

from __future__ import annotations

import pytest

import browser

axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-core is not installed")
GRAVE = ("serious", "critical")


@pytest.mark.parametrize(
    ("width", "scheme"), [(1280, "light"), (1280, "dark"), (390, "light"), (390, "dark")]
)
def test_no_serious_finding(chromium, pair_path, width, scheme):
    with browser.Opened(chromium, pair_path, width, 900, scheme) as opened:
        for details in opened.page.locator("details").all():
            details.evaluate("node => { node.open = true; }")
        for name in (
            "light",
            "front",
            "zones",
            "solid",
            "spot",
            "sections",
            "panes",
            "compare",
            "lamps",
            "ends",
        ):
            opened.show(name)
        found = axe.Axe().run(opened.page).response["violations"]
        grave = [
            (each["id"], each["help"], [node["html"][:120] for node in each["nodes"]])
            for each in found
            if each["impact"] in GRAVE
        ]
        assert grave == []


def test_axe_can_find_something(chromium, page_path):
    with browser.Opened(chromium, page_path) as opened:
        opened.page.evaluate("document.querySelector('label[for=level]').remove()")
        found = axe.Axe().run(opened.page).response["violations"]
        assert any(each["impact"] in GRAVE for each in found)


def test_everything_can_be_reached_and_worked_by_keyboard(chromium, page_path):
    with browser.Opened(chromium, page_path) as tank:
        order = []
        for _ in range(80):
            tank.page.keyboard.press("Tab")
            order.append(
                tank.page.evaluate("document.activeElement.id || document.activeElement.textContent.trim()")
            )
        wanted = [
            "Skip to the light",
            "A-all",
            "A-0",
            "A-hours",
            "level",
            "solid-view",
            "Above",
            "spot-surface",
        ]
        places = [order.index(name) for name in wanted]
        assert places == sorted(places)
        tank.page.locator("#A-0").focus()
        before = tank.number("key-power")
        tank.page.keyboard.press("ArrowLeft")
        tank.show("keys")
        tank.settle()
        assert tank.number("key-power") < before
        tank.page.locator("#solid-view").focus()
        camera = "document.getElementById('solid-view').layout.scene.camera.eye.x"
        eye = tank.page.evaluate(camera)
        tank.page.keyboard.press("ArrowRight")
        tank.until(f"Math.abs({camera} - {eye}) > 0.01")
