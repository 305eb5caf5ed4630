"""A TOML text with the place of each of its keys.

The standard library reads the values; this module finds on which line each key stands and which characters
its value takes, so that faults can name the line and values can be changed in place. A path is a tuple of
keys and numbers of array entries, as `("fixture", 0, "channel", 1, "power")`.
"""

from __future__ import annotations

import bisect
import re
import tomllib
from dataclasses import dataclass
from typing import Any

from underlit.errors import Fault, SceneError

Path = tuple[str | int, ...]

LONGEST_TEXT = 1_000_000  # characters; a scene of a hundred pieces takes some 30,000

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_UNQUOTED = re.compile(r"=\s*([-+]?[\d.]+\s*[A-Za-z°%µ\"][^#\n]*?)\s*(?:#.*)?$")
_TWICE = "This key or table stands twice in the file. Entries of a list have double brackets: [[fixture]]."


@dataclass(frozen=True)
class Span:
    """Where a value stands: first character and the one after the last."""

    start: int
    end: int


class Document:
    """A scene text, its values as nested dicts and lists, and the places of its keys.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        What to call it in faults, usually the file's name.

    Raises
    ------
    SceneError
        The text is not TOML; the fault has line, column and the line itself.
    """

    def __init__(self, text: str, name: str = "scene") -> None:
        self.text, self.name = text, name
        self._starts = [0] + [match.end() for match in re.finditer("\n", text)]
        if len(text) > LONGEST_TEXT:
            what = f"got a scene of {len(text):,} characters, expected at most {LONGEST_TEXT:,}."
            raise SceneError(
                [Fault(name, what, "Put long lists into files of their own and name them in the scene.")]
            )
        self.data: dict[str, Any] = self._load()
        self.places = _Scanner(text).places()

    def line(self, path: Path) -> int | None:
        """Line of a key, or of the nearest table above it that stands in the text."""
        for end in range(len(path), 0, -1):
            if path[:end] in self.places:
                return self.line_of(self.places[path[:end]].key)
        return None

    def value(self, path: Path) -> Any:
        """A value as it stands in the text; None where the text does not have it."""
        data: Any = self.data
        for step in path:
            try:
                data = data[step]
            except (KeyError, IndexError, TypeError):
                return None
        return data

    def span(self, path: Path) -> Span | None:
        """Characters of a key's value, if the key stands in the text with a value."""
        place = self.places.get(path)
        return place.value if place else None

    def has_header(self, path: Path) -> bool:
        """Whether a table begins with a header of its own, `[path]` or `[[path]]`."""
        place = self.places.get(path)
        return place is not None and place.header

    def line_of(self, offset: int) -> int:
        """Line of a character, from 1."""
        return bisect.bisect_right(self._starts, offset)

    def where(self, path: Path) -> str:
        """`tank.toml:12  tank.thickness`."""
        line = self.line(path)
        place = f"{self.name}:{line}" if line else self.name
        return f"{place}  {dotted(path)}" if path else place

    def _load(self) -> dict[str, Any]:
        try:
            return tomllib.loads(self.text)
        except tomllib.TOMLDecodeError as error:
            raise SceneError([self._syntax(str(error))]) from None
        except RecursionError:
            raise SceneError(
                [Fault(self.name, "the brackets are nested too deeply to be a scene.")]
            ) from None
        except ValueError:  # the one thing that Python refuses beyond TOML: numbers of thousands of digits
            found = re.search(r"\d{4000}", self.text)
            where = f"{self.name}:{self.line_of(found.start())}" if found else self.name
            raise SceneError([Fault(where, "a number has too many digits to be read.")]) from None

    def _syntax(self, message: str) -> Fault:
        """A syntax error with its line quoted, and a hint for the usual slips."""
        found = _PLACE.search(message)
        line = int(found.group(1)) if found and found.group(1) else len(self._starts)
        column = int(found.group(2)) if found and found.group(2) else 1
        content = self.text.split("\n")[line - 1].rstrip("\r") if self.text else ""
        what = f"not TOML: {_PLACE.sub('', message)}.\n{_excerpt(content, column)}"
        twice = "Cannot overwrite" in message or "Cannot declare" in message
        return Fault(f"{self.name}:{line}:{column}", what, _TWICE if twice else _slip(content))


