"""From what pydantic finds to faults in the words of the file."""

from __future__ import annotations

import json
import types
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from underlit.errors import Fault
from underlit.scene.document import Document, Path, dotted, printable
from underlit.scene.fields import TAG, nearest
from underlit.scene.hardscape import SHAPES, MeshPiece

MOST_FAULTS = 60


@dataclass(frozen=True)
class Slip:
    """One thing that pydantic found: its place in the file, and its own record of it."""

    path: Path
    record: Any

    @property
    def kind(self) -> str:
        """pydantic's type of error."""
        return self.record["type"]


def slips_of(error: ValidationError, document: Document) -> list[Slip]:
    """What pydantic found in a document, in the order of its lines."""
    slips = [Slip(_in_file(_path(one), document.data), one) for one in error.errors(include_url=False)]
    return sorted(slips, key=lambda slip: document.line(slip.path) or 0)


def faults_of(slips: list[Slip], document: Document, model: type[BaseModel]) -> list[tuple[int, Fault]]:
    """Faults of a document with their lines, in the words of the file.

    Parameters
    ----------
    slips : list of Slip
    document : Document
        The text, for the lines.
    model : type
        The model the data were read into, for the names of known keys.
    """
    meant = {(slip.path[:-1], meant_key(slip, document, model)) for slip in slips[:MOST_FAULTS]}
    return [
        (document.line(slip.path) or 0, Fault(document.where(slip.path), *_words(slip, document, model)))
        for slip in slips[:MOST_FAULTS]
        if not (slip.kind == "missing" and (slip.path[:-1], slip.path[-1]) in meant)
    ]


def meant_key(slip: Slip, document: Document, model: type[BaseModel]) -> str | None:
    """The key that an unknown one was probably meant to be."""
    if slip.kind != "extra_forbidden":
        return None
    return nearest(str(slip.path[-1]), keys_of(table_at(document.data, slip.path[:-1], model)))


def _path(one: Any) -> Path:
    """Path of an error, without the names of variants."""
    path = tuple(step for step in one["loc"] if not str(step).startswith(TAG))
    at = one.get("ctx", {}).get("at")
    return (*path, at) if at else path


def _in_file(path: Path, data: Any) -> Path:
    """A path cut where the file has a plain value, short for a table that is not written."""
    for i, step in enumerate(path):
        if not isinstance(data, dict | list):
            return path[:i]
        if not _has(data, step):
            break
        data = data[step]  # type: ignore[index]
    return path


def got(value: Any) -> str:
    """A value as it stands in the file, cut short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        text = written(value) if len(value) <= 4 else ""
        return text if 0 < len(text) <= 60 else f"a list of {len(value)}"
    if isinstance(value, str):
        return f'"{printable(value[:40])}…"' if len(value) > 40 else f'"{printable(value)}"'
    text = str(value) if not isinstance(value, int) or abs(value) < 10**40 else "a huge number"
    return text[:60]


def _words(slip: Slip, document: Document, model: type[BaseModel]) -> tuple[str, str]:
    """What is wrong and what to do."""
    table = table_at(document.data, slip.path[:-1], model)
    key, kind = slip.path[-1] if slip.path else "", slip.kind
    context = slip.record.get("ctx", {})
    value = document.value(slip.path) if context.get("at") else slip.record["input"]
    if kind == "underlit":
        return _own(key, value, context)
    if kind == "missing":
        return _missing(key, table)
    if kind == "extra_forbidden":
        return _unknown(str(key), table)
    if kind == "literal_error":
        return _choice(key, value, context["expected"])
    return f"got {got(value)}, expected {_EXPECTED.get(kind, slip.record['msg'].lower())}.", ""


_EXPECTED = {
    "model_type": "a table",
    "model_attributes_type": "a table",
    "dict_type": "a table",
    "tuple_type": "a list",
    "list_type": "a list",
    "string_type": "a text in quotes",
    "string_too_long": "a shorter text",
    "bool_type": "true or false",
}


def _own(key: str | int, value: Any, context: dict[str, Any]) -> tuple[str, str]:
    what = f"got {context['found'] or got(value)}, expected {context['expected']}."
    hint = context["hint"]
    if context["write"]:
        entry = f"`{key} = {context['write']}`" if isinstance(key, str) else context["write"]
        hint = f"{hint} Write {entry}.".strip()
    return what, hint


def _missing(key: str | int, table: type[BaseModel] | None) -> tuple[str, str]:
    if isinstance(key, int):
        return "a value is missing in this list.", ""
    example = _example(key, table)
    if not example:
        return "missing: this table is required.", f"Add the table [{key}]."
    return "missing: this key is required.", f"Write `{key} = {example}`."


def _example(key: str, table: type[BaseModel] | None) -> str:
    """An example of a key's value, as it stands in a file."""
    for name, field in table.model_fields.items() if table else ():
        if (field.alias or name) == key and field.examples:
            return written(field.examples[0])
    return ""


