"""What the page and the Markdown are made of, without a browser."""

from __future__ import annotations

import base64
import dataclasses
import gzip
import json
import re
import struct
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from underlit.cli.app import group
from underlit.errors import StudyError, UnderlitError
from underlit.journal import facts, journal_page, page, save_markdown, save_page, shapes
from underlit.journal.parcel import Parcel
from underlit.metrics import maps
from underlit.metrics.summary import summarise

LEAF_RULES = ("spherical", "planophile", "erectophile", "plagiophile", "horizontal")


def opened(text):
    """Head and arrays of a parcel, read the way its description says."""
    raw = gzip.decompress(base64.b64decode(text))
    (length,) = struct.unpack("<I", raw[:4])
    head = json.loads(raw[4 : 4 + length])

    def array(ref):
        return np.frombuffer(raw, "<" + ref["type"], ref["n"], 4 + length + ref["at"])

    return head, array


def parcel_of(text):
    return opened(re.search(r'id="parcel">([^<]+)<', text)[1])


def test_parcel_gives_back_what_was_put_in():
    parcel = Parcel()
    light = np.array([[0.0, 1.0, 250.0], [0.0, 0.0, 0.0]])
    noise = np.array([[-3.0, 1.5, 0.0]])
    head = {
        "faces": parcel.add([1, 2, 70000], "u4"),
        "light": parcel.steps(light),
        "noise": parcel.signed_steps(noise),
    }
    head, array = opened(parcel.seal(head))
    assert array(head["faces"]).tolist() == [1, 2, 70000]
    for name, values, step in (("light", light, 250 / 65535), ("noise", noise, 3 / 127)):
        back = array(head[name]["data"]).reshape(values.shape) * np.array(head[name]["rows"])[:, None]
        np.testing.assert_allclose(back, values, atol=step / 2 + 1e-12)


def test_parcel_refuses_numbers_that_do_not_fit():
    with pytest.raises(ValueError, match="do not fit into u1"):
        Parcel().add([256], "u1")


def test_maps_in_the_page_are_those_of_the_library(res, page_path):
    head, array = parcel_of(page_path.read_text())
    tank = head["results"][0]
    names = {surface["name"] for surface in tank["surfaces"]}
    assert {"soil", "hardscape ball"} <= names
    for surface in tank["surfaces"]:
        expected = maps.ppfd_by_channel(res, surface["name"])
        steps = array(surface["light"]["data"]).reshape(len(res.channels), -1)
        back = steps * np.array(surface["light"]["rows"])[:, None]
        np.testing.assert_allclose(back, expected.value, atol=expected.value.max() / 1e5)


def test_coarse_mesh_keeps_shape_and_cells():
    trimesh = pytest.importorskip("trimesh")
    ball = trimesh.creation.icosphere(subdivisions=5, radius=0.05)
    cell = np.arange(len(ball.faces)) // 8
    vertices, faces, kept = shapes.coarse_mesh(ball.vertices, ball.faces, cell, 1500)
    assert 500 < len(faces) <= 1500 and len(kept) == len(faces) and set(kept) <= set(cell)
    coarse = trimesh.Trimesh(vertices, faces, process=False)
    assert coarse.is_watertight
    assert coarse.volume == pytest.approx(ball.volume, rel=0.02)
    same = shapes.coarse_mesh(ball.vertices, ball.faces, cell, 10**6)
    assert same[1] is ball.faces


@pytest.mark.parametrize("rule", LEAF_RULES)
def test_leaves_of_any_rule_shade_half_their_area_on_average(rule):
    """Cauchy: the mean shadow of a flat leaf over all directions is half of its one-sided area."""
    angle = np.radians(np.arange(0.0, 91.0, 5.0))
    mean = np.trapezoid(shapes.projection(rule) * np.sin(angle), angle)
    assert mean == pytest.approx(0.5, rel=5e-3)


def test_spherical_leaves_shade_alike_from_everywhere():
    np.testing.assert_allclose(shapes.projection("spherical"), 0.5, rtol=2e-3)


def test_page_is_the_same_every_time_and_small(res, page_path):
    text = journal_page([res])
    assert text == page_path.read_text()
    assert len(text.encode()) < page.MOST_BYTES


def test_page_asks_for_nothing_outside(page_path):
    text = page_path.read_text()
    assert "default-src 'none'" in text
    assert not re.search(r'\b(?:src|href)\s*=\s*["\'](?!#)', text)


def test_texts_of_the_scene_stay_text(res):
    nasty = '</script><script>window.broken = 1</script> {{script}} "quotes" & ends'
    scene = res.scene_text.replace('title = "Synthetic tank"', f"title = '{nasty}'")
    text = journal_page([dataclasses.replace(res, scene_text=scene)])
    assert "<script>window.broken" not in text
    assert "&lt;script&gt;window.broken = 1&lt;/script&gt; {{script}} &quot;quotes&quot; &amp; ends" in text


