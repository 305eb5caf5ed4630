"""Mesh files: what is read is what was written, by trimesh's own verdict; bad files are refused in words."""

import json
import struct

import numpy as np
import pytest
import trimesh

from underlit.errors import MeshError
from underlit.geometry import UNIT_M, load_mesh, make_mesh, save_mesh, slab, stone
from underlit.geometry.mesh import MAX_TRIANGLES

TRIANGLE_STL = """solid far
facet normal 0 0 1
 outer loop
  vertex 0 0 0
  vertex 40000 0 0
  vertex 0 1 0
 endloop
endfacet
endsolid far
"""


@pytest.fixture
def write(tmp_path):
    def write(name, content):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


@pytest.mark.parametrize("named", [-1, 4])
def test_a_face_without_its_vertex_is_refused(named):
    """Kernels would read or write past the end of an array."""
    with pytest.raises(MeshError, match=f"names vertex {named}, but there are 4"):
        make_mesh("thing", np.eye(4, 3), np.array([[0, 1, 2], [1, 2, named]]))


def binary_stl(triangles):
    facets = b"".join(struct.pack("<12fH", 0, 0, 0, *np.ravel(t), 0) for t in triangles)
    return b"\0" * 80 + struct.pack("<I", len(triangles)) + facets


@pytest.mark.parametrize("suffix", ["stl", "obj", "ply", "glb"])
@pytest.mark.parametrize("unit", list(UNIT_M))
def test_round_trip_keeps_shape_and_length(tmp_path, suffix, unit):
    before = stone((0.14, 0.10, 0.18), triangles=2000, seed=5)
    path = tmp_path / f"stone.{suffix}"
    save_mesh(before, path, unit)
    after = load_mesh(path, unit)
    assert after.report.watertight
    assert after.report.triangles == before.report.triangles
    np.testing.assert_allclose(after.bounds_m, before.bounds_m, atol=2e-7)
    assert after.volume_m3 == pytest.approx(before.volume_m3, rel=1e-5)
    assert after.area_m2 == pytest.approx(before.area_m2, rel=1e-5)


@pytest.mark.parametrize("kind", ["stl", "stl_ascii", "obj", "ply", "glb", "gltf"])
def test_files_written_by_trimesh(tmp_path, kind):
    solid = trimesh.creation.icosphere(subdivisions=2, radius=30.0)
    path = tmp_path / f"ball.{kind.split('_')[0]}"
    data = solid.export(file_type=kind)
    if kind == "gltf":
        for name, part in data.items():
            (tmp_path / name).write_bytes(part)
        path = tmp_path / "model.gltf"
    else:
        path.write_bytes(data if isinstance(data, bytes) else data.encode())
    mesh = load_mesh(path, "mm")
    assert mesh.report.watertight == solid.is_watertight
    assert mesh.report.triangles == len(solid.faces)
    assert mesh.volume_m3 == pytest.approx(solid.volume * 1e-9, rel=1e-5)
    np.testing.assert_allclose(mesh.report.size, np.ptp(solid.bounds, axis=0) * 1e-3, rtol=1e-6)


def test_scene_of_several_moved_parts_is_flattened(tmp_path):
    scene = trimesh.Scene()
    box = trimesh.creation.box((2.0, 2.0, 2.0))
    scene.add_geometry(box, transform=trimesh.transformations.translation_matrix((5, 0, 0)))
    mirrored = np.diag([-1.0, 1.0, 1.0, 1.0])
    mirrored[1, 3] = 7.0
    scene.add_geometry(box, transform=mirrored)
    path = tmp_path / "two.glb"
    path.write_bytes(scene.export(file_type="glb"))
    mesh = load_mesh(path, "cm")
    assert mesh.report.components == 2
    assert mesh.volume_m3 == pytest.approx(16e-6, rel=1e-6)
    # y of the file points up: the 7 apart along y stand above each other here
    np.testing.assert_allclose(mesh.report.size, (0.07, 0.02, 0.09), rtol=1e-6)


