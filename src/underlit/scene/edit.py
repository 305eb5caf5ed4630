"""Changing values of a scene: the text is changed in place, comments and order kept, and read again.

A value is named by its path in the words of the file, `water.type` or `fixture[1].channel[2].power`. An entry of a
list is named by its number, as faults count it, or by its name: `fixture.bar.channel.red.dim`,
`hardscape."main stone".turn`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from underlit.errors import StudyError
from underlit.scene.document import Document, Path, dotted
from underlit.scene.faults import written
from underlit.scene.fields import nearest
from underlit.scene.loader import from_text
from underlit.scene.model import Scene

_STEP = re.compile(r"""\s*(?:\[(\d+)\]|\.?\s*(?:"([^"]*)"|'([^']*)'|([^.\[\]"']+)))""")


def change(scene: Scene, values: Mapping[str, Any]) -> Scene:
    """A scene with some of its values changed.

    Parameters
    ----------
    scene : Scene
    values : mapping of str to value
        New value by path, as a scene file has it: `{"fixture.bar.height": "20 cm", "water.type": "tea"}`. Keys that
        the file left out are put in.

    Returns
    -------
    Scene

    Raises
    ------
    StudyError
        A path that leads nowhere.
    SceneError
        The changed scene has faults.

    Examples
    --------
    >>> from underlit.scene.templates import template
    >>> change(from_text(template("small")), {"fixture[1].height": "20 cm"}).fixture[0].height
    0.2
    """
    text = scene.text
    for words, value in values.items():
        text = change_text(text, words, value)
    return from_text(text, scene.folder, scene.name)


def change_text(text: str, words: str, value: Any) -> str:
    """The text of a scene with one value changed or put in; arguments as of `change`."""
    document = Document(text)
    path = find(document, words)
    span = document.span(path)
    if span is not None:
        return text[: span.start] + written(value) + text[span.end :]
    if document.value(path) is not None:
        raise StudyError(f"`{words}` is a table.", hint="Name a key within it.")
    return _put_in(document, path, value, words)


def find(document: Document, words: str) -> Path:
    """Path of a value named in words; what follows the last table that the file has is taken as new keys."""
    path: Path = ()
    for step in _steps(words):
        held = document.value(path)
        path = (*path, _entry(held, step, words) if isinstance(held, list) else step)
    return path


def _steps(words: str) -> list[str | int]:
    """A path in words, step by step; numbers of entries count from 0 here."""
    steps: list[str | int] = []
    at = 0
    while at < len(words):
        found = _STEP.match(words, at)
        if not found or found.end() == at:
            raise StudyError(
                f"`{words}` is no path.", hint="Write it as `fixture[1].height` or `fixture.bar.height`."
            )
        number, *names = found.groups()
        steps.append(int(number) - 1 if number else next(name for name in names if name is not None).strip())
        at = found.end()
    if not steps:
        raise StudyError("an empty path names no value.")
    return steps


def _entry(entries: list[Any], step: str | int, words: str) -> int:
    """Number of an entry given by number or name."""
    if isinstance(step, int) and 0 <= step < len(entries):
        return step
    names = [str(entry.get("name", "")) if isinstance(entry, dict) else "" for entry in entries]
    if step in names:
        return names.index(str(step))
    near = nearest(str(step), names)
    known = ", ".join(f'"{name}"' for name in names if name)
    hint = f'Did you mean "{near}"?' if near else f"There are {len(entries)}{f': {known}' if known else ''}."
    shown = step + 1 if isinstance(step, int) else f'"{step}"'
    raise StudyError(f"`{words}`: there is no entry {shown}.", hint=hint)


def _put_in(document: Document, path: Path, value: Any, words: str) -> str:
    """Write a key that the file left out, into the innermost table that the file writes out."""
    text = document.text
    for end in range(len(path) - 1, -1, -1):
        table, rest = path[:end], path[end:]
        if any(isinstance(step, int) for step in rest):
            raise StudyError(
                f"`{words}`: there is no such entry in the file.", hint="Add the table to the file first."
            )
        held = document.value(table)
        if held is not None and not isinstance(held, dict):
            raise StudyError(
                f"`{dotted(table)}` is {written(held)}, not a table.",
                hint=f"Change `{dotted(table)}` itself.",
            )
        pair = f"{dotted(rest)} = {written(value)}"
        span = document.span(table)
        if span is not None:
            return _into_braces(text, span.start, pair, bool(held))
        if not table:
            return _at_top(text, pair)
        if document.has_header(table):
            return _after_header(text, document.places[table].key, pair)
    raise AssertionError("the top of the file holds every table")


def _into_braces(text: str, start: int, pair: str, more: bool) -> str:
    """First in an inline table."""
    return f"{text[: start + 1]} {pair}{',' if more else ' '}{text[start + 1 :]}"


def _after_header(text: str, start: int, pair: str) -> str:
    """On the line after a header."""
    end = text.find("\n", start)
    return f"{text}\n{pair}\n" if end < 0 else f"{text[: end + 1]}{pair}\n{text[end + 1 :]}"


def _at_top(text: str, pair: str) -> str:
    """Before the first table, where keys of the file itself belong."""
    first = re.search(r"^[ \t]*\[", text, re.MULTILINE)
    at = first.start() if first else len(text)
    return f"{text[:at]}{pair}\n{text[at:]}"