def dotted(path: Path) -> str:
    """A path in the words of the file: `fixture[1].channel[2].power`; entries are counted from 1."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f"[{step + 1}]"
        else:
            word = step if _BARE_KEY.fullmatch(step) else '"' + printable(step[:40]).replace('"', '\\"') + '"'
            text += f".{word}" if text else word
    return text


def printable(text: str, instead: str | None = None) -> str:
    """Text without characters that would act on a terminal; in their place their number, or `instead`."""
    return "".join(c if c.isprintable() else instead or f"\\u{ord(c):04x}" for c in text)


def _excerpt(line: str, column: int, width: int = 76) -> str:
    """The line with a caret below the column, cut to a readable width."""
    start = max(0, column - width // 2) if len(line) > width else 0
    cut = printable(line[start : start + width], "?")
    return f"  {cut}\n  {' ' * (column - 1 - start)}^"


def _slip(line: str) -> str:
    """What was probably meant by a line that is not TOML."""
    if any(quote in line for quote in "“”„‘’"):
        return 'Use straight quotes: "60 cm".'
    if found := _UNQUOTED.search(line):
        value = found.group(1).strip().strip('"')
        return f'A value with a unit stands in quotes: write "{value}".'
    if re.search(r"[=,\[]\s*-?\.\d", line):
        return "A number begins with a digit: 0.1."
    if line.split("#")[0].count('"') % 2:
        return "A text ends with the quote it began with: one is missing."
    if re.match(r"\s*[\w.\"' -]+\s*:", line):
        return "A key and its value are joined by =, not by a colon."
    if re.search(r"=\s*[A-Za-z]", line):
        return 'A text stands in quotes: "clean".'
    return ""


@dataclass(frozen=True)
class _Place:
    """Where a key stands, its value if it has one of its own, and whether it is a header."""

    key: int
    value: Span | None = None
    header: bool = False


class _Scanner:
    """Walks a text known to be valid TOML and notes where each key and value stands."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.found: dict[Path, _Place] = {}
        self.entries: dict[Path, int] = {}  # entries so far of each array of tables

    def places(self) -> dict[Path, _Place]:
        """Place by path, for the whole text."""
        table: Path = ()
        while self._skip():
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
        return self.found

    def _skip(self) -> bool:
        """Go past blanks, line ends and comments; False at the end of the text."""
        while self.at < len(self.text):
            if self.text[self.at] == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            elif self.text[self.at] in " \t\r\n\ufeff":
                self.at += 1
            else:
                return True
        return False

    def _header(self) -> Path:
        """`[a.b]` or `[[a.b]]`: the path of the table that begins."""
        start = self.at
        repeated = self.text.startswith("[[", self.at)
        self.at += 2 if repeated else 1
        keys = self._keys()
        self.at = self.text.index("]", self.at) + (2 if repeated else 1)
        path: Path = ()
        for key in keys[:-1]:
            path = self._last((*path, key), start)
        path = (*path, keys[-1])
        if not repeated:
            self.found[path] = _Place(start, header=True)
            return path
        self._note(path, _Place(start))
        self.entries[path] = self.entries.get(path, 0) + 1
        path = (*path, self.entries[path] - 1)
        self._note(path, _Place(start, header=True))
        return path

    def _last(self, path: Path, start: int) -> Path:
        """A table on the way; of an array of tables its last entry."""
        self._note(path, _Place(start))
        return (*path, self.entries[path] - 1) if path in self.entries else path

    def _note(self, path: Path, place: _Place) -> None:
        self.found.setdefault(path, place)

    def _keys(self) -> list[str]:
        """A key, perhaps dotted."""
        keys = []
        while True:
            self._skip()
            keys.append(self._key())
            self._skip()
            if self.text[self.at : self.at + 1] != ".":
                return keys
            self.at += 1

    def _key(self) -> str:
        if self.text[self.at] in "\"'":
            start = self.at
            self._string()
            return str(tomllib.loads("key = " + self.text[start : self.at])["key"])
        match = _BARE_KEY.match(self.text, self.at)
        assert match, "the text was valid TOML"
        self.at = match.end()
        return match.group()

    def _pair(self, table: Path) -> None:
        """`key = value` in a table."""
        start = self.at
        keys = self._keys()
        for i in range(1, len(keys)):
            self._note((*table, *keys[:i]), _Place(start))
        self.at = self.text.index("=", self.at) + 1
        self._skip()
        path = (*table, *keys)
        first = self.at
        self._value(path)
        self.found[path] = _Place(start, Span(first, self.at))

    def _value(self, path: Path) -> None:
        mark = self.text[self.at]
        if mark in "\"'":
            self._string()
        elif mark == "[":
            self._array(path)
        elif mark == "{":
            self._inline(path)
        else:
            while self.at < len(self.text) and self.text[self.at] not in ",]}#\n":
                self.at += 1
            while self.text[self.at - 1] in " \t\r":
                self.at -= 1

    def _array(self, path: Path) -> None:
        self.at += 1
        for i in range(len(self.text)):
            self._skip_commas()
            if self.text[self.at] == "]":
                break
            first = self.at
            self._value((*path, i))
            self.found[(*path, i)] = _Place(first, Span(first, self.at))
        self.at += 1

    def _inline(self, path: Path) -> None:
        self.at += 1
        self._skip_commas()
        while self.text[self.at] != "}":
            self._pair(path)
            self._skip_commas()
        self.at += 1

    def _skip_commas(self) -> None:
        self._skip()
        while self.text[self.at] == ",":
            self.at += 1
            self._skip()

    def _string(self) -> None:
        """Go past a string, of one or of several lines."""
        quote = self.text[self.at]
        mark = quote * 3 if self.text.startswith(quote * 3, self.at) else quote
        self.at += len(mark)
        while not self.text.startswith(mark, self.at):
            self.at += 2 if quote == '"' and self.text[self.at] == "\\" else 1
        self.at += len(mark)
        while len(mark) == 3 and self.text.startswith(
            quote, self.at
        ):  # quotes may end a text before its mark
            self.at += 1
