"""Reading and writing result files; the only importer of h5py.

A file is composed in memory, written under a temporary name in its own folder and renamed when it is whole: a
disk that fills up while HDF5 writes to it takes the whole process down. No file is left open after a call.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from underlit.errors import ResultError
from underlit.results.result import Channel, Optics, Result, Surface
from underlit.results.schema import BY_PATH, FILETYPE, VERSION
from underlit.spectra import GRID_NM

HDF5_SIGNATURE = b"\x89HDF\r\n\x1a\n"
CHUNK_BYTES = 1 << 20
GZIP_LEVEL = 2  # with byte shuffling, 9 is hardly smaller and many times slower
HOW_MADE = "`underlit trace` makes result files."
GEOMETRY = ("vertices_m", "faces", "cell_of_face", "cell_area_m2", "cell_centre_m", "cell_normal")
GRID_EDGES = ("x_edges_m", "y_edges_m")
ROOT_FACTS = ("created", "scene_file", "seed", "scale", "wall_s", "stop_reason", "rel_err_asked", "rel_err")


def write(path: str | Path, record: Result) -> None:
    """Write a result file, whole or not at all.

    Parameters
    ----------
    path : str or Path
        An existing file is replaced, once the new one is whole.
    record : Result

    Raises
    ------
    ResultError
        If the file cannot be written: no such folder, no permission, disk full.
    ValueError
        If the record contradicts itself, such as tallies of another shape than their surface.
    """
    import h5py

    path = Path(path)
    _check_record(record)
    check_writable(path)
    image = BytesIO()
    with h5py.File(image, "w") as file:
        _write_all(file, record)
    part = _part_name(path)
    try:
        with part.open("wb") as file:
            file.write(image.getbuffer())
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except OSError as fault:
        raise ResultError(
            f"cannot write the result: {_reason(fault)}.",
            where=str(path),
            hint="Check the free space and permissions of that folder; nothing half-written is left there.",
        ) from fault
    finally:
        with suppress(OSError):
            part.unlink()


def check_writable(path: str | Path) -> None:
    """Refuse a place that no result file can be written to, before hours of tracing.

    Raises
    ------
    ResultError
        If the folder does not exist or may not be written to, or the path is a folder or a file of another kind.
    """
    path = Path(path)
    if path.is_dir():
        raise ResultError("is a folder.", where=str(path), hint="Give a file name, such as `tank.h5`.")
    if not path.parent.is_dir():
        raise ResultError(
            f"there is no folder `{path.parent}`.", where=str(path), hint="Make it first, or write elsewhere."
        )
    if path.exists() and not _is_hdf5(path):
        raise ResultError(
            "exists and is no result file.",
            where=str(path),
            hint="Give another name: it would be overwritten.",
        )
    part = _part_name(path)
    try:
        part.touch()
        part.unlink()
    except OSError as fault:
        raise ResultError(
            f"nothing can be written there: {_reason(fault)}.",
            where=str(path),
            hint="Write to another folder.",
        ) from fault


def _is_hdf5(path: Path) -> bool:
    """Whether a file is HDF5 at all."""
    try:
        with path.open("rb") as file:
            return file.read(8) == HDF5_SIGNATURE
    except OSError as fault:
        raise ResultError(f"cannot be read: {_reason(fault)}.", where=str(path)) from fault


def read(path: str | Path) -> Result:
    """Read a result file and close it; tallies follow when first asked for.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Result

    Raises
    ------
    ResultError
        If the file is missing, is no result file, is damaged, or is of a newer major version.
    """
    path = Path(path)
    with _opened(path) as file:
        _check_version(file, path)
        surfaces = _read_surfaces(file)
        return Result(
            scene_text=file["scene_text"].asstr()[()],
            wavelength_nm=file["wavelength_nm"][()],
            source_names=_texts(file["sources/name"]),
            photons=file["sources/photons"][()],
            channels=_read_channels(file["channels"]),
            surfaces=surfaces,
            sums=StoredSums(path.resolve(), _stamp(file), tuple(surfaces)),
            budget_names=_texts(file["budget/name"]),
            budget_sums=file["budget/sum"][()],
            optics=_read_optics(file["optics"]) if "optics" in file else None,
            file_digests=_read_pairs(file["files" if "files" in file else "meshes"], "file", "sha256"),
            versions=_read_pairs(file["versions"], "name", "version"),
            counters=_read_pairs(file["counters"], "name", "count"),
            **{name: _plain(file.attrs[name]) for name in ROOT_FACTS},
        )


class StoredSums(Mapping[str, np.ndarray]):
    """Tallies of a result file by surface; the file is opened, read and closed at each call.

    Parameters
    ----------
    path : Path
    stamp : str
        What tells one trace from another; a file replaced since then is refused.
    names : tuple of str
        Names of the surfaces.
    """

    def __init__(self, path: Path, stamp: str, names: tuple[str, ...]) -> None:
        self._path, self._stamp, self._names = path, stamp, names

    def __getitem__(self, name: str) -> np.ndarray:
        return self._read(name, np.int64)

    def floats(self, name: str) -> np.ndarray:
        """The same in double precision, shape (K, S, C, B)."""
        return self._read(name, np.float64)

    def _read(self, name: str, kind: type) -> np.ndarray:
        if name not in self._names:
            raise KeyError(name)
        with _opened(self._path) as file:
            if _stamp(file) != self._stamp:
                raise ResultError(
                    "was replaced by another trace after it was opened.",
                    where=str(self._path),
                    hint="Open it again.",
                )
            return file["surfaces"][_group_name(name)]["sum"].astype(kind)[()]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def _write_all(file: Any, record: Result) -> None:
    _put(file, "@filetype", FILETYPE)
    _put(file, "@version", VERSION)
    _put(file, "@replicates", record.replicates)
    for name in ROOT_FACTS:
        _put(file, f"@{name}", getattr(record, name))
    _put(file, "scene_text", record.scene_text)
    _put(file, "wavelength_nm", record.wavelength_nm)
    _put(file, "sources/name", record.source_names)
    _put(file, "sources/photons", record.photons)
    _put(file, "budget/name", record.budget_names)
    _put(file, "budget/sum", record.budget_sums)
    _put_pairs(file, "files", "file", "sha256", record.file_digests)
    _put_pairs(file, "versions", "name", "version", record.versions)
    _put_pairs(file, "counters", "name", "count", record.counters)
    _write_channels(file, record.channels)
    if record.optics is not None:
        _write_optics(file, record.optics)
    for index, surface in enumerate(record.surfaces.values()):
        _write_surface(file, index, surface, record.sums[surface.name])


def _write_channels(file: Any, channels: list[Channel]) -> None:
    _put(file, "spectrum_wavelength_nm", GRID_NM)
    _put(
        file,
        "channels/spectrum",
        np.array([channel.spectrum for channel in channels]).reshape(-1, len(GRID_NM)),
    )
    for name in ("fixture", "name", "source", "power_w", "dim", "price", "l70_hours"):
        _put(file, f"channels/{name}", [getattr(channel, name) for channel in channels])


def _write_optics(file: Any, optics: Optics) -> None:
    _put(file, "optics/water_absorption", optics.water_absorption_per_m)
    _put(file, "optics/glass_absorption", optics.glass_absorption_per_m)
    _put(file, "optics/reflectance_name", list(optics.reflectances))
    _put(file, "optics/reflectance", np.array(list(optics.reflectances.values())).reshape(-1, len(GRID_NM)))


def _write_surface(file: Any, index: int, surface: Surface, sums: np.ndarray) -> None:
    group = f"surfaces/{_group_name(surface.name)}"
    for name in ("name", "kind", "plane"):
        _put(file, f"{group}@{name}", getattr(surface, name))
    _put(file, f"{group}@index", index)
    for name in GEOMETRY + (GRID_EDGES if surface.kind == "grid" else ()):
        _put(file, f"{group}/{name}", getattr(surface, name))
    _put(file, f"{group}/sum", sums)


def _put_pairs(file: Any, group: str, keys: str, values: str, pairs: Mapping[str, Any]) -> None:
    _put(file, f"{group}/{keys}", list(pairs))
    _put(file, f"{group}/{values}", list(pairs.values()))


def _put(file: Any, path: str, value: Any) -> None:
    """Write one field as the table in `schema.py` has it, with its unit and axes beside it."""
    import h5py

    field = BY_PATH[_table_path(path)]
    text = field.dtype == "str"
    if field.is_attribute:
        group, _, name = path.partition("@")
        attrs = (file.require_group(group) if group else file).attrs
        attrs[name] = value if text else np.asarray(value, field.dtype)
        return
    if text:
        data = np.array(value, dtype=object)
        dataset = file.create_dataset(path, data=data, dtype=h5py.string_dtype())
    else:
        dataset = _put_numbers(file, path, np.asarray(value, field.dtype))
    dataset.attrs["units"] = field.units
    if field.axes:
        dataset.attrs["axes"] = ", ".join(field.axes)


def _put_numbers(file: Any, path: str, data: np.ndarray) -> Any:
    packing = _packing(data)
    if not packing:
        return file.create_dataset(path, data=data)
    dataset, step = file.create_dataset(path, data.shape, data.dtype, **packing), packing["chunks"][0]
    # Whole chunks in turn: what is a view of more is copied for each write.
    for first in range(0, len(data), step):
        dataset[first : first + step] = data[first : first + step]
    return dataset


def _packing(data: np.ndarray) -> dict[str, Any]:
    """Chunks of whole trailing axes, about CHUNK_BYTES each; small arrays are not worth packing."""
    if data.nbytes < 4096:
        return {}
    chunk, n_bytes = [1] * data.ndim, data.itemsize
    for axis in reversed(range(data.ndim)):
        chunk[axis] = max(1, min(data.shape[axis], CHUNK_BYTES // n_bytes))
        n_bytes *= chunk[axis]
    return {"chunks": tuple(chunk), "shuffle": True, "compression": "gzip", "compression_opts": GZIP_LEVEL}


def _table_path(path: str) -> str:
    head, slash, rest = path.partition("/")
    if head != "surfaces" or not slash:
        return path
    mark = "@" if "@" in rest else "/"
    return f"surfaces/*{mark}{rest.rpartition(mark)[2]}"


def _group_name(surface: str) -> str:
    return surface.replace("/", "|").replace("@", "(at)")


def _stamp(file: Any) -> str:
    return f"{file.attrs['created']} {file.attrs['wall_s']} {file.attrs['seed']}"


def _read_surfaces(file: Any) -> dict[str, Surface]:
    groups = sorted(file["surfaces"].values(), key=lambda group: int(group.attrs["index"]))
    surfaces = [_read_surface(group) for group in groups]
    return {surface.name: surface for surface in surfaces}


def _read_surface(group: Any) -> Surface:
    edges: dict[str, Any] = {name: group[name][()] for name in GRID_EDGES if name in group}
    shape = (len(edges["y_edges_m"]) - 1, len(edges["x_edges_m"]) - 1) if edges else None
    name, kind, plane = (str(group.attrs[key]) for key in ("name", "kind", "plane"))
    geometry: dict[str, Any] = {key: group[key][()] for key in GEOMETRY}
    return Surface(name, kind, plane, **geometry, **edges, shape=shape)


def _read_channels(group: Any) -> list[Channel]:
    columns: dict[str, list[Any]] = {name: _texts(group[name]) for name in ("name", "fixture")}
    columns["spectrum"] = list(group["spectrum"][()])
    columns |= {name: group[name][()].tolist() for name in ("source", "power_w", "dim", "price", "l70_hours")}
    return [Channel(**dict(zip(columns, row, strict=True))) for row in zip(*columns.values(), strict=True)]


def _read_optics(group: Any) -> Optics:
    reflectances = dict(zip(_texts(group["reflectance_name"]), group["reflectance"][()], strict=True))
    return Optics(group["water_absorption"][()], group["glass_absorption"][()], reflectances)


def _read_pairs(group: Any, keys: str, values: str) -> dict[str, Any]:
    found = group[values]
    column = found[()].tolist() if found.dtype.kind in "iu" else _texts(found)
    return dict(zip(_texts(group[keys]), column, strict=True))


def _texts(dataset: Any) -> list[str]:
    return [str(text) for text in dataset.asstr()[()]]


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else value


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    import h5py

    if not path.is_file():
        raise ResultError("there is no such file.", where=str(path), hint=HOW_MADE)
    if not _is_hdf5(path):
        raise ResultError("is no result file.", where=str(path), hint=HOW_MADE)
    try:
        with h5py.File(path, "r") as file:
            yield file
    except (OSError, KeyError, RuntimeError) as fault:
        raise ResultError(
            f"is damaged or cut short: {_reason(fault)}.",
            where=str(path),
            hint="Trace the scene again: the same seed and photons give the same result.",
        ) from fault


def _check_version(file: Any, path: Path) -> None:
    found = file.attrs.get("filetype")
    if not isinstance(found, str) or found != FILETYPE:
        raise ResultError(
            f"is an HDF5 file, but not an `{FILETYPE}`.",
            where=str(path),
            hint=HOW_MADE,
        )
    major, minor = (int(part) for part in file.attrs["version"])
    if major > VERSION[0]:
        raise ResultError(
            f"has format {major}.{minor}; this release reads formats up to {VERSION[0]}.",
            where=str(path),
            hint="Install a newer release: `pip install --upgrade underlit`.",
        )


def _check_record(record: Result) -> None:
    k, s, b = record.replicates, len(record.photons), len(record.wavelength_nm)
    _expect("source names", len(record.source_names), s)
    _expect("budget", record.budget_sums.shape, (k, s, len(record.budget_names), b))
    _expect("tallied surfaces", sorted(record.sums), sorted(record.surfaces))
    _expect(
        "distinct surface names", len({_group_name(name) for name in record.surfaces}), len(record.surfaces)
    )
    for name, surface in record.surfaces.items():
        _expect("surface name", surface.name, name)
        _expect(f"tally of `{name}`", np.shape(record.sums[name]), (k, s, surface.n_cells, b))
        if surface.shape is not None:
            _expect(f"cells of `{name}`", surface.n_cells, surface.shape[0] * surface.shape[1])
    for channel in record.channels:
        if not 0 <= channel.source < s:
            raise ValueError(f"{channel.label}: source {channel.source} of {s}")


def _expect(what: str, got: object, expected: object) -> None:
    if got != expected:
        raise ValueError(f"{what}: got {got}, expected {expected}")


def _part_name(path: Path) -> Path:
    return path.with_name(f".{path.name}.{os.getpid()}.part")


def _reason(fault: BaseException) -> str:
    if isinstance(fault, OSError) and fault.errno:
        return os.strerror(fault.errno).lower()
    return " ".join(str(fault).split())[:200] or type(fault).__name__
