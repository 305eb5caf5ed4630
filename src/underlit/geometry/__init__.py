"""Shapes in the tank: meshes that people bring, stones and wood from a seed, and the soil."""

from underlit.geometry.mesh import UNIT_M, Mesh, MeshReport, load_mesh, make_mesh, save_mesh
from underlit.geometry.patches import patches, refine
from underlit.geometry.place import TOWARDS, place
from underlit.geometry.shapes import cylinder, disc, ellipsoid, slab, tube
from underlit.geometry.soil import Soil, mapped_soil, profile_soil, read_height_map, sloped_soil
from underlit.geometry.stone import stone
from underlit.geometry.wood import wood

__all__ = [
    "TOWARDS",
    "UNIT_M",
    "Mesh",
    "MeshReport",
    "Soil",
    "cylinder",
    "disc",
    "ellipsoid",
    "load_mesh",
    "make_mesh",
    "mapped_soil",
    "patches",
    "place",
    "profile_soil",
    "read_height_map",
    "refine",
    "save_mesh",
    "slab",
    "sloped_soil",
    "stone",
    "tube",
    "wood",
]
