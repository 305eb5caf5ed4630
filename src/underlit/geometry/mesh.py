"""Triangle meshes: what they are, and reading and writing them as files.

The only module that imports trimesh, and only when a file is read or written.
"""

from __future__ import annotations

import logging
import re
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from underlit.errors import MeshError
from underlit.geometry import topology

UNIT_M = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254, "ft": 0.3048}
FORMATS = (".stl", ".obj", ".ply", ".glb", ".gltf")
MAX_TRIANGLES = 5_000_000
MAX_FILE_BYTES = 1_500_000_000  # of text; five million triangles in any format fit
SIMPLIFY = "Simplify the mesh: 100 000 triangles are plenty for a stone."
SMALLEST_M, LARGEST_M = 1e-3, 10.0  # what a thing in a tank can measure; outside it, the unit is wrong

# glTF prescribes y upwards; the other formats prescribe nothing, and z upwards is the habit of modelling
# programs.
_Y_UP_TO_Z_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
_Y_UP_FORMATS = (".glb", ".gltf")


@dataclass(frozen=True)
class MeshReport:
    """What is known of a mesh.

    Parameters
    ----------
    triangles : int
    size : tuple of 3 floats
        Bounding box along x, y, z. [m]
    watertight : bool
        Every edge belongs to exactly two triangles.
    open_edges : int
        Edges with one triangle only: rims and holes.
    components : int
        Pieces that share no vertex.
    notes : tuple of str
        What loading found or changed, one sentence each.
    """

    triangles: int
    size: tuple[float, float, float]
    watertight: bool
    open_edges: int
    components: int
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Mesh:
    """A named triangle mesh; its origin is the point that `place` puts at a position.

    Parameters
    ----------
    name : str
    vertices_m : ndarray, shape (V, 3), float64
        Corners. [m]
    faces : ndarray, shape (F, 3), int32
        Corners of each triangle, counter-clockwise seen from outside.
    report : MeshReport
    """

    name: str
    vertices_m: np.ndarray
    faces: np.ndarray
    report: MeshReport

    @property
    def face_areas_m2(self) -> np.ndarray:
        """Area of each face, shape (F,). [m²]"""
        return topology.face_normals_areas(self.vertices_m, self.faces)[1]

    @property
    def face_normals(self) -> np.ndarray:
        """Unit normal of each face, shape (F, 3)."""
        return topology.face_normals_areas(self.vertices_m, self.faces)[0]

    @property
    def area_m2(self) -> float:
        """Surface of all faces. [m²]"""
        return float(self.face_areas_m2.sum())

    @property
    def volume_m3(self) -> float:
        """Enclosed volume; only meaningful when watertight. [m³]"""
        a, b, c = np.moveaxis(self.vertices_m[self.faces], 1, 0)
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)

    @property
    def bounds_m(self) -> np.ndarray:
        """Lowest and highest x, y, z, shape (2, 3). [m]"""
        return np.stack([self.vertices_m.min(axis=0), self.vertices_m.max(axis=0)])

    def moved_to(self, vertices_m: np.ndarray) -> Mesh:
        """The same faces on other vertices, shape (V, 3). [m]"""
        size = np.ptp(vertices_m, axis=0)
        report = replace(self.report, size=(float(size[0]), float(size[1]), float(size[2])))
        return replace(self, vertices_m=np.ascontiguousarray(vertices_m, np.float64), report=report)


def make_mesh(name: str, vertices_m: np.ndarray, faces: np.ndarray, notes: Sequence[str] = ()) -> Mesh:
    """A mesh of given vertices (V, 3) [m] and faces (F, 3), with its report.

    Raises
    ------
    MeshError
        A face names a vertex that is not there.
    """
    _check_faces(vertices_m, faces, name)
    edges = topology.edges_of(faces)
    size = np.ptp(vertices_m, axis=0)
    components, _ = topology.pieces(edges.ends, len(vertices_m))
    report = MeshReport(
        triangles=len(faces),
        size=(float(size[0]), float(size[1]), float(size[2])),
        watertight=bool(np.all(edges.n_faces == 2)),
        open_edges=int(np.count_nonzero(edges.n_faces == 1)),
        components=int(components),
        notes=tuple(notes),
    )
    vertices_m = np.ascontiguousarray(vertices_m, np.float64)
    return Mesh(name, vertices_m, np.ascontiguousarray(faces, np.int32), report)


