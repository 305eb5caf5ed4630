"""The published schema and page describe the language that the models read."""

import json
import re
import tomllib
from pathlib import Path

import jsonschema
import pytest

from underlit.errors import StudyError
from underlit.scene import scene_from_text
from underlit.scene.document import Document
from underlit.scene.schema import PAGE_FILE, SCHEMA_FILE, json_schema, with_tables
from underlit.scene.templates import TEMPLATES, template
from underlit.scene.world import build_world

ROOT = Path(__file__).parents[2]
SCENES = sorted((ROOT / "scenes").glob("*/*.toml"))
CHECK = jsonschema.Draft202012Validator(json_schema())
# Broken scenes whose fault a schema can see: a type, a missing or unknown key, a number out of bounds.
SEEN_BY_SCHEMA = [
    "bare-length",
    "thickness-in-metres",
    "no-unit",
    "unknown-key",
    "unknown-table",
    "missing-height",
    "missing-tank",
    "unknown-pane-state",
    "dirt-in-percent",
    "mesh-without-unit",
    "unknown-shape",
    "key-of-another-shape",
    "size-of-two",
    "reflectance-over-one",
    "no-channel",
    "floaters-over-one",
    "text-for-number",
    "table-for-text",
    "list-for-table",
]


def test_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(json_schema())


@pytest.mark.parametrize("path", SCENES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_shipped_scenes_satisfy_it(path):
    CHECK.validate(tomllib.loads(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("name", SEEN_BY_SCHEMA)
def test_it_refuses_what_an_editor_can_see(name):
    text = (ROOT / "tests" / "broken" / f"{name}.toml").read_text(encoding="utf-8")
    with pytest.raises(jsonschema.ValidationError):
        CHECK.validate(tomllib.loads(text))


def test_defaults_are_written_as_in_a_file():
    """Every default of the schema, put into a file, is accepted there by the models."""
    text = json.dumps(json_schema())
    assert '"default": "4 mm"' in text
    assert '"default": null' not in text
    for table in json_schema()["$defs"].values():
        for value in table.get("properties", {}).values():
            if "default" in value:
                jsonschema.Draft202012Validator({**value, "$defs": json_schema()["$defs"]}).validate(
                    value["default"]
                )


def test_examples_fit_their_own_keys():
    for table in json_schema()["$defs"].values():
        for value in table.get("properties", {}).values():
            for example in value.get("examples", ()):
                jsonschema.Draft202012Validator({**value, "$defs": json_schema()["$defs"]}).validate(example)


def test_published_files_are_current():
    """Run `python -m underlit.scene.schema docs` after a change of the models."""
    docs = ROOT / "docs"
    assert json.loads((docs / SCHEMA_FILE).read_text(encoding="utf-8")) == json_schema()
    page = (docs / PAGE_FILE).read_text(encoding="utf-8")
    assert page == with_tables(page)


def test_examples_of_the_page_are_read():
    page = (ROOT / "docs" / PAGE_FILE).read_text(encoding="utf-8")
    blocks = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    assert len(blocks) >= 3
    whole = blocks[0]
    scene_from_text(whole)
    for part in blocks[1:]:
        text = whole.replace("channel = [", "#") + part if "[[fixture.channel]]" in part else whole + part
        scene_from_text(text)


@pytest.mark.parametrize("name", TEMPLATES)
def test_starter_scenes_are_complete(name):
    scene = scene_from_text(template(name))
    assert build_world(scene).warnings == ()
    assert [one for one in scene.warnings if "thickness" not in one] == []
    CHECK.validate(Document(template(name)).data)


def test_an_unknown_starter_scene():
    with pytest.raises(StudyError, match=r'(?s)no starter scene called "plantd".*Did you mean "planted"'):
        template("plantd")


def test_python_of_the_page_runs(monkeypatch):
    monkeypatch.chdir(ROOT)
    page = (ROOT / "docs" / PAGE_FILE).read_text(encoding="utf-8")
    names = {}
    exec(re.search(r"```python\n(.*?)```", page, re.DOTALL).group(1), names)
    assert names["scene"].tank.length == 0.3
    assert names["higher"].fixture[0].height == 0.2
    assert names["higher"].water.type == "tea"
