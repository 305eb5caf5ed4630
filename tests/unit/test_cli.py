"""The command line as a user meets it: help, tables, errors, exit statuses."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import os
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import synthetic
import underlit
from underlit.cli import app, check, new
from underlit.cli.progress import Meter, line, remaining_s
from underlit.kernels import cache_folder
from underlit.metrics import maps, summary, zones
from underlit.results.result import Result
from underlit.scene.templates import TEMPLATES

HEAVY = ("numpy", "numba", "pydantic", "matplotlib", "trimesh", "h5py", "scipy", "rich", "colour", "pint")
KITCHEN_CUBE = Path(__file__).parents[2] / "scenes" / "a-kitchen-cube" / "scene.toml"
SMALL = """
[tank]
length = "20 cm"
width = "20 cm"
height = "20 cm"
thickness = "4 mm"
[[fixture]]
name = "clip"
position = ["10 cm", "10 cm"]
height = "8 cm"
shape = "disc"
size = "6 cm"
[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "5 W"
efficacy = "1.6 umol/J"
[run]
cell = "2 cm"
"""


@pytest.fixture(scope="module")
def record() -> Result:
    return synthetic.result(photons=20_000, cell_m=0.02)


@pytest.fixture
def stored(record, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    record.save("tank.h5")
    return "tank.h5"


@pytest.fixture
def small(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "small.toml").write_text(SMALL)
    return "small.toml"


def python(*arguments, **keywords):
    env = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, *map(str, arguments)]
    return subprocess.run(
        command, env=env, capture_output=True, text=True, timeout=120, check=False, **keywords
    )


def test_import_and_help_load_nothing_heavy():
    script = (
        f"import sys, underlit; assert not set({HEAVY}) & set(sys.modules), set({HEAVY}) & set(sys.modules)"
    )
    assert python("-c", script).returncode == 0
    heavy = f"assert not set({HEAVY}) & set(sys.modules), set({HEAVY}) & set(sys.modules)"
    script = f"import sys, underlit; {heavy}"
    assert python("-c", script).returncode == 0
    script = f"import sys; from underlit.cli.app import run; run(['--help']); {heavy}"
    done = python("-c", script)
    assert done.returncode == 0, done.stderr
    assert "underlit trace tank" in done.stdout


def test_a_later_trace_loads_no_more_than_it_needs(tmp_path):
    """What its numbers do not come from, or only while kernels are compiled, would make half of its start."""
    slow = {
        "scipy.sparse",
        "scipy.spatial",
        "scipy.linalg",
        "scipy.interpolate",
        "pint",
        "matplotlib",
        "trimesh",
    }
    command = ["trace", str(KITCHEN_CUBE), "-o", str(tmp_path / "tank.h5"), "--photons", "1000", "-q"]
    script = (
        f"import sys; from underlit.cli.app import run; run({command}); print(*{slow} & set(sys.modules))"
    )
    assert python("-c", script).returncode == 0  # compiles what is not compiled yet
    done = python("-c", script)
    assert done.stdout.split() == [], done.stdout + done.stderr


def test_a_first_check_says_why_it_takes_a_while(monkeypatch, tmp_path, capsys):
    command = ["check", str(KITCHEN_CUBE), "--no-drawing"]
    monkeypatch.setenv("UNDERLIT_CACHE", str(tmp_path))
    assert app.run(command) == 0
    assert capsys.readouterr().err == f"{check.COMPILING}\n"
    cache_folder().mkdir()
    assert app.run(command) == 0
    assert capsys.readouterr().err == ""


def test_help_is_quick():
    """Processor time, so that a busy machine does not matter: 0.3 s at most, about 0.1 s measured."""
    resource = pytest.importorskip("resource", reason="no processor times of children on Windows")
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert python("-m", "underlit", "--help").returncode == 0
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime < 0.3


def test_public_names_exist_and_are_sorted():
    assert underlit.__all__ == sorted(underlit.__all__)
    assert set(underlit.__all__) <= set(dir(underlit))
    for name in underlit.__all__:
        assert getattr(underlit, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'brightness'"):
        underlit.brightness  # noqa: B018


@pytest.mark.parametrize("command", app.COMMANDS)
def test_every_command_teaches_by_example(command, capsys):
    assert app.run([command, "--help"]) == 0
    assert f"underlit {command} " in capsys.readouterr().out


def test_version(capsys):
    assert app.run(["--version"]) == 0
    assert underlit.__version__ in capsys.readouterr().out


def test_show_prints_all_tables_with_the_cautions(stored, capsys):
    assert app.run(["show", stored]) == 0
    out = capsys.readouterr().out
    for word in (
        "Plant zones",
        "Where 100 photons end",
        "Lamps",
        "carpet",
        "µmol m⁻² s⁻¹",
        "licensed electrician",
    ):
        assert word in out


def test_json_is_what_the_library_says(stored, record, capsys):
    assert app.run(["show", stored, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    report = zones.report(record, zones.find_zones(record)[0])
    carpet = data["zones"][0]
    assert carpet["zone"] == "carpet"
    assert carpet["median"]["value"] == pytest.approx(float(report.median.value))
    assert carpet["median"]["std_err"] == pytest.approx(float(report.median.std_err))
    assert sum(end["photons"]["value"] for end in data["budget"]) == pytest.approx(100.0)
    assert data["trace"]["seed"] == record.seed
    assert data["cautions"]


def test_csv_has_one_number_a_line(stored, capsys):
    assert app.run(["show", stored, "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    (mean,) = (row for row in rows if row["table"] == "soil" and row["row"] == "mean PPFD")
    assert float(mean["value"]) > 0 < float(mean["std_err"])
    assert mean["unit"] == "µmol m⁻² s⁻¹"
    assert {row["row"] for row in rows if row["table"] == "lamps"} == {
        "bar / white",
        "bar / red",
        "clip / white",
        "all",
    }


def test_dim_shows_another_setting_of_the_same_trace(stored, record, capsys):
    app.run(["show", stored, "--json", "--dim", "bar=50%", "--dim", "clip / white=0"])
    data = json.loads(capsys.readouterr().out)
    half = summary.summarise(record, {"bar": 0.5, "clip": 0.0}).as_dict()
    assert data["soil"]["mean PPFD"]["value"] == pytest.approx(half["soil"]["mean PPFD"]["value"])
    bar = maps.ppfd(record, "soil", {"clip": 0.0})
    full = float(bar.value.sum()) / (
        2 * summary.maps.ppfd(record, "soil", {"bar": 0.5, "clip": 0.0}).value.sum()
    )
    assert full == pytest.approx(1.0)
    assert [row["setting"] for row in data["lamps"]] == [50.0, 50.0, 0.0, None]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["show", "nothing.h5"], "no such file"),
        (["show", "small.toml"], "is no result file"),
        (["trace", "nothing.toml"], "no such file"),
        (["trace", "small.toml", "--precision", "3%", "--photons", "1M"], "not both"),
        (["trace", "small.toml", "--precision", "much"], "expected a percentage"),
        (["trace", "small.toml", "--precision", "0%"], "for ever"),
        (["trace", "small.toml", "--photons", "1.5"], "whole number"),
        (["trace", "small.toml", "-o", "nowhere/tank.h5"], "no folder"),
        (["trace", "small.toml", "-o", "small.toml"], "is no result file"),
        (["trace", "small.toml", "--threads", "0"], "--threads"),
        (["show", "tank.h5", "--dim", "bar"], "bar=60%"),
        (["show", "tank.h5", "--dim", "lamp=60%"], "no fixture or channel `lamp`"),
        (["shine"], "No such command"),
        (["shwo"], "Did you mean 'show'?"),
    ],
)
def test_mistakes_end_with_status_2_and_no_traceback(arguments, message, small, record, capsys):
    record.save("tank.h5")
    assert app.run(arguments) == 2
    err = capsys.readouterr().err
    assert message in err
    assert "Traceback" not in err


def test_faults_of_a_scene_are_reported_together(small, capsys):
    broken = SMALL.replace('"20 cm"\nheight', '"20"\nheight', 1).replace('power = "5 W"', 'power = "5 lux"')
    with open("broken.toml", "w") as file:
        file.write(broken)
    assert app.run(["trace", "broken.toml"]) == 2
    err = capsys.readouterr().err
    assert "broken.toml:4" in err
    assert "power" in err


def test_fault_of_the_program_apologises(monkeypatch, stored, capsys):
    def fail(*_):
        raise ZeroDivisionError("of its own")

    monkeypatch.setattr(Result, "open", fail)
    monkeypatch.delenv("UNDERLIT_DEBUG", raising=False)
    assert app.run(["show", stored]) == 1
    err = capsys.readouterr().err
    assert "the fault is underlit's: ZeroDivisionError: of its own" in err
    assert "Traceback" not in err
    monkeypatch.setenv("UNDERLIT_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        app.run(["show", stored])


def test_ctrl_c_ends_with_status_130(monkeypatch, stored, capsys):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(Result, "open", stop)
    assert app.run(["show", stored]) == 130
    assert "Stopped." in capsys.readouterr().err


def test_reader_that_goes_away_is_no_fault(stored):
    """As `underlit show tank.h5 --csv | head -1`."""
    script = f'"{sys.executable}" -m underlit show {stored} --csv | head -1; echo "status ${{PIPESTATUS[0]}}"'
    env = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        ["bash", "-c", script], env=env, capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.splitlines() == ["table,row,column,value,std_err,unit", "status 0"]
    assert done.stderr == ""


def test_trace_writes_a_result_that_show_reads(small, capsys):
    assert app.run(["trace", small, "--photons", "20k", "--seed", "7", "--threads", "1"]) == 0
    captured = capsys.readouterr()
    assert "Wrote small.h5" in captured.err
    assert "licensed electrician" in " ".join(captured.err.split())
    assert captured.out == ""
    res = Result.open("small.h5")
    assert res.seed == 7
    assert res.n_photons >= 20_000
    assert res.stop_reason == "photons"
    assert res.scene_text == SMALL
    assert app.run(["show", "small.h5"]) == 0
    assert app.run(["trace", small, "--photons", "20k", "-q", "-o", "quiet.h5"]) == 0
    assert capsys.readouterr().err == ""


def test_trace_warns_of_what_reaches_out_of_the_tank(small, capsys):
    slab = '[[hardscape]]\nname = "slab"\nshape = "slab"\nsize = ["40 cm", "5 cm", "2 cm"]\n'
    with open(small, "a", encoding="utf-8") as file:
        file.write(f'{slab}position = ["0 cm", "10 cm"]\n')
    assert app.run(["trace", small, "--photons", "2k"]) == 0
    assert '"slab" reaches 20 cm through the left pane.' in capsys.readouterr().err


def test_new_scene_is_sound_and_never_overwrites(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for kind in new.KINDS:
        assert app.run(["new", kind, "--kind", kind]) == 0
        assert underlit.load_scene(f"{kind}.toml").tank.length == pytest.approx(0.6)
    assert tuple(TEMPLATES) == new.KINDS
    before = (tmp_path / "small.toml").read_bytes()
    capsys.readouterr()
    assert app.run(["new", "small.toml"]) == 2
    assert "left as it is" in capsys.readouterr().err
    assert (tmp_path / "small.toml").read_bytes() == before
    assert app.run(["new", "nowhere/tank"]) == 2
    assert app.run(["new", "other", "--kind", "plant"]) == 2


def test_schema_accepts_the_starter_scenes(capsys):
    assert app.run(["schema"]) == 0
    schema = json.loads(capsys.readouterr().out)
    for text in TEMPLATES.values():
        jsonschema.validate(tomllib.loads(text), schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"tank": {"length": 60}}, schema)


def test_check_draws_the_scene(small, tmp_path, capsys):
    assert app.run(["check", small, "-o", "drawing.svg"]) == 0
    assert "Drew drawing.svg" in capsys.readouterr().out
    assert "<svg" in (tmp_path / "drawing.svg").read_text(encoding="utf-8")
    assert app.run(["check", small, "-o", "drawing.gif"]) == 2


def test_figures_draws_pictures(stored, tmp_path, capsys):
    assert app.run(["figures", stored, "-o", "pictures", "--dim", "clip=0"]) == 0
    drawn = sorted(path.name for path in (tmp_path / "pictures").iterdir())
    assert "soil.png" in drawn
    said = capsys.readouterr().out
    assert all(name in said for name in drawn)


def test_figures_takes_white_and_exposure_of_the_front_view(stored, tmp_path):
    assert app.run(["figures", stored, "-o", "usual"]) == 0
    options = ["--front-white", "D65", "--front-exposure", "50"]
    assert app.run(["figures", stored, "-o", "asked", *options]) == 0
    changed = {
        path.name
        for path in (tmp_path / "usual").iterdir()
        if path.read_bytes() != (tmp_path / "asked" / path.name).read_bytes()
    }
    assert changed == {"front.png"}
    assert app.run(["figures", stored, "--front-exposure", "0"]) == 2


def test_check_tells_what_a_scene_holds(small, capsys):
    assert app.run(["check", small, "--no-drawing"]) == 0
    out = capsys.readouterr().out
    assert "20 cm x 20 cm x 20 cm" in out
    assert "clip" in out
    assert "3 cm below the rim" in out


def heed_ctrl_c():
    """A shell lets what it starts in the background ignore Ctrl-C, and children inherit that."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def test_first_ctrl_c_keeps_what_was_traced(small):
    env = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path), "PYTHONUNBUFFERED": "1"}
    command = [sys.executable, "-m", "underlit", "trace", small, "--photons", "100G", "-o", "part.h5"]
    with subprocess.Popen(
        command, env=env, stderr=subprocess.PIPE, text=True, preexec_fn=heed_ctrl_c
    ) as traced:
        try:
            next(said for said in traced.stderr if "photons in" in said)
            time.sleep(0.5)
            traced.send_signal(signal.SIGINT)
            rest = traced.communicate(timeout=60)[1]
        finally:
            traced.kill()
    assert traced.returncode == 130
    assert "Stopped early" in rest
    assert "Traceback" not in rest
    res = Result.open("part.h5")
    assert res.stop_reason == "interrupted"
    np.testing.assert_allclose(res.budget.share.sum(axis=2), 1.0, atol=1e-5)


