"""Lattices of emitters kept in a study's folder, so that a second search over the same tank need not trace them."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np

import underlit
from underlit.metrics.zones import Zone
from underlit.scene.files import file_digests, plain
from underlit.scene.lamps import Fixture
from underlit.scene.model import Scene
from underlit.studies.lattice import METHOD, SPACING_M, Lattice, basis_of, trace_lattice
from underlit.studies.store import Worlds, digest, write_bytes

# What neither moves a photon nor decides which cells are looked at.
_SCENES_BOOKS = ("title", "notes", "schedule", "fixture", "window", "meter")
_PLANTS_BOOKS = ("band", "target", "ceiling", "demand")
_LAMPS_BOOKS = ("name", "position", "price", "l70_hours")
_ARRAYS = ("x_m", "y_m", "spill_umol_s", "watts", "xyz")
_ZONES_ARRAYS = ("cells", "open_share", "area_m2")


def kept_lattice(
    scene: Scene,
    fixture: Fixture,
    folder: Path,
    *,
    free: bool = False,
    spacing_m: float = SPACING_M,
    photons: int | None = None,
    seed: int = 1,
    worlds: Worlds | None = None,
) -> tuple[Lattice, bool]:
    """The lattice for a lamp at its height and tilt, from the folder if it is there, else traced and kept.

    Parameters
    ----------
    scene, fixture, free, spacing_m, photons, seed
        As for `lattice.trace_lattice`.
    folder : Path
    worlds : Worlds, optional
        Shapes that are there already.

    Returns
    -------
    Lattice
    bool
        Whether it was on file.
    """
    key = lattice_key(scene, fixture, free=free, spacing_m=spacing_m, photons=photons, seed=seed)
    path = folder / f"lattice-{key[:16]}.npz"
    found = _read(path, key, scene, fixture, free)
    if found is not None:
        return found, True
    world = (worlds or Worlds()).of(scene)
    made = trace_lattice(
        scene, fixture, free=free, spacing_m=spacing_m, photons=photons, seed=seed, world=world
    )
    write_bytes(path, _packed(made, key))
    return made, False


def lattice_key(scene: Scene, fixture: Fixture, **settings: Any) -> str:
    """Digest of all that decides a lattice: the tank, the lamp, the program and how it is traced."""
    tank = plain(scene)
    for word in _SCENES_BOOKS:
        tank.pop(word, None)
    tank["plant"] = [_without(plant, _PLANTS_BOOKS) for plant in tank["plant"]]
    lamp = _without(plain(fixture), _LAMPS_BOOKS)
    return digest([underlit.__version__, METHOD, tank, lamp, settings, sorted(file_digests(scene).items())])


def _packed(lattice: Lattice, key: str) -> bytes:
    arrays = {name: getattr(lattice, name) for name in _ARRAYS}
    arrays |= {"key": np.array(key), "kept": np.array(lattice.kept)}
    for i, (zone, light) in enumerate(zip(lattice.zones, lattice.light, strict=True)):
        arrays |= {f"zone{i}_{name}": getattr(zone, name) for name in _ZONES_ARRAYS}
        arrays |= {f"zone{i}_read": np.array([zone.surface, zone.plane]), f"zone{i}_light": light}
        arrays[f"zone{i}_height_m"] = np.array(zone.height_m)
    made = io.BytesIO()
    np.savez_compressed(made, **arrays)
    return made.getvalue()


def _read(path: Path, key: str, scene: Scene, fixture: Fixture, free: bool) -> Lattice | None:
    """A lattice on file; one that cannot be read, or belongs to another tank, is as good as none."""
    try:
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as file:
            if str(file["key"]) != key:
                return None
            zones = [_zone(file, i, scene) for i in range(len(scene.plant))]
            light = [file[f"zone{i}_light"] for i in range(len(zones))]
            arrays = {name: file[name] for name in _ARRAYS}
            kept = file["kept"].tolist()
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    return Lattice(
        fixture=fixture, zones=zones, light=light, kept=kept, basis=basis_of(fixture, free), **arrays
    )


def _zone(file: Any, i: int, scene: Scene) -> Zone:
    surface, plane = map(str, file[f"zone{i}_read"])
    arrays = {name: file[f"zone{i}_{name}"] for name in _ZONES_ARRAYS}
    return Zone(scene.plant[i], surface, plane, height_m=float(file[f"zone{i}_height_m"]), **arrays)


def _without(table: dict[str, Any], words: tuple[str, ...]) -> dict[str, Any]:
    return {word: value for word, value in table.items() if word not in words}