def load_mesh(path: str | Path, unit: str, *, name: str | None = None, up: str | None = None) -> Mesh:
    """Read a mesh file: STL, OBJ, PLY, GLB or glTF.

    All objects of the file become one mesh, each at its place. Corners that coincide are welded; triangles
    without area and repeated triangles are dropped; closed pieces that are inside out are turned. Holes
    stay: the things are opaque, so an open mesh is as good as a closed one. The origin of the result is the
    middle of the bounding box, at its underside, whatever the origin of the file was.

    Parameters
    ----------
    path : str or Path
    unit : {"mm", "cm", "m", "in", "ft"}
        Length of one unit of the file. Most formats do not say, so the user must.
    name : str, optional
        Default: the file's name.
    up : {"y", "z"}, optional
        Axis of the file that points upwards. Default: y for GLB and glTF, as their standard says, else z.

    Returns
    -------
    Mesh

    Raises
    ------
    MeshError
        The file is missing, unreadable, no mesh, too large, or of a size that cannot be meant.
    """
    path = Path(path)
    if unit not in UNIT_M:
        raise MeshError(f"unknown unit {unit!r}.", where=str(path), hint=f"Write one of {', '.join(UNIT_M)}.")
    _check_file(path)
    vertices, faces = _read(path)
    _check_numbers(vertices, faces, path)
    if up is None:
        up = "y" if path.suffix.lower() in _Y_UP_FORMATS else "z"
    if up == "y":
        vertices = vertices @ _Y_UP_TO_Z_UP.T
    vertices, faces, notes = _tidy(vertices, faces, path)
    _check_size(vertices, unit, path)
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    origin = np.array([0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]), low[2]])
    return make_mesh(name or path.stem, (vertices - origin) * UNIT_M[unit], faces, notes)


def save_mesh(mesh: Mesh, path: str | Path, unit: str) -> None:
    """Write a mesh as binary STL, OBJ, PLY or GLB, with coordinates in `unit`; GLB is written y upwards.

    Raises
    ------
    MeshError
        Unknown unit or format, or the file cannot be written.
    """
    import trimesh

    path = Path(path)
    suffix = path.suffix.lower()
    if unit not in UNIT_M or suffix not in (".stl", ".obj", ".ply", ".glb"):
        raise MeshError(
            f"cannot write {suffix or 'a file without ending'} in unit {unit!r}.",
            where=str(path),
            hint=f"Endings: .stl .obj .ply .glb; units: {' '.join(UNIT_M)}.",
        )
    vertices = mesh.vertices_m / UNIT_M[unit]
    if suffix in _Y_UP_FORMATS:
        vertices = vertices @ _Y_UP_TO_Z_UP
    solid = trimesh.Trimesh(vertices, mesh.faces, process=False)
    data: Any = solid.export(file_type=suffix[1:])
    unfinished = path.with_name(path.name + ".part")
    try:
        unfinished.write_bytes(data.encode() if isinstance(data, str) else data)
        unfinished.replace(path)
    except OSError as error:
        raise MeshError(f"cannot be written: {error.strerror}.", where=str(path)) from None


@contextmanager
def _silent_trimesh() -> Iterator[None]:
    """No warning or log line of the reader reaches the user: what matters is in the report or the error."""
    logger = logging.getLogger("trimesh")
    before = logger.disabled
    logger.disabled = True
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        logger.disabled = before


def _check_file(path: Path) -> None:
    where = str(path)
    if path.suffix.lower() not in FORMATS:
        ending = path.suffix or "no ending"
        raise MeshError(
            f"{ending} is not a mesh format that can be read.",
            where=where,
            hint=f"Export it as one of {' '.join(FORMATS)}.",
        )
    if not path.exists():
        raise MeshError(
            "no such file.", where=where, hint="Mesh paths are taken from the folder of the scene file."
        )
    if not path.is_file():
        raise MeshError("is not a file.", where=where, hint="Give the path of the mesh file itself.")
    size = path.stat().st_size
    if size == 0:
        raise MeshError("the file is empty.", where=where, hint="Export it again.")
    if size > MAX_FILE_BYTES:
        raise MeshError(
            f"the file has {size / 1e9:.1f} GB; at most {MAX_FILE_BYTES / 1e9:.0f} GB are read.",
            where=where,
            hint=SIMPLIFY,
        )
    _check_count(_declared_triangles(path, size), path)


def _declared_triangles(path: Path, size: int) -> int:
    """How many triangles the head of a file promises, where the format has one: to refuse before reading."""
    with path.open("rb") as file:
        head = file.read(4096)
    if path.suffix.lower() == ".stl" and len(head) >= 84:
        n = int.from_bytes(head[80:84], "little")
        return n if size == 84 + 50 * n else 0
    found = re.search(rb"element face (\d+)", head)
    return int(found[1]) if found and path.suffix.lower() == ".ply" else 0


def _check_count(n_triangles: int, path: Path) -> None:
    if n_triangles > MAX_TRIANGLES:
        raise MeshError(
            f"{n_triangles} triangles; at most {MAX_TRIANGLES} are read.", where=str(path), hint=SIMPLIFY
        )


