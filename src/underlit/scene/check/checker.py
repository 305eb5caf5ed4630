"""Collects faults, with what all checks need: values as written, names, files."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path as FilePath
from typing import Any

from underlit import spectra, units
from underlit.errors import DataError, Fault
from underlit.scene.document import Document, Path, dotted
from underlit.scene.faults import got
from underlit.scene.fields import nearest
from underlit.scene.model import Scene

CLOSE_M = 1e-6  # lengths closer than this are equal: far below any real tank, far above rounding


@dataclass(frozen=True)
class Found:
    """A fault with its place."""

    path: Path
    line: int
    fault: Fault


class Checker:
    """Faults of one scene while they are gathered.

    Parameters
    ----------
    scene : Scene
    document : Document
    """

    def __init__(self, scene: Scene, document: Document) -> None:
        self.scene, self.document = scene, document
        self.found: list[Found] = []

    def fault(self, path: Path, what: str, hint: str = "") -> None:
        """Note a fault at a key."""
        self.found.append(
            Found(path, self.document.line(path) or 0, Fault(self.document.where(path), what, hint))
        )

    def wrong(self, path: Path, expected: str, hint: str = "") -> None:
        """Note a fault at a key whose written value is quoted."""
        self.fault(path, f"got {got(self.written(path))}, expected {expected}.", hint)

    def warn(self, path: Path, sentence: str) -> None:
        """Note what is allowed but unlikely to be meant."""
        self.scene.warnings.append(f"{dotted(path)}: {sentence}")

    def written(self, path: Path) -> Any:
        """A value as it stands in the file; None where the file does not have it."""
        return self.document.value(path)

    def given(self, path: Path) -> bool:
        """Whether a key stands in the file."""
        return self.written(path) is not None

    def one_of(self, path: Path, ways: Sequence[str], what: str, *, needed: bool = True) -> str | None:
        """The one key given of several that exclude each other; any more, or none when needed, is a fault."""
        given = [key for key in ways if self.given((*path, key))]
        listed = ", ".join(f"`{key}`" for key in ways[:-1]) + f" or `{ways[-1]}`"
        if len(given) > 1:
            named = " and ".join(f"`{key}`" for key in given)
            self.fault(
                (*path, given[1]), f"got {named}, expected one of {listed} for {what}.", "Keep one of them."
            )
        elif not given and needed:
            self.fault(path, f"nothing says {what}.", f"Give one of {listed}.")
        return given[0] if len(given) == 1 else None

    def unique(self, table: str, names: Iterable[str], key: Callable[[int], Path]) -> None:
        """Names of a kind must differ, for results are found by them."""
        seen: dict[str, int] = {}
        for i, name in enumerate(names):
            if name in seen:
                first = self.document.line(key(seen[name]))
                place = f" (line {first})" if first else ""
                self.fault(
                    key(i),
                    f'the name "{name}" is taken by another {table}{place}.',
                    "Give each its own name.",
                )
            seen.setdefault(name, i)

    def known(
        self,
        path: Path,
        name: Any,
        names: Sequence[str],
        what: str,
        endings: tuple[str, ...] = (),
        read: Callable[..., Any] | None = None,
    ) -> None:
        """A name must be in a table, or be a file that `read` can use when files are allowed."""
        if not isinstance(name, str) or name in names:
            return
        if read is not None and name.lower().endswith(endings):
            if self.file(path, name, endings):
                self.data(path, partial(read, name, spectra.NODES_NM, self.scene.folder))
            return
        near = nearest(name, list(names))
        own = f" A file of your own ends in {' or '.join(endings)}." if endings else ""
        hint = f'Did you mean "{near}"?' if near else f"Known: {', '.join(names)}.{own}"
        self.fault(path, f'there is no {what} called "{name}".', hint)

    def file(self, path: Path, name: str, endings: tuple[str, ...], largest: int = 2_000_000_000) -> bool:
        """A file named in the scene must be there, of a readable kind and size. True if it can be read."""
        if not name.lower().endswith(endings):
            self.fault(path, f'got the file "{name}", expected one that ends in {", ".join(endings)}.')
            return False
        if self.scene.folder is None:
            return False
        file = self.scene.file(name)
        try:
            if not file.is_file():
                self.fault(path, f'there is no file "{name}".', _beside(file, endings, self.scene.folder))
                return False
            size = file.stat().st_size
        except OSError as error:
            self.fault(path, f'the file "{name}" cannot be read: {error.strerror}.')
            return False
        if size > largest:
            self.fault(
                path, f'the file "{name}" has {size / 1e6:,.0f} MB, expected at most {largest / 1e6:,.0f} MB.'
            )
            return False
        return True

    def data(self, path: Path, read: Callable[[], Any]) -> Any:
        """What a reader of data makes of a value, or None with its complaint noted as a fault."""
        try:
            return read()
        except DataError as error:
            hint = error.hint.split(" Known:")[0] if error.hint.startswith("Nearest:") else error.hint
            self.fault(path, f"{error.where}: {error.what}" if error.where else error.what, hint)
            return None


def cm(metres: float) -> str:
    """A length for a sentence."""
    return units.show(metres, "length")


def _beside(file: FilePath, endings: tuple[str, ...], folder: FilePath) -> str:
    """What could have been meant by a file that is not there."""
    try:
        there = sorted(one.name for one in file.parent.iterdir() if one.name.lower().endswith(endings))[:6]
    except OSError:
        there = []
    where = f"File names start from the folder of the scene, {folder}."
    return f"{where} Beside it there is: {', '.join(there)}." if there else where
