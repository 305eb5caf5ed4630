"""The repository as a stranger meets it: links lead somewhere, examples fit the program, names exist."""

from __future__ import annotations

import ast
import importlib
import pkgutil
import re
import shlex
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import underlit
from underlit.cli import app

ROOT = Path(__file__).parents[1]
PAGES = [
    *sorted(ROOT.glob("*.md")),
    *sorted((ROOT / "docs").rglob("*.md")),
    *sorted((ROOT / "scenes").rglob("*.md")),
]
CODE = [
    path
    for folder in ("src", "tests", "benchmarks", "scenes", "docs")
    for path in (ROOT / folder).rglob("*.py")
]
TEXTS = [*PAGES, *CODE, *(ROOT / "scenes").rglob("*.toml"), ROOT / "pyproject.toml", ROOT / ".ci" / "run"]
FENCE = re.compile(r"^ *```(\w*)\n(.*?)^ *```$", re.M | re.S)
LARGEST_PICTURE = 300_000  # bytes: a page must load at once

# What must not stay in a file that others read.
UNWANTED = {
    "a path of one machine": r"/(?:home|root|Users)/\w|[A-Z]:\\Users",
    "unfinished work": r"\b(?:TODO|FIX" + "ME|XX" + r"X|HACK)\b",
    "praise of itself": r"\b(?:revolutionary|seamless(?:ly)?|cutting-edge|state-of-the-art|blazing(?:ly)?|game-chang)",
    "a quantity without its name": r"\b(?:PAR levels?|PAR values?|light intensit(?:y|ies)|light levels?)\b",
}


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


def blocks(page: Path, language: str) -> list[str]:
    return [text for kind, text in FENCE.findall(page.read_text(encoding="utf-8")) if kind == language]


def anchors(page: Path) -> set[str]:
    """Anchors of a page's headings, as repository sites make them."""
    text = FENCE.sub("", page.read_text(encoding="utf-8"))
    headings = re.findall(r"^#+ +(.+?) *$", text, re.M)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def links(page: Path) -> list[str]:
    text = re.sub(r"`[^`\n]*`", "", FENCE.sub("", page.read_text(encoding="utf-8")))
    return re.findall(r"\]\(([^)\s]+)\)", text)


@pytest.mark.parametrize("page", PAGES, ids=named)
def test_links_lead_somewhere(page):
    for link in links(page):
        if re.match(r"https?://|mailto:", link):
            continue
        file, _, anchor = link.partition("#")
        target = (page.parent / file).resolve() if file else page
        assert target.is_relative_to(ROOT), f"{link} leads out of the repository"
        assert target.exists(), f"{link} leads nowhere"
        if anchor:
            assert anchor in anchors(target), f"{link}: no such heading"


def test_every_page_is_in_the_index():
    index = ROOT / "docs" / "index.md"
    linked = {(index.parent / link.split("#")[0]).resolve() for link in links(index)}
    for page in (ROOT / "docs").glob("*.md"):
        assert page == index or page in linked, f"docs/index.md does not mention {page.name}"


@pytest.mark.parametrize("page", PAGES, ids=named)
def test_python_of_pages_is_python_and_its_names_exist(page):
    for block in blocks(page, "python"):
        tree = ast.parse(block)
        for node in ast.walk(tree):
            if (
                isinstance(node, ast.Attribute)
                and isinstance(node.value, ast.Name)
                and node.value.id == "underlit"
            ):
                assert hasattr(underlit, node.attr) or importlib.import_module(f"underlit.{node.attr}")
            if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "underlit":
                home = importlib.import_module(node.module)
                for name in node.names:
                    assert hasattr(home, name.name) or importlib.import_module(f"{node.module}.{name.name}")


def commands(text: str) -> list[list[str]]:
    """Calls of `underlit` in a block of shell: words, without remarks, pipes and redirections."""
    calls = []
    for line in re.split(r"&&|;|\n", text.replace("\\", "/")):
        words = re.split(r" +[|>#]", line.strip())[0]
        if re.match(r"(?:\S*/)?underlit\b(?!\.)", words):
            calls.append(shlex.split(words)[1:])
    return calls


def shell_of(page: Path) -> Iterator[str]:
    """What a page tells to type: fenced blocks, and indented ones."""
    for language in ("sh", "powershell", "console", ""):
        yield from blocks(page, language)
    yield "\n".join(re.findall(r"^ {4}(underlit .*)$", FENCE.sub("", page.read_text(encoding="utf-8")), re.M))


def calls_on_pages() -> list[tuple[str, list[str]]]:
    found = [(page, call) for page in PAGES for text in shell_of(page) for call in commands(text) if call]
    return [(f"{named(page)}: {' '.join(call)}", call) for page, call in found]


CALLS = calls_on_pages()


@pytest.mark.parametrize("call", [call for _, call in CALLS], ids=[name for name, _ in CALLS])
def test_commands_on_pages_are_understood(call):
    """Command and options exist and values are of their kind; nothing is run."""
    if call[0].startswith("-"):
        return
    command = app.group.get_command(click.Context(app.group), call[0])
    assert command is not None, f"no command {call[0]}"
    if "--help" not in call:
        command.make_context(call[0], call[1:])


def test_every_command_is_on_a_page():
    assert set(app.COMMANDS) <= {call[0] for _, call in CALLS}


def test_the_checks_run_the_two_commands_of_the_readme():
    """Literally, so that what a newcomer copies is what is tried."""
    lines = [line for block in blocks(ROOT / "README.md", "sh") for line in block.splitlines()]
    setups = [line for line in lines if line.startswith("python3 -m venv")]
    assert len(setups) == 2
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for line in setups:
        assert f"'{line}'" in script


def modules() -> list[str]:
    walked = pkgutil.walk_packages(underlit.__path__, "underlit.")
    return ["underlit", *(info.name for info in walked if not info.name.endswith("__main__"))]


@pytest.mark.parametrize("name", modules())
def test_module_is_documented_and_keeps_its_promises(name):
    module = importlib.import_module(name)
    assert module.__doc__, "a module says what it is for"
    for exported in getattr(module, "__all__", ()):
        assert getattr(module, exported) is not None


@pytest.mark.parametrize("path", TEXTS, ids=named)
def test_nothing_unwanted_is_written(path):
    text = path.read_text(encoding="utf-8")
    for what, pattern in UNWANTED.items():
        found = re.search(pattern, text, re.I if what.startswith(("praise", "a quantity")) else 0)
        assert not found or path == Path(__file__), f"{what}: {found.group()!r}"


def test_pictures_are_used_and_those_of_the_readme_are_light():
    used = {(page.parent / link).resolve() for page in PAGES for link in links(page)}
    for picture in (ROOT / "docs").rglob("*.png"):
        assert picture in used, f"{named(picture)} is on no page"
    for link in links(ROOT / "README.md"):
        assert not link.endswith(".png") or (ROOT / link).stat().st_size < LARGEST_PICTURE, link


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_the_checks_are_sound_shell():
    done = subprocess.run(
        ["bash", "-n", str(ROOT / ".ci" / "run")], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_this_file_can_fail():
    """The patterns above find what they are for."""
    assert commands("cd x && underlit trace a.toml | head\n.venv/bin/underlit show b.h5 > c") == [
        ["trace", "a.toml"],
        ["show", "b.h5"],
    ]
    for what, text in {
        "a path of one machine": "see /home/someone/tank",
        "unfinished work": "# TO" + "DO later",
        "praise of itself": "a Seamless tool",
        "a quantity without its name": "the PAR level",
    }.items():
        assert re.search(UNWANTED[what], text, re.I)
