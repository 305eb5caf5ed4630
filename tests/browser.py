"""Headless Chromium for the tests of the page; none is downloaded, one that is installed is used.

python tests/browser.py    ends well if pages can be opened here, and says why not otherwise
"""

from __future__ import annotations

import os
import shutil
import sys
from contextlib import contextmanager
from functools import cache
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
# Software rendering of WebGL, and no talk to anyone.
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--enable-unsafe-swiftshader", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


def chromium(playwright) -> str | None:
    """Path of a Chromium: the one that `CHROMIUM` names, one on the path, or that of Playwright."""
    named = os.environ.get("CHROMIUM") or next((path for name in NAMES if (path := shutil.which(name))), None)
    own = playwright.chromium.executable_path
    return named or (own if Path(own).exists() else None)


@cache
def why_not() -> str:
    """Why pages cannot be opened here; empty if they can."""
    try:
        from playwright.sync_api import Error
    except ImportError:
        return "playwright is not installed"
    try:
        with running() as browser:
            return "" if browser.version else "Chromium has no version"
    except FileNotFoundError as error:
        return str(error)
    except Error as error:
        return f"Chromium does not start: {error.message.splitlines()[0]}"


@contextmanager
def running():
    """A browser for several pages."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        path = chromium(playwright)
        if path is None:
            raise FileNotFoundError("no Chromium is installed; CHROMIUM may name one")
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


class Opened:
    """A page opened with the network off, and what it complained of."""

    def __init__(self, browser, path, width=1280, height=900, scheme="light"):
        size = {"width": width, "height": height}
        self.context = browser.new_context(viewport=size, color_scheme=scheme, offline=True)
        self.page = self.context.new_page()
        self.faults: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda said: said.type == "error" and self.faults.append(said.text))
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())
        self.page.wait_for_selector("html[data-ready=all]", timeout=60_000)  # its policy allows no evaluation

    def __enter__(self):
        return self

    def __exit__(self, *fault):
        self.context.close()

    def set_slider(self, name, value):
        """Move a slider as a hand does, and let the page answer."""
        self.page.locator(f"#{name}").evaluate(
            "(node, value) => { node.value = value; node.dispatchEvent(new Event('input', { bubbles: true })); }",
            value,
        )
        self.settle()

    def until(self, script):
        """Wait for a script to give something true."""
        for _ in range(200):
            if self.page.evaluate(script):
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"never true: {script}")

    def set_back(self):
        """Sliders, height and place on the page as it opened."""
        self.page.locator("#A-traced").click()
        self.set_slider("level", 0)
        self.page.evaluate("window.scrollTo(0, 0)")
        self.page.evaluate("document.activeElement.blur()")
        self.settle()

    def settle(self):
        """Until the next frames are drawn."""
        self.page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")

    def show(self, name):
        """Bring a part of the page into view."""
        self.page.locator(f"#{name}").scroll_into_view_if_needed()
        self.page.wait_for_timeout(150)
        self.settle()

    def text(self, name):
        return self.page.locator(f"#{name}").inner_text()

    def number(self, name):
        """Value before any ±, as shown."""
        return float(self.text(name).split("±")[0].replace("−", "-"))

    def table(self, name):
        """Rows of a table as texts, headings first."""
        rows = (
            f"[...document.querySelectorAll('#{name} tr')].map((r) => [...r.cells].map((c) => c.textContent))"
        )
        return self.page.evaluate(rows)


if __name__ == "__main__":
    sys.exit(why_not() or 0)
