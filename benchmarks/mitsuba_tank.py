"""The benchmark tank as a Mitsuba 3 scene."""

from __future__ import annotations

import os
from ctypes.util import find_library

import numpy as np

from benchmarks.tank import Tank

# Rays leave a surface some 1e-4 x (1 + largest coordinate) off: in metres, a tenth of a millimetre, which shows in the
# third digit. Hence millimetres.
UNIT_M = 1e-3

# Dr.Jit's compiler, the best first; it aborts with version 16.
LLVM_VERSIONS = (19, 20, 18, 17, 15)


def variant(name: str):
    """Mitsuba with a variant set; ImportError says what is missing."""
    if name.startswith("llvm") and "DRJIT_LIBLLVM_PATH" not in os.environ:
        found = next(filter(None, (find_library(f"LLVM-{version}") for version in LLVM_VERSIONS)), None)
        if found is None:
            raise ImportError("no LLVM library found; install libllvm19 or set DRJIT_LIBLLVM_PATH")
        os.environ["DRJIT_LIBLLVM_PATH"] = found
    import mitsuba

    mitsuba.set_variant(name)
    return mitsuba


def tank_objects(mi, tank: Tank) -> dict:
    """Everything of the tank but sensors, to be handed to `mi.load_dict`."""
    scene = {"type": "scene", "lamp": _lamp(mi, tank)}
    for kind in sorted({quad.kind for quad in tank.quads()}):
        scene[kind.replace("|", "_")] = quad_mesh(mi, tank, kind)
    if len(tank.faces):
        scene["rock"] = mesh(mi, "rock", tank.vertices, tank.faces, diffuse(mi, tank.rock_reflectance))
    return scene


def grey(value: float) -> dict:
    """The same number in all channels; a flat spectrum would become that of a tinted white in the RGB variants."""
    return {"type": "rgb", "value": [value, value, value]}


def diffuse(mi, reflectance: float, **more):
    """Lambertian surface, both sides."""
    inner = {"type": "diffuse", "reflectance": grey(reflectance)}
    return mi.load_dict({"type": "twosided", "inner": inner, **more})


def quad_mesh(mi, tank: Tank, kind: str):
    """All faces of one kind as a triangle mesh, which the ray tracer handles faster than rectangles."""
    quads = [quad.points for quad in tank.quads() if quad.kind == kind]
    corners = [(c, c + u, c + u + v, c + v) for c, u, v in quads]
    faces = [(k, k + i, k + i + 1) for k in range(0, 4 * len(quads), 4) for i in (1, 2)]
    return mesh(mi, kind, np.reshape(corners, (-1, 3)), np.array(faces), _surface(mi, tank, kind))


def _surface(mi, tank: Tank, kind: str):
    if kind in ("soil", "buried"):
        return diffuse(mi, tank.soil_reflectance)
    front, back = (tank.index(medium) for medium in kind.split("|"))
    return mi.load_dict({"type": "dielectric", "int_ior": back, "ext_ior": front})


def mesh(mi, name: str, vertices, faces, bsdf, **children):
    """A triangle mesh with flat faces."""
    props = mi.Properties()
    props["bsdf"] = bsdf
    for key, child in children.items():
        props[key] = child
    shape = mi.Mesh(name, len(vertices), len(faces), has_vertex_normals=False, props=props)
    params = mi.traverse(shape)
    params["vertex_positions"] = np.ascontiguousarray(vertices, np.float32).ravel()
    params["faces"] = np.ascontiguousarray(faces, np.uint32).ravel()
    params.update()
    return shape


def _lamp(mi, tank: Tank) -> dict:
    """The lamp's radiance is that of one unit of flux; it faces down and takes nothing back into the tank."""
    (x, y, z), (sx, sy) = tank.lamp_centre, 0.5 * tank.lamp_size
    place = mi.ScalarTransform4f().translate([x, y, z]).rotate([1, 0, 0], 180).scale([sx, sy, 1])
    radiance = 1.0 / (np.pi * tank.lamp_area)
    return {
        "type": "rectangle",
        "to_world": place,
        "bsdf": {"type": "diffuse", "reflectance": grey(0.0)},
        "emitter": {"type": "area", "radiance": grey(radiance)},
    }
