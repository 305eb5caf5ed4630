"""The script behind docs/figures.md makes every picture that the page shows."""

import re
import runpy
import sys
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[2] / "docs"


@pytest.mark.slow
def test_the_gallery_is_made(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["make.py", "--folder", str(tmp_path), "--share", "0.002"])
    runpy.run_path(str(DOCS / "gallery" / "make.py"), run_name="__main__")
    shown = re.findall(r"\(gallery/([\w-]+\.png)\)", (DOCS / "figures.md").read_text(encoding="utf-8"))
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(shown)


def test_the_page_shows_pictures_that_are_there():
    shown = re.findall(r"\(gallery/([\w-]+\.png)\)", (DOCS / "figures.md").read_text(encoding="utf-8"))
    assert len(shown) > 10
    assert all((DOCS / "gallery" / name).is_file() for name in shown)
