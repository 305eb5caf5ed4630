"""Comparing results: differences and their errors against a transport that is known, files, and the store."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest

import synthetic
import underlit
from small_scene import SMALL
from underlit.cli import app
from underlit.errors import StudyError
from underlit.metrics.estimate import Estimate
from underlit.studies import compare, store
from underlit.studies.measures import difference, is_sure, measures, spill


def dimmed(res, dim):
    return dataclasses.replace(res, channels=[dataclasses.replace(c, dim=dim) for c in res.channels])


def test_differences_of_two_noisy_runs_of_one_truth_are_sure_in_about_5_of_100():
    """With 15 degrees of freedom Student's t lies beyond 2 in 6.4 % of the cases."""
    sure = 0
    for seed in range(60):
        one, other = (synthetic.result(seed=2 * seed + i, photons=5_000, cell_m=0.03) for i in (0, 1))
        changes = [
            difference(measures(one)[key].value, measures(other)[key].value)
            for key in ("carpet median", "soil P10")
        ]
        sure += sum(is_sure(change) for change in changes)
    assert 0 < sure < 19  # of 120; 7.7 expected, and more than 18 in 1 case of 10,000


def test_luck_that_two_runs_share_drops_out():
    """The same photons under lamps at half: the ratio is 2 without any noise, though each number has some."""
    one = synthetic.result(photons=5_000, cell_m=0.03)
    full, half = measures(one)["carpet median"].value, measures(dimmed(one, 0.5))["carpet median"].value
    change = difference(2 * half, full)
    assert full.std_err > 0
    assert change.value == pytest.approx(0.0, abs=1e-9)
    assert change.std_err == pytest.approx(0.0, abs=1e-9)
    assert not is_sure(change)


def test_unequal_replicates_add_their_errors():
    one, other = Estimate([1.0, 2.0, 3.0]), Estimate([5.0, 7.0])
    change = difference(one, other)
    assert change.value == pytest.approx(4.0)
    assert change.std_err == pytest.approx(np.hypot(one.std_err, other.std_err))


def test_costs_are_those_of_the_scene():
    found = measures(synthetic.result(photons=2_000, cell_m=0.03))
    assert found["power"].value.value == pytest.approx(18 + 5 + 6)
    assert "price" not in found  # the clip has none
    assert found["soil median per watt"].value.value == pytest.approx(found["soil median"].value.value / 29)


def test_spill_counts_the_ways_into_the_room():
    scene = underlit.scene_from_text(SMALL)
    res = underlit.trace(scene, photons=20_000)
    names = np.array(res.budget.names)
    into = np.isin(
        names,
        ["past the tank", "reflected above the water", "back out of the top"]
        + [
            f"out of the {side}"
            for side in ("left pane", "right pane", "front pane", "back pane", "bottom pane")
        ]
        + ["out of the rim edge"],
    )
    share = res.budget.share.mean(axis=0)[0][into].sum(axis=0)  # by band
    assert share.min() * 100 <= spill(res, np.ones(1)).value <= share.max() * 100


def test_one_result_is_no_comparison():
    with pytest.raises(StudyError, match="nothing to compare"):
        compare.compare({"one": synthetic.result(photons=1_000)})


def test_pictures_leave_out_differences_of_unlike_tanks(tmp_path):
    every = {
        "a": synthetic.result(photons=2_000, cell_m=0.03),
        "b": dimmed(synthetic.result(photons=2_000, cell_m=0.03), 0.5),
        "c": synthetic.result(photons=2_000, cell_m=0.02),
    }
    drawn = compare.draw(every, tmp_path)
    assert [path.name for path in drawn] == ["maps.png", "difference-2.png"]


def test_command_compares_files_and_scenes(tmp_path, capsys):
    (tmp_path / "low.toml").write_text(SMALL)
    (tmp_path / "high.toml").write_text(SMALL.replace('height = "8 cm"', 'height = "16 cm"'))
    command = ["compare", str(tmp_path / "low.toml"), str(tmp_path / "high.toml"), "--photons", "20000"]
    assert app.run([*command, "--json", "-o", str(tmp_path / "out")]) == 0
    said = json.loads(capsys.readouterr().out)
    change = next(row for row in said["differences"] if row["quantity"] == "soil median, high")
    assert change["difference"]["value"] < 0
    assert change["sure"] == "yes"
    assert (tmp_path / "out" / "difference-2.png").is_file()
    assert len(list((tmp_path / "out" / "traces").glob("*.h5"))) == 2


def test_two_names_alike_are_refused(tmp_path, capsys):
    assert app.run(["compare", "a.h5", "b.h5", "--name", "x", "--name", "x"]) == 2
    assert "same" in capsys.readouterr().err


def test_store_traces_once_and_again_when_a_file_changes(tmp_path):
    scene = tmp_path / "scene.toml"
    (tmp_path / "lamp.csv").write_text("nm,value\n400,1\n500,1\n600,1\n700,1\n")
    text = SMALL.replace('"white 6500 K"', '{ file = "lamp.csv", quantity = "W/nm" }')
    scene.write_text(text)
    loaded = underlit.load_scene(scene)
    assert store.files_of(loaded) == ["lamp.csv"]
    kept, job = store.Store(tmp_path / "traces"), store.Job(loaded, 5_000, 1)
    ((_, first),) = store.run_all([job], kept)
    ((_, again),) = store.run_all([store.Job(loaded, 5_000, 1)], kept)
    assert again.created == first.created
    (tmp_path / "lamp.csv").write_text("nm,value\n400,1\n500,2\n600,1\n700,1\n")
    assert store.Job(loaded, 5_000, 1).key != job.key


def test_a_broken_file_in_the_store_is_traced_anew(tmp_path):
    kept, job = store.Store(tmp_path), store.Job(underlit.scene_from_text(SMALL), 5_000, 1)
    kept.path(job).write_bytes(b"\x89HDF\r\n\x1a\n broken")
    assert kept.get(job) is None
    ((_, made),) = store.run_all([job], kept)
    assert (kept.get(job).sums["soil"] == made.sums["soil"]).all()