def test_up_axis_can_be_said(tmp_path):
    save_mesh(slab((0.1, 0.2, 0.3)), tmp_path / "slab.stl", "mm")
    mesh = load_mesh(tmp_path / "slab.stl", "mm", up="y")
    np.testing.assert_allclose(mesh.report.size, (0.1, 0.3, 0.2), rtol=1e-6)


def test_origin_is_under_the_middle(tmp_path):
    solid = trimesh.creation.box((2.0, 4.0, 6.0))
    solid.apply_translation((100.0, -50.0, 30.0))
    (tmp_path / "far.stl").write_bytes(solid.export(file_type="stl"))
    mesh = load_mesh(tmp_path / "far.stl", "cm")
    np.testing.assert_allclose(mesh.bounds_m, [[-0.01, -0.02, 0.0], [0.01, 0.02, 0.06]], atol=1e-7)


def test_open_mesh_is_reported_not_refused(tmp_path):
    solid = trimesh.creation.box((2.0, 2.0, 2.0))
    solid.update_faces(np.arange(12) != 3)
    (tmp_path / "open.stl").write_bytes(solid.export(file_type="stl"))
    report = load_mesh(tmp_path / "open.stl", "cm").report
    assert (report.watertight, report.open_edges, report.triangles) == (False, 3, 11)
    assert any("open at 3 edges" in note for note in report.notes)


def test_useless_faces_are_dropped_and_counted(tmp_path):
    solid = trimesh.creation.box((2.0, 2.0, 2.0))
    soup = [solid.triangles[i] for i in (*range(12), 0, 0, 5)]
    soup.append([solid.triangles[0][0]] * 2 + [solid.triangles[0][1]])
    path = tmp_path / "soup.stl"
    path.write_bytes(binary_stl(soup))
    mesh = load_mesh(path, "cm")
    assert mesh.report.triangles == 12
    assert mesh.report.watertight
    assert mesh.area_m2 == pytest.approx(24e-4)
    assert any("dropped 3 triangles listed more than once" in note for note in mesh.report.notes)
    assert any("dropped 1 triangles with two corners at one place" in note for note in mesh.report.notes)


def test_inside_out_pieces_are_turned(tmp_path):
    solid = trimesh.creation.box((2.0, 2.0, 2.0))
    solid.invert()
    (tmp_path / "in.stl").write_bytes(solid.export(file_type="stl"))
    mesh = load_mesh(tmp_path / "in.stl", "cm")
    assert mesh.volume_m3 == pytest.approx(8e-6)
    assert any("inside out" in note for note in mesh.report.notes)


def test_reader_is_silent(tmp_path, write, capfd):
    path = write("material.obj", "mtllib gone.mtl\nusemtl x\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n")
    assert load_mesh(path, "cm").report.triangles == 1
    assert capfd.readouterr() == ("", "")


def glb(tree, blob=b""):
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    if blob:
        chunks += struct.pack("<II", len(blob), 0x004E4942) + blob
    return struct.pack("<III", 0x46546C67, 2, 12 + len(chunks)) + chunks