@dataclasses.dataclass(frozen=True)
class State:
    """As the tracer's own `Progress`."""

    photons: int
    seconds: float
    rel_err: float
    target: float | None
    median_ppfd: float
    share_done: float


def test_progress_is_plain_about_what_is_known():
    state = State(2_500_000, 10.0, 0.06, 0.03, 61.4, 0.25)
    assert line(state) == (
        "2.5 M photons in 10 s (250 k a second), median soil cell 61 ± 4 µmol m⁻² s⁻¹, standard error 6 %, 3 % asked"
    )
    assert remaining_s(state) == pytest.approx(30.0)
    early = dataclasses.replace(state, rel_err=float("inf"), share_done=0.0)
    assert "unknown yet" in line(early)
    assert remaining_s(early) == float("inf")


def test_live_display_on_a_terminal():
    from rich.console import Console

    screen = Console(file=io.StringIO(), force_terminal=True, width=100)
    with Meter(screen, quiet=False) as meter:
        meter.update(State(2_500_000, 10.0, 0.06, 0.03, 61.4, 0.25))
    shown = screen.file.getvalue()
    assert "61 ± 4" in shown
    assert "about 30 s left" in shown
    assert "25 %" in shown


@pytest.mark.parametrize("terminal", [True, False])
@pytest.mark.parametrize("compiles", [True, False])
def test_only_a_first_run_is_said_to_compile(terminal, compiles):
    from rich.console import Console

    screen = Console(file=io.StringIO(), force_terminal=terminal, width=120)
    with Meter(screen, quiet=False, compiles=compiles):
        pass
    assert ("compiles its kernels" in screen.file.getvalue()) is compiles


def test_numbers_are_shown_as_their_error_allows():
    assert summary.text_of(underlit.Estimate([9.0, 11.0, 10.0, 10.0])) == "10.0 ± 0.4"
    assert summary.text_of(underlit.Estimate.exact(28.44, 2)) == summary.text_of(28.44) == "28.4"
    assert summary.text_of(999.7) == "1000"
    assert summary.text_of(1234567) == "1 234 567"
    assert summary.text_of(float("nan")) == "–"
    assert summary.text_of(None) == ""


@pytest.mark.parametrize(
    ("duv", "error", "text"),
    [(1.705e-5, 0.0, "+0.0000"), (-1e-5, 0.0, "+0.0000"), (-0.00326, 0.0, "-0.0033"),
     (0.01634, 4e-6, "+0.0163 ± 0.0001"), (-0.0021, 0.003, "-0.002 ± 0.003")],
)  # fmt: skip
def test_duv_has_a_sign_and_at_most_four_decimals(duv, error, text):
    """As the tolerances of ANSI C78.377 are given."""
    table = summary.facts("soil", "Soil", [("Duv", underlit.Estimate([duv - error, duv + error]), "")])
    assert table.texts() == [{"quantity": "Duv", "value": text, "unit": ""}]