def _read(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (V, 3) in file units and faces (F, 3) of all objects of the file, each moved to its place."""
    import trimesh

    # typed loosely: the reader takes each format's own options by name
    extra: dict[str, Any] = {} if path.suffix.lower() == ".stl" else {"skip_materials": True}
    try:
        with _silent_trimesh():
            scene = trimesh.load_scene(str(path), process=False, **extra)
            return _flatten(scene, path)
    except MeshError:
        raise
    except MemoryError:
        raise MeshError("needs more memory than there is.", where=str(path), hint="Simplify it.") from None
    except Exception as error:  # the reader fails in as many ways as there are bad files
        reason = str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__
        raise MeshError(
            f"cannot be read as {path.suffix[1:].upper()}: {reason}",
            where=str(path),
            hint="Open it in a modelling program and export it again, uncompressed.",
        ) from None


def _flatten(scene, path: Path) -> tuple[np.ndarray, np.ndarray]:
    vertices: list[np.ndarray] = []
    faces: list[np.ndarray] = []
    n_vertices = n_triangles = n_points = 0
    for node in scene.graph.nodes_geometry:
        matrix, key = scene.graph[node]
        part = scene.geometry[key]
        if not len(getattr(part, "faces", ())):
            n_points += len(getattr(part, "vertices", ()))
            continue
        corner, face = np.asarray(part.vertices, np.float64), np.asarray(part.faces, np.int64)
        if np.linalg.det(matrix[:3, :3]) < 0.0:  # a mirrored part would be inside out
            face = face[:, ::-1]
        vertices.append(corner @ matrix[:3, :3].T + matrix[:3, 3])
        faces.append(face + n_vertices)
        n_vertices += len(corner)
        n_triangles += len(face)
        _check_count(n_triangles, path)
    if not faces:
        what = f"a point cloud of {n_points} points" if n_points else "nothing that has a surface"
        raise MeshError(
            f"the file holds no triangles but {what}.",
            where=str(path),
            hint="Make a surface mesh of it in the scanning or modelling program.",
        )
    return np.concatenate(vertices), np.concatenate(faces)


def _check_faces(vertices: np.ndarray, faces: np.ndarray, where: str) -> None:
    """Kernels do not look whether a vertex is there."""
    if faces.min() < 0 or faces.max() >= len(vertices):
        worst = int(faces.min() if faces.min() < 0 else faces.max())
        raise MeshError(
            f"a triangle names vertex {worst}, but there are {len(vertices)}, counted from 0.",
            where=where,
            hint="If it comes from a file, that is damaged: export it again.",
        )


def _check_numbers(vertices: np.ndarray, faces: np.ndarray, path: Path) -> None:
    where = str(path)
    _check_faces(vertices, faces, where)
    bad = np.flatnonzero(~np.isfinite(vertices).all(axis=1))
    if len(bad):
        raise MeshError(
            f"{len(bad)} of {len(vertices)} vertices are not finite numbers, first number {bad[0]}: "
            f"{vertices[bad[0]].tolist()}.",
            where=where,
            hint="Repair the mesh in a modelling program and export it again.",
        )


def _tidy(vertices: np.ndarray, faces: np.ndarray, path: Path) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Welded, without useless faces, closed pieces outwards; and notes on what was done."""
    notes = []
    if not np.ptp(vertices[faces.ravel()], axis=0).max() > 0.0:
        raise MeshError("all vertices lie at one point.", where=str(path), hint="Export it again.")
    vertices, faces = topology.weld(vertices, faces)
    for what, drop in (
        ("with two corners at one place", topology.drop_collapsed),
        ("listed more than once", topology.drop_repeated),
        ("without area", lambda f: topology.drop_flat(vertices, f)),
    ):
        n_before = len(faces)
        faces = drop(faces)
        if len(faces) < n_before:
            notes.append(f"dropped {n_before - len(faces)} triangles {what}")
    if not len(faces):
        raise MeshError("no triangle has any area.", where=str(path), hint="Export it again.")
    edges = topology.edges_of(faces)
    if np.any(edges.n_faces > 2):
        notes.append(f"{np.count_nonzero(edges.n_faces > 2)} edges belong to more than two triangles")
    if np.any(edges.n_faces == 1):
        notes.append(f"open at {np.count_nonzero(edges.n_faces == 1)} edges, which is fine for opaque things")
    if np.any((edges.n_faces == 2) & (edges.balance != 0)):
        notes.append("neighbouring triangles disagree about which side is outside")
    elif np.all(edges.n_faces == 2):
        faces, n_turned = topology.turn_outwards(vertices, faces)
        if n_turned:
            notes.append(f"turned {n_turned} closed pieces that were inside out")
    return *topology.weld(vertices, faces), notes


def _check_size(vertices: np.ndarray, unit: str, path: Path) -> None:
    longest = float(np.ptp(vertices, axis=0).max())
    size_m = longest * UNIT_M[unit]
    if SMALLEST_M <= size_m <= LARGEST_M:
        return
    hint = "Scale it in a modelling program."
    for other, metres in UNIT_M.items():
        if 0.02 <= longest * metres <= 2.0:
            hint = f'As {other} it would be {longest * metres * 100:.3g} cm: write unit = "{other}".'
            break
    raise MeshError(
        f"{longest:.6g} {unit} is {size_m:.3g} m long, which cannot be meant in a tank.",
        where=str(path),
        hint=hint,
    )
