"""Places of keys in a scene text."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlit.errors import SceneError
from underlit.scene.document import Document, dotted

TEXT = '''# a comment with = and [brackets]
title = "a [ \\" # text" # and a comment
notes = """
several # lines
[not.a.table]
key = "no"
"""
raw = \'\'\'x = 'y' \'\'\'

[tank]
length = "60 cm"
panes.back = "dry film"
panes.left = { state = "bonded film", colour = "mirror" }
"quoted key" = 1

[[fixture]]
name = "a"
[[fixture.channel]]
power = "9 W"
[[fixture.channel]]
power = "8 W"   # the second
[fixture.channel.beam]
fwhm = "60 deg"

[[fixture]]
name = "b"
position = [
    "15 cm",  # x
    "16 cm",
]
channel = [
    { power = "7 W" },
    { power = "6 W", beam = { fwhm = "90 deg" } },
]
[water]
level="30 cm"
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 2),
        (("notes",), 3),
        (("raw",), 8),
        (("tank",), 10),
        (("tank", "length"), 11),
        (("tank", "panes", "back"), 12),
        (("tank", "panes", "left", "colour"), 13),
        (("tank", "quoted key"), 14),
        (("fixture", 0), 16),
        (("fixture", 0, "name"), 17),
        (("fixture", 0, "channel", 0, "power"), 19),
        (("fixture", 0, "channel", 1), 20),
        (("fixture", 0, "channel", 1, "power"), 21),
        (("fixture", 0, "channel", 1, "beam", "fwhm"), 23),
        (("fixture", 1), 25),
        (("fixture", 1, "position"), 27),
        (("fixture", 1, "position", 1), 29),
        (("fixture", 1, "channel", 1, "beam", "fwhm"), 33),
        (("water", "level"), 36),
        (("fixture", 1, "missing"), 25),
        (("tank", "panes", "left", "missing"), 13),
    ],
)
def test_line_of_a_key(path, line):
    assert Document(TEXT).line(path) == line


def _leaves(data, path=()):
    if isinstance(data, dict | list):
        for key, value in data.items() if isinstance(data, dict) else enumerate(data):
            yield from _leaves(value, (*path, key))
    else:
        yield path, data


def test_characters_of_a_value_are_its_toml():
    """What stands at the place of every value reads as that value."""
    document = Document(TEXT)
    leaves = list(_leaves(document.data))
    assert len(leaves) > 15
    for path, value in leaves:
        span = document.span(path)
        assert tomllib.loads("x = " + TEXT[span.start : span.end])["x"] == value


def test_a_path_in_the_words_of_the_file():
    assert dotted(("fixture", 0, "channel", 1, "power")) == "fixture[1].channel[2].power"
    assert dotted(("tank", "quoted key")) == 'tank."quoted key"'


KEYS = st.text("ab-_1", min_size=1, max_size=4)
SCALARS = st.one_of(
    st.integers(-9, 9).map(str),
    st.sampled_from(
        ['"a # b"', "'c ] d'", "true", '"\\""', '"""x\ny"""', "1979-05-27", '"""quotes"" at end"""']
    ),
)


@st.composite
def values(draw, depth=2):
    kind = draw(st.sampled_from(["scalar", "array", "table"] if depth else ["scalar"]))
    if kind == "array":
        gap = draw(st.sampled_from(["", " ", "\n  ", " # note ]\n"]))
        return (
            "[" + gap + ",".join(draw(values(depth - 1)) + gap for _ in range(draw(st.integers(0, 3)))) + "]"
        )
    if kind == "table":
        keys = draw(st.lists(KEYS, max_size=3, unique=True))
        pairs = [f"{key} = {draw(SCALARS.filter(lambda text: chr(10) not in text))}" for key in keys]
        return "{ " + ", ".join(pairs) + " }"
    return draw(SCALARS)


@given(st.data())
def test_every_value_of_any_text_is_found(data):
    lines = []
    for _ in range(data.draw(st.integers(0, 6))):
        if data.draw(st.booleans()):
            lines.append(f"{data.draw(KEYS)} = {data.draw(values())}  # comment")
        else:
            mark = data.draw(st.sampled_from(["[{}]", "[[{}]]"]))
            lines.append(mark.format(".".join(data.draw(st.lists(KEYS, min_size=1, max_size=2)))))
    text = "\n".join(lines)
    try:
        document = Document(text)
    except SceneError:
        return
    for path, value in _leaves(document.data):
        span = document.span(path)
        assert tomllib.loads("x = " + text[span.start : span.end])["x"] == value
