"""Broken inputs through the real command: exit status 2, a message that helps, no traceback, nothing half-written.

The scene files of tests/broken say themselves what their message must hold; here every command that reads them
is run. Files that a scene names, result files and command lines follow.
"""

from __future__ import annotations

import os
import re
import struct
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import synthetic
from underlit.cli import app

BROKEN = Path(__file__).parent / "broken"
SCENES = sorted(BROKEN.glob("*.toml"))
PRECIOUS = b"\x89HDF\r\n\x1a\n what was traced the other day"

SCENE = """
[tank]
length = "30 cm"
width = "30 cm"
height = "30 cm"
thickness = "5 mm"
{extra}
[[fixture]]
name = "clip"
position = ["15 cm", "15 cm"]
height = "10 cm"
shape = "panel"
size = ["10 cm", "6 cm"]
[[fixture.channel]]
name = "white"
spectrum = {spectrum}
power = "9 W"
efficacy = "1.6 umol/J"
beam = {beam}
"""


def scene(extra: str = "", spectrum: str = '"white 6500 K"', beam: str = '"120 deg"') -> str:
    return SCENE.format(extra=extra, spectrum=spectrum, beam=beam)


def stone(file: str, unit: str = "mm") -> str:
    return scene(
        f'[[hardscape]]\nname = "rock"\nmesh = "{file}"\nunit = "{unit}"\nposition = ["15 cm", "15 cm"]\n'
    )


def run(arguments: list[str], capsys, monkeypatch) -> tuple[int, str, str]:
    """Status, output and errors of a command, in this process but for nothing else as a user has it."""
    monkeypatch.delenv("UNDERLIT_DEBUG", raising=False)
    status = app.run(arguments)
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def picture_of(folder: Path) -> dict[str, bytes | None]:
    """Everything in a folder; huge files by name alone."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        if path.is_file() and path.stat().st_size < 10**7
        else None
        for path in sorted(folder.rglob("*"))
    }


def refused(arguments: list[str], folder: Path, capsys, monkeypatch) -> str:
    """Run a command that must fail as a user's mistake does; its message."""
    before = picture_of(folder)
    status, _, err = run(arguments, capsys, monkeypatch)
    assert status == 2, f"status {status}: {err}"
    assert err.strip()
    assert "Traceback" not in err
    assert "fault is underlit's" not in err
    assert picture_of(folder) == before, "a command that fails leaves the folder as it was"
    return err


@pytest.mark.parametrize("path", SCENES, ids=lambda path: path.stem)
@pytest.mark.parametrize("command", ["check", "trace"])
def test_broken_scene(path, command, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "old.h5").write_bytes(PRECIOUS)
    output = ["-o", "old.h5", "--photons", "1k"] if command == "trace" else ["-o", "old.png"]
    err = refused([command, str(path), *output], tmp_path, capsys, monkeypatch)
    assert path.name in err


