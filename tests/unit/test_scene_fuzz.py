"""Whatever is done to a scene file, the answer is a scene or a list of faults."""

import math
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from underlit.errors import SceneError
from underlit.scene import Scene, scene_from_text
from underlit.scene.templates import template

SCENES = sorted((Path(__file__).parents[2] / "scenes").glob("*/scene.toml"))
TEXTS = [template("planted"), template("small"), *(path.read_text(encoding="utf-8") for path in SCENES[:3])]
SLOWLY = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])

VALUES = st.sampled_from([
    "1", "-1", "0", "1e400", "inf", "nan", "true", '""', '"a"', '"60 cm"', '"-3 cm"', '"0 cm"', '"1e9 m"', '"12 W"',
    '"clean"', '"black"', '"90 deg"', '"5 umol/J"', '"\\u0000"', "[]", "[1, 2]", '["1 cm", "2 cm"]', "[[[[]]]]",
    '[["1 cm", "2 cm"]]', "{}", "{ a = 1 }", '{ file = "x.csv" }', "{ reflectance = 2 }", "1979-05-27", "12:30:00",
    "9" * 50,
])  # fmt: skip
JUNK = st.one_of(
    st.text(max_size=8), st.sampled_from(["[", "]", '"', "=", "\n", "[[fixture]]\n", "{", "#", "\t", "\r"])
)


def _answer(text: str) -> None:
    try:
        scene = scene_from_text(text)
    except SceneError as error:
        assert error.faults
        assert all(fault.what and fault.where for fault in error.faults)
    else:
        assert isinstance(scene, Scene)
        assert all(math.isfinite(value) for value in (scene.water.level, scene.tank.thickness))


@SLOWLY
@given(st.sampled_from(TEXTS), st.data())
def test_characters_lost_or_put_in(text, data):
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        text = text[:at] + data.draw(JUNK) + text[at + data.draw(st.integers(0, 12)) :]
    _answer(text)


@SLOWLY
@given(st.sampled_from(TEXTS), st.data())
def test_lines_lost_doubled_or_moved(text, data):
    lines = text.split("\n")
    for _ in range(data.draw(st.integers(1, 4))):
        i, j = (data.draw(st.integers(0, len(lines) - 1)) for _ in range(2))
        match data.draw(st.sampled_from(["lose", "double", "move"])):
            case "lose":
                del lines[i : i + 1]
            case "double":
                lines.insert(j, lines[i])
            case "move":
                lines.insert(j, lines.pop(i))
        lines = lines or [""]
    _answer("\n".join(lines))


@SLOWLY
@given(st.sampled_from(TEXTS), st.data())
def test_values_of_any_kind(text, data):
    lines = text.split("\n")
    having = [i for i, line in enumerate(lines) if " = " in line and not line.startswith("#")]
    for i in data.draw(st.lists(st.sampled_from(having), min_size=1, max_size=3)):
        lines[i] = lines[i].split(" = ")[0] + " = " + data.draw(VALUES)
    _answer("\n".join(lines))


@SLOWLY
@given(st.sampled_from(TEXTS), st.data())
def test_keys_of_any_name(text, data):
    lines = text.split("\n")
    i = data.draw(st.integers(0, len(lines) - 1))
    key = data.draw(
        st.one_of(st.text("abfhlmot_-.", min_size=1, max_size=8), st.sampled_from(["from", "path", "text"]))
    )
    lines.insert(i, f"{key} = {data.draw(VALUES)}")
    _answer("\n".join(lines))