def written(value: Any) -> str:
    """A value as TOML."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(written(entry) for entry in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{dotted((key,))} = {written(entry)}" for key, entry in value.items()) + " }"
    return str(value)


def keys_of(table: type[BaseModel] | None) -> list[str]:
    """Keys of a table, in the words of the file."""
    return [field.alias or name for name, field in table.model_fields.items()] if table else []


def _unknown(key: str, table: type[BaseModel] | None) -> tuple[str, str]:
    known = keys_of(table)
    hint = f"Known here: {', '.join(known)}." if known else ""
    if near := nearest(key, known):
        hint = f"Did you mean `{near}`?"
    elif table in (*SHAPES.values(), MeshPiece):
        hint = _of_another_shape(key, table) or hint
    return "unknown key.", hint


def _of_another_shape(key: str, table: type[BaseModel] | None) -> str:
    """Where a key of hardscape belongs that this piece does not have."""
    if key == "mesh":
        return "A piece has either `mesh` or `shape`."
    if key == "size" and table is MeshPiece:
        return "A mesh has the size of its file: change it by `height` or `scale`."
    shape = next((name for name, other in SHAPES.items() if key in keys_of(other)), None)
    return f'`{key}` goes with shape = "{shape}".' if shape else ""


def _choice(key: str | int, value: Any, expected: str) -> tuple[str, str]:
    words = [word.strip("'") for word in expected.replace(" or ", ", ").split(", ")]
    near = nearest(value, words) if isinstance(value, str) else None
    listed = (
        ", ".join(f'"{word}"' for word in words[:-1]) + (" or " if len(words) > 1 else "") + f'"{words[-1]}"'
    )
    return f"got {got(value)}, expected {listed}.", f'Write `{key} = "{near}"`.' if near else ""


def table_at(data: Any, path: Path, model: type[BaseModel]) -> type[BaseModel] | None:
    """The model of the table at a path, found through the models' fields."""
    here: Any = model
    for step in path:
        data = data[step] if _has(data, step) else None
        if isinstance(step, int):
            continue
        tables = [one for one in _tables(here) if step in keys_of(one)]
        if not tables:
            return None
        field = next(field for name, field in tables[0].model_fields.items() if (field.alias or name) == step)
        here = field.annotation
    return _fitting(_tables(here), data)


def _has(data: Any, step: str | int) -> bool:
    if isinstance(data, dict):
        return step in data
    return isinstance(data, list) and isinstance(step, int) and step < len(data)


def _fitting(tables: list[type[BaseModel]], data: Any) -> type[BaseModel] | None:
    """Of several possible tables the one that shares most keys and choices with the data."""
    if not tables:
        return None
    keys = set(data) if isinstance(data, dict) else set()

    def likeness(table: type[BaseModel]) -> tuple[bool, int]:
        shape = table.model_fields.get("shape")
        named = (
            shape is not None and isinstance(data, dict) and data.get("shape") in get_args(shape.annotation)
        )
        return named, len(keys & set(keys_of(table)))

    return max(tables, key=likeness)


def _tables(annotation: Any) -> list[type[BaseModel]]:
    """All models within a type."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if get_origin(annotation) is Literal:
        return []
    if get_origin(annotation) in (Annotated, Union, types.UnionType, tuple, list):
        return [table for part in get_args(annotation) for table in _tables(part)]
    return []