def test_page_of_none_or_three_is_refused(res):
    for results in ([], [res, res, res]):
        with pytest.raises(StudyError, match="one or two"):
            journal_page(results)
        with pytest.raises(StudyError, match="one or two"):
            save_markdown(results, "nowhere")


def test_page_too_large_is_refused_and_nothing_is_written(res, tmp_path, monkeypatch):
    monkeypatch.setattr(page, "MOST_BYTES", 100_000)
    with pytest.raises(StudyError, match=r"MB is the most"):
        save_page([res], tmp_path / "tank.html")
    assert list(tmp_path.iterdir()) == []


def test_replicates_are_folded_to_fit(res, page_path, monkeypatch):
    monkeypatch.setattr(page, "MOST_BYTES", page_path.stat().st_size - 50_000)
    head, _ = parcel_of(journal_page([res]))
    soil = head["results"][0]["surfaces"][0]
    assert soil["replicates"] == res.replicates // 2
    assert soil["noise"]["data"]["n"] == soil["replicates"] * len(res.channels) * soil["cells"]


def test_missing_plotly_is_said_plainly(res, monkeypatch):
    monkeypatch.setitem(sys.modules, "plotly.offline", None)
    with pytest.raises(StudyError, match="needs plotly") as fault:
        journal_page([res])
    assert "pip install plotly" in fault.value.hint


def test_page_into_a_folder_that_is_not_there(res, tmp_path):
    with pytest.raises(UnderlitError, match="cannot be written"):
        save_page([res], tmp_path / "no such folder" / "tank.html")


def test_page_starts_at_the_settings_asked_for(res):
    head, _ = parcel_of(journal_page([res], dims={"bar / red": 0.25}))
    channels = {channel["label"]: channel for channel in head["results"][0]["channels"]}
    assert channels["bar / red"]["dim"] == 0.25
    assert channels["bar / red"]["inScene"] == next(c.dim for c in res.channels if c.label == "bar / red")


def test_markdown_has_every_table_and_only_pictures_that_exist(res, tmp_path):
    written = save_markdown([res], tmp_path / "journal", dims={"bar / red": 0.5})
    text = written[0].read_text()
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", text)
    assert len(pictures) >= 5 and len(pictures) == len(written) - 1
    assert all((tmp_path / "journal" / name).stat().st_size > 1000 for name in pictures)
    summary = summarise(res, {"bar / red": 0.5})
    for table in summary.tables:
        if table.name != "trace":
            assert f"## {table.title}\n" in text
            assert all(f"| {' | '.join(row)} |" in text for row in facts.table_rows(table)[1])
    assert "](pictures/front.png)" in text and "Plants without a canopy" in text
    order = [Path(name).stem for name in pictures]
    assert order[:3] == ["soil", "front", "zones"]
    assert res.scene_text.rstrip() in text and f"| Seed | {res.seed} |" in text
    assert all(" ".join(caution.split()) in text for caution in summary.cautions)
    widths = [row.count("|") for row in re.findall(r"^\|.*\|$", text, re.M)]
    assert min(widths) >= 3


@pytest.mark.slow
def test_markdown_of_two_results_shows_their_difference(res, other, tmp_path):
    written = save_markdown([res, other], tmp_path)
    text = written[0].read_text()
    assert "# A: Synthetic tank" in text and "# B: Synthetic tank" in text
    assert (tmp_path / "difference.png").exists() and "](difference.png)" in text
    assert (tmp_path / "front-compare.png").exists() and "](front-compare.png)" in text


def test_fence_is_longer_than_any_in_the_scene():
    from underlit.journal.markdown import _fenced

    fenced = _fenced('notes = """\n````\nx\n````\n"""')
    assert fenced.startswith("`````toml\n") and fenced.endswith("\n`````")


def test_command_writes_page_and_markdown(res, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    res.save("tank.h5")
    run = CliRunner().invoke(group, ["journal", "tank.h5", "--dim", "bar=50%"])
    assert run.exit_code == 0 and "Wrote tank.html" in run.output
    assert (tmp_path / "tank.html").stat().st_size > 1_000_000
    run = CliRunner().invoke(group, ["journal", "tank.h5", "--markdown", "notes"])
    assert run.exit_code == 0 and (tmp_path / "notes" / "journal.md").exists()
    run = CliRunner().invoke(group, ["journal", "tank.h5", "--dim", "moon=50%"])
    assert isinstance(run.exception, StudyError) and "moon" in str(run.exception)
