"""A stand-in for a scene with faulty values, so that faults between its other parts can be told in the same breath.

A faulty value gives way to its default or to an example of its key. What is then found in the entries that were
touched is not told, as it may come from the stand-in; and where a value that others lean on is faulty, such as the
height of the tank or a name, nothing is guessed.
"""

from __future__ import annotations

import copy
from typing import Any

from pydantic import BaseModel

from underlit.scene.document import Document, Path
from underlit.scene.faults import MOST_FAULTS, Slip, keys_of, meant_key, table_at

# Values that checks of other parts lean on.
_LEANT_ON = {
    ("tank", "length"),
    ("tank", "width"),
    ("tank", "height"),
    ("tank", "thickness"),
    ("water", "level"),
}


def stand_in(slips: list[Slip], document: Document, model: type[BaseModel]) -> dict[str, Any] | None:
    """Data of a document with its faulty values replaced, or None where that would be guessing.

    Parameters
    ----------
    slips : list of Slip
        What is wrong.
    document : Document
    model : type
        The model of the whole document.
    """
    if len(slips) > MOST_FAULTS:
        return None
    unknown = [slip for slip in slips if slip.kind == "extra_forbidden"]
    misspelt = {slip.path: meant_key(slip, document, model) for slip in unknown}
    found = {(*path[:-1], meant) for path, meant in misspelt.items()}  # keys missing only for being misspelt
    slips = [slip for slip in slips if not (slip.kind == "missing" and slip.path in found)]
    if any(_leant_on(slip.path) for slip in slips):
        return None
    data = copy.deepcopy(document.data)
    mended = [_mend(data, slip.path, misspelt.get(slip.path), slip.path in misspelt, model) for slip in slips]
    return data if all(mended) else None


def touched(path: Path, slips: list[Slip]) -> bool:
    """Whether a path lies in the same entry of the file as a faulty value."""
    return not path or any(_entry(path) == _entry(slip.path) for slip in slips)


def _entry(path: Path) -> Path:
    """A table at the top of the file, or one entry of a list there."""
    return path[:2] if len(path) > 1 and isinstance(path[1], int) else path[:1]


def _leant_on(path: Path) -> bool:
    return path[:2] in _LEANT_ON or path in {(), ("tank",), ("water",)} or path[-1] == "name"


def _mend(data: Any, path: Path, meant: str | None, unknown: bool, model: type[BaseModel]) -> bool:
    """Replace one faulty value or take out an unknown key; False where neither can be done."""
    while path and isinstance(path[-1], int):
        path = path[:-1]
    table = _at(data, path[:-1])
    if not path or not isinstance(table, dict):
        return False
    key = str(path[-1])
    if not unknown:
        return _replace(table, key, table_at(data, path[:-1], model))
    value = table.pop(key, None)
    if meant and value is not None:
        table.setdefault(meant, value)
    return True


def _replace(table: dict[str, Any], key: str, form: type[BaseModel] | None) -> bool:
    """Put the default of a key in place of its value, or its first example."""
    if key not in keys_of(form):
        return False
    assert form is not None
    field = next(field for name, field in form.model_fields.items() if (field.alias or name) == key)
    table.pop(key, None)
    if not field.is_required():
        return True
    if not field.examples:
        return False
    table[key] = copy.deepcopy(field.examples[0])
    return True


def _at(data: Any, path: Path) -> Any:
    for step in path:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return None
    return data
