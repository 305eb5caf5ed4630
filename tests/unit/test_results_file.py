"""The result file: what is written is what is read, whole or not at all, and plain h5py can read it."""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest

import synthetic
from underlit.errors import ResultError
from underlit.metrics import maps
from underlit.results import io, schema
from underlit.results.result import Optics, Result

DATA = Path(__file__).parents[1] / "data"
DOCS = Path(__file__).parents[2] / "docs"


@pytest.fixture(scope="module")
def record() -> Result:
    made = synthetic.result(photons=20_000, cell_m=0.03)
    curve = np.linspace(0.1, 0.2, 401)
    return dataclasses.replace(made, optics=Optics(curve, 2 * curve, {"soil": curve, "stone": 3 * curve}))


@pytest.fixture
def stored(record, tmp_path) -> Path:
    record.save(tmp_path / "tank.h5")
    return tmp_path / "tank.h5"


def test_read_back_is_what_was_written(record, stored):
    back = Result.open(stored)
    for field in dataclasses.fields(Result):
        if field.name not in ("channels", "surfaces", "sums", "optics", "guides", "_cache"):
            np.testing.assert_equal(getattr(back, field.name), getattr(record, field.name), field.name)
    assert list(back.surfaces) == list(record.surfaces)
    for name, surface in record.surfaces.items():
        np.testing.assert_equal(vars(back.surfaces[name]), vars(surface))
        np.testing.assert_array_equal(back.sums[name], record.sums[name])
    np.testing.assert_equal(vars(back.optics), vars(record.optics))
    for one, other in zip(back.channels, record.channels, strict=True):
        np.testing.assert_equal(vars(one), vars(other))


def test_every_field_of_the_file_is_in_the_table_and_the_reverse(stored):
    found = set()

    def visit(path, item):
        in_table = io._table_path(path)
        found.update(io._table_path(f"{path}@{name}") for name in item.attrs if isinstance(item, h5py.Group))
        if isinstance(item, h5py.Dataset):
            found.add(in_table)
            field = schema.BY_PATH[in_table]
            assert item.attrs["units"] == field.units
            assert item.ndim == len(field.axes)
            assert h5py.check_string_dtype(item.dtype) if field.dtype == "str" else item.dtype == field.dtype

    with h5py.File(stored) as file:
        found.update(f"@{name}" for name in file.attrs)
        file.visititems(visit)
    assert found == set(schema.BY_PATH)


def test_file_is_plain_hdf5_with_absolute_numbers(record, stored):
    """A reader that knows only the field page gets the transport; the value is computed here by hand."""
    with h5py.File(stored) as file:
        sums = file["surfaces/soil/sum"][()]
        transport = sums / file.attrs["scale"] / file["sources/photons"][()][None, :, None, None]
    np.testing.assert_allclose(transport, record.transport("soil"), rtol=1e-15)
    expected = synthetic.true_transport(record.surfaces["soil"]).sum(axis=1)
    np.testing.assert_allclose(transport.sum(axis=2).mean(axis=0), expected, rtol=0.02)


def test_foreign_and_newer_files_are_refused(stored, tmp_path):
    with h5py.File(tmp_path / "other.h5", "w") as file:
        file.attrs["filetype"] = "something else"
    with pytest.raises(ResultError, match="not an `underlit result`"):
        Result.open(tmp_path / "other.h5")
    with h5py.File(stored, "r+") as file:
        file.attrs["version"] = np.array([schema.VERSION[0] + 1, 0])
    with pytest.raises(ResultError, match=r"format 2\.0; this release reads formats up to 1"):
        Result.open(stored)


