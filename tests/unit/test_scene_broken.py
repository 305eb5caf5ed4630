"""Broken scene files: a clear error each, with file and line, the key, what was got and what to write.

Each file of tests/broken begins with lines `#! ...`: what its error must say, in this order.
"""

import re
from pathlib import Path

import pytest

from underlit.errors import SceneError
from underlit.scene import load_scene, scene_from_text
from underlit.scene.document import LONGEST_TEXT
from underlit.scene.templates import template

BROKEN = Path(__file__).parents[1] / "broken"
FILES = sorted(BROKEN.glob("*.toml"))
SMALLEST = """
[tank]
length = "60 cm"
width = "30 cm"
height = "36 cm"
"""


def _expected(path: Path) -> list[str]:
    lines = path.read_text(encoding="utf-8").splitlines()
    return [line.removeprefix("#!").strip() for line in lines if line.startswith("#!")]


def test_there_are_many():
    assert len(FILES) >= 60


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_broken_file_says_where_and_what_to_do(path):
    expected = _expected(path)
    assert re.match(rf"{re.escape(path.name)}(:\d+)?", expected[0]), "the first line names the place"
    with pytest.raises(SceneError) as caught:
        load_scene(path)
    said = [line.strip() for line in str(caught.value).replace(str(BROKEN), "FOLDER").splitlines()]
    at = 0
    for line in expected:
        assert line in said[at:], f"{line!r} is not said after {said[:at]} in {said}"
        at = said.index(line, at) + 1


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_messages_speak_the_words_of_the_file(path):
    with pytest.raises(SceneError) as caught:
        load_scene(path)
    text = str(caught.value)
    assert not re.search(
        r"pydantic|tagged-union|Input should|function-|Piece|BaseModel|~|<class|None", text
    ), text
    for fault in caught.value.faults:
        assert fault.what.endswith((".", "^")), fault.what
        assert not fault.hint or fault.hint[0].isupper() or fault.hint[0] == "`", fault.hint


def test_a_missing_file_names_those_beside_it(tmp_path):
    (tmp_path / "cube.toml").write_text(SMALLEST, encoding="utf-8")
    with pytest.raises(SceneError, match=r"(?s)there is no such file.*cube\.toml"):
        load_scene(tmp_path / "cub.toml")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\xff", r"not UTF-8 text"),
        (b"\xff\xfe[\x00t\x00a\x00n\x00k\x00", r"not UTF-8 text"),
        (b"", r"(?s)tank.*this table is required.*\[tank\]"),
        (b"\x00\x00\x00", r"not TOML"),
    ],
)
def test_files_that_are_no_scene(tmp_path, content, said):
    (tmp_path / "scene.toml").write_bytes(content)
    with pytest.raises(SceneError, match=said):
        load_scene(tmp_path)


def test_an_unreadable_path():
    with pytest.raises(SceneError, match=r"cannot be read|no such file"):
        load_scene("a\0b")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('title = "' + "x" * (10 * LONGEST_TEXT) + '"', r"characters, expected at most"),
        (SMALLEST + "[[fixture]]\n" * 1_000_000, r"characters, expected at most"),
        (SMALLEST + "[[fixture]]\n" * 50_000, r"(?s)fixture.*got 50,000, expected at most 200 fixtures"),
        (SMALLEST + "x = " + "[" * 20_000 + "]" * 20_000, r"nested too deeply|not TOML"),
        ("length = " + "9" * 100_000, r"scene:1\n.*too many digits"),
        (SMALLEST + "".join(f"key{i} = 1\n" for i in range(20_000)), r"19940 more faults"),
        (SMALLEST + f'[substrate]\nheight_map = "{"a" * 5000}"', r"1 to 80 characters"),
        (SMALLEST + 'glass = "' + "9" * 10_000 + '"', r"1 to 80 characters"),
        (SMALLEST.replace("60 cm", "6" * 10_000 + " cm"), r"a text of 10003 characters"),
        (SMALLEST.replace("60 cm", "60 cm" + "**9" * 15), r"is not a unit known here"),
    ],
    ids=[
        "ten-megabyte-text", "million-fixtures", "many-fixtures", "deep", "digits", "many-faults", "long-name",
        "long-glass", "long-length", "power-tower",
    ],
)  # fmt: skip
def test_absurdly_large_things_are_refused(text, said):
    with pytest.raises(SceneError, match=said):
        scene_from_text(text)


def test_a_five_gigabyte_file_is_not_read(tmp_path):
    with (tmp_path / "scene.toml").open("wb") as file:
        file.truncate(5_000_000_000)  # sparse: takes no room
    with pytest.raises(SceneError, match="no scene is that long"):
        load_scene(tmp_path)


def test_windows_line_ends_and_mark_of_byte_order_do_no_harm(tmp_path):
    light = '[window]\nside = "left"\ndistance = "1 m"\nsize = ["1 m", "1 m"]\nexitance = "50 umol/m^2/s"\n'
    text = "\ufeff" + (SMALLEST + light).replace("\n", "\r\n")
    (tmp_path / "scene.toml").write_bytes(text.encode())
    assert load_scene(tmp_path).tank.length == 0.6


def test_nothing_in_a_file_acts_on_the_terminal():
    """Escape sequences of values, keys and lines are shown, not sent."""
    for text in ('[tank]\nlength = "\\u001b[2J"\n', '[tank]\n"a\\u001b[2J" = 1\n', "[tank]\n\x1b[2J = 1\n"):
        with pytest.raises(SceneError) as caught:
            scene_from_text(text)
        assert "\x1b" not in str(caught.value)


def test_one_wrong_value_makes_faults_on_its_own_line_only():
    """Nothing is told that comes from what stands in for the wrong value while the rest is checked."""
    lines = template("planted").splitlines()
    tried = 0
    for i, line in enumerate(lines):
        if " = " not in line or line.startswith(("#", "title")):
            continue
        broken = "\n".join([*lines[:i], line.split(" = ")[0] + " = 1979-05-27", *lines[i + 1 :]])
        with pytest.raises(SceneError) as caught:
            scene_from_text(broken)
        assert {fault.where.split("  ")[0] for fault in caught.value.faults} == {f"scene:{i + 1}"}, line
        tried += 1
    assert tried > 50