def binary_stl(vertices, claimed: int | None = None) -> bytes:
    triangles = np.asarray(vertices, np.float32).reshape(-1, 3, 3)
    record = np.zeros(len(triangles), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
    record["corners"] = triangles
    count = len(triangles) if claimed is None else claimed
    return b"\0" * 80 + struct.pack("<I", count) + record.tobytes()


PYRAMID = np.array(
    [[[0, 0, 0], [80, 0, 0], [0, 80, 0]], [[0, 0, 0], [0, 80, 0], [0, 0, 60]],
     [[0, 0, 0], [0, 0, 60], [80, 0, 0]], [[80, 0, 0], [0, 0, 60], [0, 80, 0]]], float,
)  # fmt: skip
NAN = PYRAMID.copy()
NAN[1, 1, 2] = np.nan
INFINITE = PYRAMID.copy()
INFINITE[2, 0, 0] = np.inf
PLY = """ply
format ascii 1.0
element vertex {v}
property float x
property float y
property float z
element face {f}
property list uchar int vertex_indices
end_header
0 0 0
80 0 0
0 80 0
3 0 1 {last}
"""


def sparse(size: int) -> Callable[[Path], None]:
    """A file that is long and takes no room."""

    def write(path: Path) -> None:
        with path.open("wb") as file:
            file.truncate(size)

    return write


MESHES: dict[str, tuple[str, str, bytes | str | Callable[[Path], None]]] = {
    "nan-vertex": ("rock.stl", "mm", binary_stl(NAN)),
    "infinite-vertex": ("rock.stl", "mm", binary_stl(INFINITE)),
    "empty-file": ("rock.stl", "mm", b""),
    "no-triangles": ("rock.stl", "mm", binary_stl(np.zeros((0, 3, 3)))),
    "cut-short": ("rock.stl", "mm", binary_stl(PYRAMID, claimed=9000)[:-30]),
    "four-billion-triangles": ("rock.stl", "mm", binary_stl(PYRAMID, claimed=2**32 - 1)),
    "five-gigabytes": ("rock.stl", "mm", sparse(5_000_000_000)),
    "all-flat-triangles": ("rock.stl", "mm", binary_stl(np.zeros((50, 3, 3)))),
    "metres-for-millimetres": ("rock.stl", "m", binary_stl(PYRAMID)),
    "millimetres-for-metres": ("rock.stl", "mm", binary_stl(PYRAMID / 1000)),
    "picture-named-stl": ("rock.stl", "mm", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20),
    "text-named-glb": ("rock.glb", "m", "o rock\nv 0 0 0\n"),
    "glb-of-another-length": ("rock.glb", "m", b"glTF" + struct.pack("<II", 2, 10**9) + b"\0" * 40),
    "obj-without-faces": ("rock.obj", "cm", "v 0 0 0\nv 1 0 0\nv 0 1 0\n"),
    "obj-face-of-missing-vertex": ("rock.obj", "cm", "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n"),
    "ply-of-two-billion-vertices": ("rock.ply", "mm", PLY.format(v=2_000_000_000, f=1, last=2)),
    "ply-face-of-missing-vertex": ("rock.ply", "mm", PLY.format(v=3, f=1, last=7)),
    "points-alone": ("rock.ply", "mm", PLY.format(v=3, f=0, last=2)),
    "folder-for-mesh": ("rock.stl", "mm", lambda path: path.mkdir()),
    "missing": ("rock.stl", "mm", lambda path: None),
}


def put(content: bytes | str | Callable[[Path], None], path: Path) -> None:
    if callable(content):
        content(path)
    else:
        path.write_bytes(content if isinstance(content, bytes) else content.encode())


@pytest.mark.parametrize("case", MESHES)
def test_broken_mesh(case, tmp_path, monkeypatch, capsys):
    file, unit, content = MESHES[case]
    monkeypatch.chdir(tmp_path)
    put(content, tmp_path / file)
    (tmp_path / "scene.toml").write_text(stone(file, unit))
    (tmp_path / "old.h5").write_bytes(PRECIOUS)
    err = refused(["trace", "scene.toml", "-o", "old.h5", "--photons", "1k"], tmp_path, capsys, monkeypatch)
    assert "scene.toml" in err
    assert file in err
    assert refused(["check", "scene.toml"], tmp_path, capsys, monkeypatch) == err


MAP = scene('[substrate]\nheight_map = "soil.csv"\n')
SOIL = scene('[substrate]\nmaterial = "soil.csv"\n')
GLASS = scene('glass = "pane.csv"\n')
LAMP = scene(spectrum='{ file = "lamp.csv", quantity = "W/nm" }')
TABLES: dict[str, tuple[str, str, bytes | str]] = {
    "height-map-ragged": (MAP, "soil.csv", "cm\n1,2,3\n1,2\n"),
    "height-map-without-unit": (MAP, "soil.csv", "1,2,3\n1,2,3\n"),
    "height-map-nan": (MAP, "soil.csv", "cm\n1,nan\n1,2\n"),
    "height-map-above-rim": (MAP, "soil.csv", "cm\n1,90\n1,2\n"),
    "height-map-below-bottom": (MAP, "soil.csv", "cm\n1,-3\n1,2\n"),
    "height-map-of-words": (MAP, "soil.csv", "cm\nlow,high\n1,2\n"),
    "height-map-empty": (MAP, "soil.csv", ""),
    "spectrum-of-words": (LAMP, "lamp.csv", "wavelength_nm,value\n400,dim\n700,bright\n"),
    "spectrum-negative": (LAMP, "lamp.csv", "wavelength_nm,value\n380,0\n500,-3\n600,1\n780,0\n"),
    "spectrum-cut-off": (LAMP, "lamp.csv", "wavelength_nm,value\n500,1\n550,1\n600,1\n"),
    "spectrum-binary": (LAMP, "lamp.csv", bytes(range(256)) * 8),
    "spectrum-dark": (LAMP, "lamp.csv", "wavelength_nm,value\n380,0\n780,0\n"),
    "spectrum-not-xml": (scene(spectrum='{ file = "lamp.spdx" }'), "lamp.spdx", "<IESTM2714><cut"),
    "surface-of-words": (SOIL, "soil.csv", "wavelength_nm,reflectance\n450,dark\n"),
    "surface-over-one": (SOIL, "soil.csv", "wavelength_nm,reflectance\n450,0.1\n650,7\n"),
    "surface-without-column": (SOIL, "soil.csv", "wavelength_nm,colour\n450,0.1\n"),
    "glass-lighter-than-air": (GLASS, "pane.csv", "wavelength_nm,n,a_per_m\n450,0.8,1\n650,0.8,1\n"),
}


@pytest.mark.parametrize("case", TABLES)
def test_broken_table(case, tmp_path, monkeypatch, capsys):
    text, file, content = TABLES[case]
    monkeypatch.chdir(tmp_path)
    put(content, tmp_path / file)
    (tmp_path / "scene.toml").write_text(text)
    (tmp_path / "old.h5").write_bytes(PRECIOUS)
    err = refused(["trace", "scene.toml", "-o", "old.h5", "--photons", "1k"], tmp_path, capsys, monkeypatch)
    assert re.search(rf"scene\.toml:\d+  .*\n.*{re.escape(file)}", err), "where in the scene, and which file"
    assert refused(["check", "scene.toml"], tmp_path, capsys, monkeypatch) == err


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> bytes:
    """A sound result file."""
    path = tmp_path_factory.mktemp("whole") / "tank.h5"
    synthetic.result(photons=2000, cell_m=0.05).save(path)
    return path.read_bytes()


DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda whole: b"",
    "cut-short": lambda whole: whole[: len(whole) // 2],
    "only-signature": lambda whole: whole[:8],
    "text": lambda whole: b"ppfd,60\n",
    "overwritten-inside": lambda whole: whole[:600] + b"\xff" * 3000 + whole[3600:],
}


@pytest.mark.parametrize("case", DAMAGE)
def test_broken_result(case, whole, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tank.h5").write_bytes(DAMAGE[case](whole))
    for arguments in (
        ["show", "tank.h5"],
        ["show", "tank.h5", "--json"],
        ["figures", "tank.h5", "-o", "pictures"],
    ):
        assert "tank.h5" in refused(arguments, tmp_path, capsys, monkeypatch)


COMMANDS: dict[str, tuple[list[str], str]] = {
    "no-such-scene": (["check", "scen.toml"], "scene.toml"),
    "result-for-scene": (["trace", "tank.h5"], "tank.h5"),
    "scene-for-result": (["figures", "scene.toml"], "scene.toml"),
    "folder-without-scene": (["trace", "empty"], "empty"),
    "output-over-scene": (["trace", "scene.toml", "-o", "scene.toml"], "scene.toml"),
    "output-is-folder": (["trace", "scene.toml", "-o", "empty"], "empty"),
    "output-in-no-folder": (["trace", "scene.toml", "-o", "none/tank.h5"], "none"),
    "drawing-of-unknown-kind": (["check", "scene.toml", "-o", "scene.bmp"], "bmp"),
    "drawing-under-a-file": (["check", "scene.toml", "-o", "tank.h5/scene.png"], "tank.h5"),
    "figures-onto-file": (["figures", "tank.h5", "-o", "scene.toml"], "scene.toml"),
    "figures-of-unknown-kind": (["figures", "tank.h5", "--format", "bmp"], "bmp"),
    "negative-photons": (["trace", "scene.toml", "--photons", "-5"], "photons"),
    "no-photons": (["trace", "scene.toml", "--photons", "0"], "photons"),
    "precision-in-words": (["trace", "scene.toml", "--precision", "fine"], "precision"),
    "precision-over-one": (["trace", "scene.toml", "--precision", "300%"], "precision"),
    "precision-nan": (["trace", "scene.toml", "--precision", "nan"], "precision"),
    "seed-not-a-number": (["trace", "scene.toml", "--seed", "lucky"], "seed"),
    "dim-of-unknown-lamp": (["show", "tank.h5", "--dim", "sun=60%"], "sun"),
    "dim-without-value": (["show", "tank.h5", "--dim", "bar="], "dim"),
    "unknown-option": (["show", "tank.h5", "--brightness"], "brightness"),
    "unknown-command": (["trase", "scene.toml"], "trace"),
}


@pytest.mark.parametrize("case", COMMANDS)
def test_broken_command_line(case, whole, tmp_path, monkeypatch, capsys):
    arguments, word = COMMANDS[case]
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tank.h5").write_bytes(whole)
    (tmp_path / "scene.toml").write_text(scene())
    (tmp_path / "empty").mkdir()
    assert word in refused(arguments, tmp_path, capsys, monkeypatch)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_folder_that_may_not_be_written_to(tmp_path, monkeypatch, capsys):
    (tmp_path / "scene.toml").write_text(scene())
    shut = tmp_path / "shut"
    shut.mkdir(mode=0o500)
    monkeypatch.chdir(tmp_path)
    refused(["trace", "scene.toml", "-o", "shut/tank.h5"], tmp_path, capsys, monkeypatch)


@pytest.mark.parametrize("case", ["unknown-key", "water-above-rim", "several-faults"])
def test_the_installed_way_in_says_the_same(case, tmp_path, monkeypatch, capsys):
    """As a process of its own: status, an empty output, the same message."""
    command = [sys.executable, "-m", "underlit", "trace", str(BROKEN / f"{case}.toml"), "-o", "tank.h5"]
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        command, env=env, cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == run(command[3:], capsys, monkeypatch)[2]
    assert not list(tmp_path.iterdir())


def test_a_sound_scene_passes(tmp_path, monkeypatch, capsys):
    """What the cases here are broken versions of is itself accepted, so that each fails for its own fault."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rock.stl").write_bytes(binary_stl(PYRAMID))
    (tmp_path / "soil.csv").write_text("cm\n3,3\n5,5\n")
    rock = stone("rock.stl").replace("[[hardscape]]", '[substrate]\nheight_map = "soil.csv"\n[[hardscape]]')
    (tmp_path / "scene.toml").write_text(rock)
    status, out, err = run(["check", "scene.toml", "--no-drawing"], capsys, monkeypatch)
    assert status == 0, err
    assert "rock" in out
