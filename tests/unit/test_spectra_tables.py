"""Reading tables: separators, encodings, remarks, and everything that can be wrong with a file."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlit.errors import DataError
from underlit.spectra import tables
from underlit.spectra.tables import parse_table, read_table, shipped

DATA = sorted(p.name for p in (files("underlit") / "data").iterdir() if p.name.endswith(".csv"))


@pytest.mark.parametrize(
    "text",
    [
        "wavelength_nm,value\n400,0.5\n401,1.25\n",
        "wavelength_nm;value\n400;0,5\n401;1,25\n",
        "# a remark\nwavelength_nm\tvalue\n\n400\t0.5\n401\t1.25\n",
        "wavelength_nm value\r\n400 0.5\r\n401 1.25\r\n",
    ],
    ids=["comma", "semicolon and decimal comma", "tab", "blanks"],
)
def test_separators(text):
    table = parse_table(text, "x.csv")
    np.testing.assert_array_equal(table.numbers("wavelength_nm"), [400, 401])
    np.testing.assert_array_equal(table.numbers("value"), [0.5, 1.25])


def test_bare_numbers_need_no_header():
    assert list(parse_table("400,1\n401,2\n", "x.csv").columns) == ["column 1", "column 2"]


def test_source_runs_over_indented_lines():
    table = parse_table("# what\n# source: a paper,\n#   second line\n# other\na,b\n1,2\n", "x.csv")
    assert table.source == "a paper, second line"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(tmp_path, encoding):
    path = tmp_path / "lamp.csv"
    path.write_bytes("# Messung für µmol\nnm,value\n400,1\n".encode(encoding))
    assert read_table(path).numbers("nm")[0] == 400


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "no rows"),
        ("# only a remark\n", "no rows"),
        ("a,b\n", "header and no rows"),
        ("a,a\n1,2\n", "same name"),
        ("a,b\n1,2\n1,2,3\n", r"x.csv:3\n  got 3 columns, expected 2"),
    ],
)
def test_broken_layout(text, match):
    with pytest.raises(DataError, match=match):
        parse_table(text, "x.csv")


@pytest.mark.parametrize("cell", ["abc", "nan", "inf", "1e999", ""])
def test_broken_numbers_are_named_with_their_line(cell):
    with pytest.raises(DataError, match=r"x.csv:3  b\n  got"):
        parse_table(f"a,b\n1,2\n1,{cell}\n", "x.csv").numbers("b")


def test_missing_column_lists_those_there_are():
    with pytest.raises(DataError, match="no column `n`; the file has: a, b"):
        parse_table("a,b\n1,2\n", "x.csv").numbers("n")


def test_unreadable_files(tmp_path, monkeypatch):
    with pytest.raises(DataError, match="no such file"):
        read_table(tmp_path / "none.csv")
    with pytest.raises(DataError, match="is a directory"):
        read_table(tmp_path)
    binary = tmp_path / "x.csv"
    binary.write_bytes(b"\x89PNG\0\0")
    with pytest.raises(DataError, match="binary"):
        read_table(binary)
    monkeypatch.setattr(tables, "MAX_BYTES", 3)
    with pytest.raises(DataError, match="MB"):
        read_table(binary)


@given(st.text(max_size=200))
@settings(max_examples=300, deadline=None)
def test_any_text_is_a_table_or_a_clear_error(text):
    try:
        table = parse_table(text, "x.csv")
        for name in table.columns:
            table.numbers(name)
    except DataError as error:
        assert error.what


@pytest.mark.parametrize("name", DATA)
def test_shipped_data_say_where_they_come_from(name):
    table = shipped(name.removesuffix(".csv"))
    assert len(table.source) > 20
    for column in table.columns:
        if column.endswith(("_nm", "_per_m", "_k")):
            values = [cell for cell in table.columns[column] if cell]
            assert np.all(np.isfinite(np.array(values, dtype=float)))
    if "source" in table.columns:
        assert all(table.columns["source"])


def test_every_data_file_is_on_the_page_about_data():
    page = (Path(__file__).parents[2] / "docs" / "data.md").read_text(encoding="utf-8")
    names = {p.name for p in (files("underlit") / "data").iterdir() if p.name.endswith((".csv", ".toml"))}
    assert names == set(re.findall(r"`(\w+\.(?:csv|toml))`", page))
