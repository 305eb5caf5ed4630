"""Run the recipes of these pages and put their tables in anew: `python docs/questions/recipes.py [page.md ...]`.

A page holds blocks of shell (` ```bash `) and of Python (` ```python `), each followed, if its outcome is shown, by
the titles of the tables to show and a block for them:

    <!-- tables: Is it possible?; Dim to -->
    ```text
    ```

The tests run the same blocks with fewer photons and hold the numbers against those printed here.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).parent
ROOT = FOLDER.parents[1]
BLOCK = re.compile(
    r"^```(?P<kind>bash|python)\n(?P<code>.*?)^```\n"
    r"(?:\s*<!-- tables: (?P<titles>[^>]*?) -->\n```text\n(?P<shown>.*?)^```\n)?",
    re.M | re.S,
)


@dataclass(frozen=True)
class Step:
    """One block of a page: its code, the titles of the tables that follow it, and the text shown there."""

    kind: str
    code: str
    titles: tuple[str, ...]
    shown: str


def pages() -> list[Path]:
    """The pages that hold recipes."""
    return sorted(page for page in FOLDER.glob("*.md") if page.name != "index.md")


def steps(page: Path) -> list[Step]:
    """Blocks of a page, in order."""
    return [_step(found) for found in BLOCK.finditer(page.read_text(encoding="utf-8"))]


def _step(found: re.Match[str]) -> Step:
    titles = tuple(title.strip() for title in (found["titles"] or "").split(";") if title.strip())
    return Step(found["kind"], found["code"], titles, found["shown"] or "")


def run(step: Step, photons: str | None = None) -> str:
    """Run one block in the present folder.

    Parameters
    ----------
    step : Step
    photons : str, optional
        In place of every `--photons` and `photons=` of the block.

    Returns
    -------
    str
        What it printed.
    """
    code = step.code
    if photons is not None:
        code = re.sub(r"--photons \S+", f"--photons {photons}", code)
        code = re.sub(r"photons=[\d_]+", f"photons={photons}", code)
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        if step.kind == "python":
            exec(compile(code, "recipe", "exec"), {"__name__": "recipe"})
        else:
            _run_shell(code)
    return said.getvalue()


def _run_shell(code: str) -> None:
    from underlit.cli import app

    for line in code.splitlines():
        words = shlex.split(line, comments=True)
        if words:
            assert words[0] == "underlit", f"a recipe calls underlit, not {words[0]}"
            status = app.run(words[1:])
            assert status == 0, f"status {status} of: {line}"


def tables(text: str) -> dict[str, str]:
    """Printed tables by title: from the title to the next blank line."""
    parts = [part.strip("\n") for part in re.split(r"\n\s*\n", text) if part.strip()]
    return {part.splitlines()[0].strip(): part for part in parts}


@contextlib.contextmanager
def workplace() -> Iterator[Path]:
    """An empty folder that holds the scenes, as a reader's folder does."""
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as name:
        shutil.copytree(ROOT / "scenes", Path(name, "scenes"))
        os.chdir(name)
        try:
            yield Path(name)
        finally:
            os.chdir(before)


def refresh(page: Path) -> None:
    """Run a page and write its tables into it."""

    def renewed(found: re.Match[str]) -> str:
        step = _step(found)
        printed = tables(run(step))
        if not step.titles:
            return found.group()
        text = "\n\n".join(
            "\n".join(row.rstrip() for row in printed[title].splitlines()) for title in step.titles
        )
        return found.group().replace(f"```text\n{step.shown}```", f"```text\n{text}\n```")

    with workplace():
        text = BLOCK.sub(renewed, page.read_text(encoding="utf-8"))
    page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    for name in sys.argv[1:] or pages():
        refresh(Path(name).resolve())
