"""How soon a question about a traced scene is answered: shares of the time that tracing it took, in the same run.

    python -m benchmarks.answers --scenes c-driftwood f-diy-bars

A change of dimming, spectrum or age, with errors, and the median of a zone; the journal page made; and, where
Playwright finds a Chromium, the page's answer to a slider with map, plants and front view in sight.
"""

from __future__ import annotations

import argparse
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from benchmarks.shipped import MAP_ERR, SCENES
from underlit.journal import save_page
from underlit.metrics import maps, revise, zones
from underlit.scene import load_scene
from underlit.tracer import trace

_DRAWS = "performance.getEntriesByName('journal-draw').slice(-12).map((each) => each.duration)"


def seconds(action: Callable[[], object], rounds: int) -> float:
    """Median time of an action."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return float(np.median(times))


def changes(res) -> dict[str, Callable[[], object]]:
    """What a keeper may ask of a result, by name."""
    lamp, channel, zone = res.channels[0].fixture, res.channels[0].label, zones.find_zones(res)[0]
    return {
        "dim a channel": lambda: maps.ppfd(res, "soil", {channel: 0.5}).std_err,
        "swap its diodes": lambda: maps.ppfd(revise.with_spectrum(res, channel, "LED-B3"), "soil").std_err,
        "age a lamp": lambda: maps.ppfd(revise.with_output(res, {lamp: 0.8}), "soil").std_err,
        "median of a zone": lambda: zones.median(res, zone, {channel: 0.5}).std_err,
    }


def slider_seconds(path: Path) -> float:
    """Median time in which a page answers a slider."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome")))
        chromium = playwright.chromium.launch(executable_path=next(found, None), args=["--no-sandbox"])
        tab = chromium.new_page(viewport={"width": 1280, "height": 2600})
        tab.goto(path.resolve().as_uri())
        tab.wait_for_selector("html[data-ready=all]", timeout=60_000)
        tab.wait_for_selector("#front-A[aria-label]", timeout=60_000)
        for value in range(90, 30, -5):
            tab.locator("#A-0").evaluate(
                "(slider, to) => { slider.value = to; slider.dispatchEvent(new Event('input', { bubbles: true })); }",
                value,
            )
            tab.wait_for_timeout(300)
        return float(np.median(tab.evaluate(_DRAWS))) / 1e3


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", nargs="+", default=["c-driftwood", "f-diy-bars"])
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    for name in options.scenes:
        scene = load_scene(SCENES / name / "scene.toml")
        trace(scene, photons=1000)  # compiles and loads
        start = time.perf_counter()
        res = trace(scene, precision=MAP_ERR)
        traced_s = time.perf_counter() - start
        print(f"{name}: traced to {MAP_ERR:.0%} in {traced_s:.2f} s")
        maps.ppfd(res, "soil")  # reads the tallies
        times = {what: seconds(action, options.rounds) for what, action in changes(res).items()}
        with TemporaryDirectory() as folder:
            path = Path(folder) / "tank.html"
            start = time.perf_counter()
            save_page([res], path)
            times["make the page"] = time.perf_counter() - start
            try:
                times["move a slider of it"] = slider_seconds(path)
            except Exception as error:  # of many kinds: no Playwright, no browser, one that does not start
                print(f"  page not opened: {str(error).splitlines()[0]}")
        for what, taken_s in times.items():
            print(f"  {what:<22}{1e3 * taken_s:8.1f} ms  {taken_s / traced_s:7.4f} of the trace", flush=True)


if __name__ == "__main__":
    main()