BAD_FILES = {
    "empty.stl": (b"", "the file is empty"),
    "noise.stl": (bytes(range(256)) * 4, "cannot be read as STL|holds no triangles"),
    "cut.stl": (binary_stl([np.eye(3)] * 9)[:300], "cannot be read as STL|holds no triangles"),
    "nan.stl": (binary_stl([[[0, 0, 0], [1, float("nan"), 0], [0, 1, 0]]]), "1 of 3 vertices are not finite"),
    "inf.stl": (binary_stl([[[0, 0, 0], [1, float("inf"), 0], [0, 1, 0]]]), "not finite.*first number 1"),
    "point.stl": (binary_stl([np.ones((3, 3))]), "all vertices lie at one point"),
    "line.stl": (binary_stl([[[0, 0, 0], [1, 0, 0], [2, 0, 0]]]), "no triangle has any area"),
    "none.stl": (binary_stl([]), "holds no triangles|cannot be read"),
    "far.stl": (TRIANGLE_STL, "40000 cm is 400 m long(.|\n)*Scale it"),
    "tiny.stl": (binary_stl([np.eye(3) * 1e-4]), "cannot be meant in a tank"),
    "cloud.ply": (
        "ply\nformat ascii 1.0\nelement vertex 2\nproperty float x\nproperty float y\nproperty float z\n"
        "end_header\n0 0 0\n1 1 1\n",
        "no triangles but a point cloud of 2 points",
    ),
    "huge.ply": (
        "ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty float x\nelement face 90000000\n"
        "end_header\n",
        f"90000000 triangles; at most {MAX_TRIANGLES}",
    ),
    "text.ply": ("once upon a time\n", "cannot be read as PLY"),
    "index.obj": ("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "names vertex|cannot be read as OBJ"),
    "words.obj": ("v a b c\nf 1 2 3\n", "cannot be read as OBJ|holds no triangles"),
    "points.obj": ("v 0 0 0\nv 1 0 0\n", "holds no triangles|cannot be read"),
    "text.glb": (b"glTF but not really, only text", "cannot be read as GLB"),
    "bare.glb": (glb({"asset": {"version": "2.0"}}), "holds no triangles|cannot be read as GLB"),
    "buffer.gltf": (
        json.dumps({"asset": {"version": "2.0"}, "buffers": [{"uri": "gone.bin", "byteLength": 9}]}),
        "cannot be read as GLTF",
    ),
    "json.gltf": ("{", "cannot be read as GLTF"),
    "stone.blend": (b"x", "is not a mesh format"),
    "stone": (b"x", "no ending is not a mesh format"),
}


@pytest.mark.parametrize("name", list(BAD_FILES))
def test_bad_file(write, name):
    content, message = BAD_FILES[name]
    path = write(name, content)
    with pytest.raises(MeshError, match=message) as caught:
        load_mesh(path, "cm")
    assert caught.value.where == str(path)
    assert caught.value.hint


def test_too_many_triangles_are_refused_before_reading(tmp_path):
    path = tmp_path / "vast.stl"
    n = MAX_TRIANGLES + 1
    with path.open("wb") as file:
        file.write(b"\0" * 80 + struct.pack("<I", n))
        file.truncate(84 + 50 * n)
    with pytest.raises(MeshError, match=f"{n} triangles; at most"):
        load_mesh(path, "mm")


def test_file_of_gigabytes_is_refused_before_reading(tmp_path):
    path = tmp_path / "vast.obj"
    with path.open("wb") as file:
        file.truncate(5_000_000_000)
    with pytest.raises(MeshError, match=r"the file has 5.0 GB"):
        load_mesh(path, "mm")


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(MeshError, match="no such file"):
        load_mesh(tmp_path / "gone.stl", "mm")
    (tmp_path / "folder.stl").mkdir()
    with pytest.raises(MeshError, match="is not a file"):
        load_mesh(tmp_path / "folder.stl", "mm")


def test_unknown_unit(tmp_path):
    with pytest.raises(MeshError, match=r"unknown unit 'furlong'(.|\n)*mm, cm, m, in, ft"):
        load_mesh(tmp_path / "stone.stl", "furlong")


def test_wrong_unit_names_the_likely_one(tmp_path):
    save_mesh(stone((0.14, 0.10, 0.18), triangles=500), tmp_path / "stone.stl", "mm")
    with pytest.raises(MeshError, match=r'As mm it would be 18 cm: write unit = "mm"'):
        load_mesh(tmp_path / "stone.stl", "m")


def test_save_refuses_what_it_cannot_write(tmp_path):
    with pytest.raises(MeshError, match=r"cannot write .xyz"):
        save_mesh(slab((0.1, 0.1, 0.1)), tmp_path / "a.xyz", "mm")
    with pytest.raises(MeshError, match="cannot be written: No such file"):
        save_mesh(slab((0.1, 0.1, 0.1)), tmp_path / "gone" / "a.stl", "mm")
    assert list(tmp_path.iterdir()) == []
