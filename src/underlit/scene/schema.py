"""The scene language described from its models: a JSON Schema for editors, and tables of keys for the docs.

`python -m underlit.scene.schema docs` writes both into the folder of docs.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from underlit.scene import hardscape, lamps, plants, tank, use
from underlit.scene.faults import written
from underlit.scene.ground import Substrate
from underlit.scene.model import Scene
from underlit.scene.values import KIND, Compass, Number, Quantity, Whole, as_in_file
from underlit.scene.water import Water

SCHEMA_FILE, PAGE_FILE = "scene.schema.json", "scene-file.md"
BEGIN, END = "<!-- keys: written by `python -m underlit.scene.schema docs` -->\n", "<!-- end of keys -->\n"

# Tables of the page: how each is written in a file, and its model.
_TABLES: tuple[tuple[str, type[BaseModel]], ...] = (
    ("The top of the file", Scene),
    ("`[tank]`", tank.Tank),
    ("`[tank.panes]`", tank.Panes),
    ("A pane as a table", tank.Pane),
    ("`[tank.rim]`", tank.Rim),
    ("`[[tank.brace]]`", tank.Brace),
    ("`[tank.lid]`", tank.Lid),
    ("`[water]`", Water),
    ("`[substrate]`", Substrate),
    ("`[[hardscape]]`: every piece", hardscape.Piece),
    ("`[[hardscape]]` from a mesh file", hardscape.MeshPiece),
    *((f'`[[hardscape]]` with `shape = "{name}"`', form) for name, form in hardscape.SHAPES.items()),
    ("`[[plant]]`", plants.Plant),
    ("`[plant.canopy]`", plants.Canopy),
    ("`[floaters]`", plants.Floaters),
    ("`[floaters.ring]`", plants.Ring),
    ("`[[fixture]]`", lamps.Fixture),
    ("`[fixture.shade]`", lamps.Shade),
    ("`[[fixture.channel]]`", lamps.Channel),
    ("`[fixture.channel.beam]`", lamps.Beam),
    ("`[fixture.channel.reading]`", lamps.Reading),
    ("A spectrum of one narrow band", lamps.PeakSpectrum),
    ("A spectrum of a white LED", lamps.WhiteSpectrum),
    ("A spectrum from a file", lamps.FileSpectrum),
    ("A spectrum of several", lamps.MixSpectrum),
    ("`[window]`", lamps.Window),
    ("`[schedule]`", use.Schedule),
    ("`[[meter]]`", use.Meter),
    ("`[meter.grid]`", use.MeterGrid),
    ("`[run]`", use.Run),
)


def json_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of a scene file, as its users write it: quantities are texts with units."""
    schema = Scene.model_json_schema(by_alias=True)
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "underlit scene"}
    _tidy(schema)
    return schema


def _tidy(node: Any) -> None:
    """Take out what belongs to Python: titles of keys, and defaults that are not as a file has them."""
    if isinstance(node, list):
        for entry in node:
            _tidy(entry)
    if not isinstance(node, dict):
        return
    kind = next((part.pop(KIND) for part in (node, *node.get("anyOf", ())) if KIND in part), None)
    if "default" in node and not _in_file(node, kind):
        del node["default"]
    for name, entry in node.items():
        if name == "properties":
            for value in entry.values():
                value.pop("title", None)
        _tidy(entry)


def _in_file(node: dict[str, Any], kind: str | None) -> bool:
    """Whether a default can stand in a file; one that is a quantity is written with its unit."""
    default = node["default"]
    if default is None or default == "" or isinstance(default, list | dict):
        return False
    if kind and not isinstance(default, str):
        node["default"] = as_in_file(default, kind)
    return True


def key_tables() -> str:
    """Markdown tables of all keys, with value, default and meaning."""
    return "\n".join(_table(heading, model) for heading, model in _TABLES)


def _table(heading: str, model: type[BaseModel]) -> str:
    shaped = model in (*hardscape.SHAPES.values(), hardscape.MeshPiece)
    told = hardscape.Piece.model_fields if shaped else {}
    rows = [
        f"| `{field.alias or name}` | {_value(field)} | {_default(field)} | {_meaning(field)} |"
        for name, field in model.model_fields.items()
        if name not in told or _default(field) != _default(told[name])
    ]
    about = (model.__doc__ or "").strip().split("\n")[0]
    head = "| key | value | default | meaning |\n|---|---|---|---|\n"
    return f"### {heading}\n\n{about}\n\n{head}" + "\n".join(rows) + "\n"


def _value(field: FieldInfo) -> str:
    """An example, and what values there are."""
    choices = [
        str(choice) for part in _parts(field) if get_origin(part) is Literal for choice in get_args(part)
    ]
    if choices:
        return ", ".join(f'`"{choice}"`' for choice in choices)
    if not field.examples:
        return "a table"
    example = f"`{written(field.examples[0])}`"
    range_ = next(
        (part.phrase() for part in _parts(field) if isinstance(part, Quantity | Number | Whole)), ""
    )
    return example if isinstance(field.examples[0], list | dict) or not range_ else f"{example}: {range_}"


def _parts(field: FieldInfo) -> Iterator[Any]:
    """The types and marks that a field is made of, unions taken apart."""
    yield from field.metadata
    yield from _inside(field.annotation)


def _inside(annotation: Any) -> Iterator[Any]:
    yield annotation
    if get_origin(annotation) is Literal or (
        isinstance(annotation, type) and issubclass(annotation, BaseModel)
    ):
        return
    for part in (*get_args(annotation), *getattr(annotation, "__metadata__", ())):
        yield from _inside(part)


def _default(field: FieldInfo) -> str:
    """The default as a file would have it; the meaning tells of those that are worked out."""
    if field.is_required():
        return "required"
    default = field.get_default(call_default_factory=True)
    kind = next((part.kind for part in _parts(field) if isinstance(part, Quantity | Compass)), None)
    if default is None or isinstance(default, BaseModel | tuple) or default == "":
        return ""
    if kind and not isinstance(default, str):
        return f'`"{as_in_file(default, kind)}"`'
    return f"`{written(default)}`"


def _meaning(field: FieldInfo) -> str:
    return (field.description or "").replace("|", "\\|")


def write(folder: Path) -> None:
    """Write the schema and the tables of the page into a folder of docs."""
    (folder / SCHEMA_FILE).write_text(json.dumps(json_schema(), indent=1) + "\n", encoding="utf-8")
    page = folder / PAGE_FILE
    page.write_text(with_tables(page.read_text(encoding="utf-8")), encoding="utf-8")


def with_tables(page: str) -> str:
    """A page with its tables of keys brought up to date."""
    before, rest = page.split(BEGIN)
    return f"{before}{BEGIN}\n{key_tables()}\n{END}{rest.split(END)[1]}"


if __name__ == "__main__":
    write(Path(sys.argv[1]))
