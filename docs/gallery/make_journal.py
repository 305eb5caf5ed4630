"""Make the pictures of docs/journal.md: a page of the driftwood tank as a browser shows it.

python docs/gallery/make_journal.py                 needs playwright and an installed Chromium
python docs/gallery/make_journal.py --folder /tmp/g --share 0.01
"""

from __future__ import annotations

import argparse
import io
import os
import shutil
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

import underlit
from underlit.journal import save_page

HERE = Path(__file__).parent
SCENE = HERE.parent.parent / "scenes" / "c-driftwood" / "scene.toml"
PHOTONS = 4e6
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--enable-unsafe-swiftshader"]
SHOTS = {  # part of the page on top of the picture, width, height, colours
    "journal": ("figures", 1280, 860, "light"),
    "journal-tank": ("solid", 1280, 760, "dark"),
    "journal-phone": ("light", 390, 780, "light"),
}


def main() -> None:
    """Trace the tank, make its page, photograph it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, default=HERE)
    parser.add_argument("--share", type=float, default=1.0, help="of the usual number of photons")
    options = parser.parse_args()
    found = underlit.trace(underlit.load_scene(SCENE), photons=int(PHOTONS * options.share))
    with tempfile.TemporaryDirectory() as folder:
        shoot(save_page([found], Path(folder) / "tank.html").resolve(), options.folder)


def shoot(page: Path, folder: Path) -> None:
    """One picture for each of `SHOTS`."""
    with sync_playwright() as playwright:
        path = os.environ.get("CHROMIUM") or shutil.which("chromium")  # or Playwright's own
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        for name, (part, width, height, scheme) in SHOTS.items():
            size = {"width": width, "height": height}
            context = browser.new_context(viewport=size, color_scheme=scheme, offline=True)
            _save(_shot(context.new_page(), page, part), folder / f"{name}.png")
            context.close()
        browser.close()


def _shot(view: Page, page: Path, part: str) -> bytes:
    view.goto(page.as_uri())
    view.wait_for_selector("html[data-ready=all]")
    view.evaluate(f"document.getElementById('{part}').scrollIntoView({{ behavior: 'instant' }})")
    view.wait_for_timeout(1500)
    return view.screenshot()


def _save(png: bytes, path: Path) -> None:
    Image.open(io.BytesIO(png)).convert("RGB").save(path, optimize=True)


if __name__ == "__main__":
    main()