def test_newer_minor_version_is_read(stored):
    with h5py.File(stored, "r+") as file:
        file.attrs["version"] = np.array([schema.VERSION[0], 99])
        file["surfaces/soil/an addition"] = [1.0]
    assert Result.open(stored).surfaces["soil"].shape == (10, 20)


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        ("missing", "no such file"),
        ("text", "is no result file"),
        ("cut short", "is damaged or cut short"),
        ("field gone", "is damaged or cut short"),
    ],
)
def test_unusable_files_are_refused(stored, damage, message):
    if damage == "missing":
        stored.unlink()
    elif damage == "text":
        stored.write_text("title = 'a scene, not a result'\n")
    elif damage == "cut short":
        os.truncate(stored, stored.stat().st_size // 2)
    else:
        with h5py.File(stored, "r+") as file:
            del file["budget"]
    with pytest.raises(ResultError, match=message):
        Result.open(stored)


def test_file_replaced_after_opening_is_noticed(record, stored):
    res = Result.open(stored)
    dataclasses.replace(record, created="2026-01-01T12:00:01+00:00").save(stored)
    with pytest.raises(ResultError, match="replaced by another trace"):
        res.transport("soil")


def test_file_is_never_left_open(stored, record):
    """A result held open by a notebook must not stop the next trace from replacing it."""
    res = Result.open(stored)
    res.transport("soil")
    record.save(stored)
    np.testing.assert_array_equal(Result.open(stored).sums["soil"], record.sums["soil"])


def test_result_without_known_colours_is_read(record, tmp_path):
    dataclasses.replace(record, optics=None).save(tmp_path / "tank.h5")
    assert Result.open(tmp_path / "tank.h5").optics is None


def test_full_disk_leaves_the_old_file_and_nothing_else(stored):
    """The operating system refuses every byte past 100 kB, in a process of its own."""
    before = stored.read_bytes()
    script = (
        "import resource, sys, synthetic\n"
        "from underlit.errors import ResultError\n"
        "record = synthetic.result(photons=20_000)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))\n"
        "try:\n    record.save(sys.argv[1])\n"
        "except ResultError as fault:\n    print(fault)\n"
    )
    env = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-c", script, stored], env=env, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr
    assert "cannot write the result" in done.stdout
    assert [path.name for path in stored.parent.iterdir()] == ["tank.h5"]
    assert stored.read_bytes() == before


def test_places_that_cannot_be_written_are_refused_before_the_trace(tmp_path):
    with pytest.raises(ResultError, match="no folder"):
        io.check_writable(tmp_path / "nowhere" / "tank.h5")
    with pytest.raises(ResultError, match="is a folder"):
        io.check_writable(tmp_path)


def test_record_that_contradicts_itself_is_not_written(record, tmp_path):
    wrong = dict(record.sums) | {"soil": record.sums["soil"][:, :, :-1]}
    with pytest.raises(ValueError, match="tally of `soil`"):
        dataclasses.replace(record, sums=wrong).save(tmp_path / "tank.h5")
    assert not list(tmp_path.iterdir())


def test_names_with_slashes_survive(record, tmp_path):
    odd = dataclasses.replace(record.surfaces["hardscape ball"], name="hardscape a/b @ left")
    surfaces, sums = dict(record.surfaces), dict(record.sums)
    del surfaces["hardscape ball"]
    sums[odd.name] = sums.pop("hardscape ball")
    res = dataclasses.replace(record, surfaces=surfaces | {odd.name: odd}, sums=sums)
    res.save(tmp_path / "tank.h5")
    np.testing.assert_array_equal(Result.open(tmp_path / "tank.h5").sums[odd.name], sums[odd.name])


def test_budget_closes(record):
    np.testing.assert_allclose(record.budget.share.sum(axis=2), 1.0, rtol=1e-12)


def test_unknown_surface_lists_the_known_ones(record):
    with pytest.raises(ResultError, match=r"no surface `floor`[\s\S]*`soil`"):
        record.transport("floor")


def test_transport_of_many_surfaces_stays_within_its_memory(record, monkeypatch):
    monkeypatch.setattr("underlit.results.result.CACHE_LIMIT_BYTES", record.transport("soil").nbytes)
    fresh = dataclasses.replace(record)
    for name in fresh.surfaces:
        fresh.transport(name)
    assert len(fresh._cache) < len(fresh.surfaces)
    np.testing.assert_array_equal(fresh.transport("soil"), record.transport("soil"))


def test_old_file_still_opens():
    """Written when the format was 1.0, and never again: what was PPFD then is PPFD now."""
    res = Result.open(DATA / "result-1.0.h5")
    assert list(res.surfaces) == ["soil", "pane front", "hardscape ball"]
    assert res.scene.tank.length == pytest.approx(0.6)
    ppfd = maps.ppfd(res, "soil")
    assert ppfd.value.mean() == pytest.approx(64.62269891057267, rel=1e-9)
    assert ppfd.std_err.mean() == pytest.approx(7.443034707102993, rel=1e-9)
    np.testing.assert_allclose(res.budget.share.sum(axis=2), 1.0)


def test_page_lists_every_field():
    page = (DOCS / "result-file.md").read_text(encoding="utf-8")
    assert page.endswith(schema.table_markdown())


def test_recipe_of_the_page_gives_the_ppfd(record, stored, monkeypatch, capsys):
    """The code on the page knows nothing of underlit; it counts the edges of PAR whole, hence the tolerance."""
    page = (DOCS / "result-file.md").read_text(encoding="utf-8")
    code = page.split("```python\n")[1].split("```")[0]
    monkeypatch.chdir(stored.parent)
    dataclasses.replace(record, optics=None).save(stored)
    names = {}
    exec(code, names)
    assert capsys.readouterr().out
    found = maps.ppfd(dataclasses.replace(record, optics=None), "soil")
    np.testing.assert_allclose(names["ppfd"].mean(axis=0), found.value, rtol=2e-3)
