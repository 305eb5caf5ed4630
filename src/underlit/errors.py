"""Every error a user can meet.

UnderlitError
├── SceneError        faults of a scene file, all of them, each with its place
├── MeshError         a mesh file that cannot be used
├── DataError         a spectrum, lamp or material file or name that cannot be used
├── ResultError       a result file that cannot be read or written
└── StudyError        a study that cannot be done as asked

An error says where, what, and what to do. The command line prints it and exits with status 2, never with a
traceback; from Python it is an ordinary exception.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class UnderlitError(Exception):
    """Base of all errors with a message meant for the user.

    Parameters
    ----------
    what : str
        What is wrong, in the words of the user's file or command.
    where : str
        File, line and key, as `tank.toml:12  tank.thickness`.
    hint : str
        What to do about it.
    """

    def __init__(self, what: str, *, where: str = "", hint: str = "") -> None:
        self.what, self.where, self.hint = what, where, hint
        super().__init__(_layout(what, where, hint))


class MeshError(UnderlitError):
    """A mesh file that cannot be used."""


class DataError(UnderlitError):
    """A spectrum, lamp or material file or name that cannot be used."""


class ResultError(UnderlitError):
    """A result file that cannot be read or written."""


class StudyError(UnderlitError):
    """A study that cannot be done as asked."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong in a scene file: where, what, what to do."""

    where: str
    what: str
    hint: str = ""

    def __str__(self) -> str:
        return _layout(self.what, self.where, self.hint)


class SceneError(UnderlitError):
    """All faults of one scene file together."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        first = self.faults[0]
        super().__init__("\n".join(str(fault) for fault in self.faults))
        self.what, self.where, self.hint = first.what, first.where, first.hint


def _layout(what: str, where: str, hint: str) -> str:
    """`where` on a line of its own, then what and what to do, indented beneath it."""
    lines = [where] if where else []
    indent = "  " if where else ""
    lines += [indent + line for text in (what, hint) if text for line in text.splitlines()]
    return "\n".join(lines)
