"""The script behind the pictures of docs/journal.md makes every one that the page shows."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import browser

DOCS = Path(__file__).parents[2] / "docs"


@pytest.mark.slow
@pytest.mark.skipif(bool(browser.why_not()), reason=browser.why_not() or "a browser is there")
def test_the_pictures_are_made(tmp_path):
    """In a process of its own, as the other tests hold a browser already."""
    script = [sys.executable, str(DOCS / "gallery" / "make_journal.py")]
    subprocess.run([*script, "--folder", str(tmp_path), "--share", "0.01"], check=True, timeout=300)
    shown = re.findall(r"\(gallery/([\w-]+\.png)\)", (DOCS / "journal.md").read_text(encoding="utf-8"))
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(shown)
