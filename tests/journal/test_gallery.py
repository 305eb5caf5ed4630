"""The script behind the pictures of docs/journal.md makes every one that the page shows."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import browser

DOCS = Path(__file__).parents[2] / "docs"


@pytest.mark.slow
def test_the_pictures_are_made(tmp_path):
    """In a process of its own, as the other tests hold a browser already."""
    # A fresh process also asks whether there is a browser: this one may hold one, and can start no second.
    asked = subprocess.run([sys.executable, browser.__file__], capture_output=True, text=True)
    if asked.returncode:
        pytest.skip(asked.stderr.strip())
    script = [sys.executable, str(DOCS / "gallery" / "make_journal.py")]
    subprocess.run([*script, "--folder", str(tmp_path), "--share", "0.01"], check=True, timeout=300)
    shown = re.findall(r"\(gallery/([\w-]+\.png)\)", (DOCS / "journal.md").read_text(encoding="utf-8"))
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(shown)
