"""Stones and wood from a seed: closed by trimesh's verdict, of the size asked for, equal for equal seeds."""

import math

import numpy as np
import pytest
import trimesh

from underlit.errors import MeshError
from underlit.geometry import stone, wood
from underlit.geometry.noise import fractal_noise, gradient_noise
from underlit.geometry.surface import surface


def verdict(mesh):
    solid = trimesh.Trimesh(mesh.vertices_m, mesh.faces, process=False)
    return solid.is_watertight and solid.is_winding_consistent and solid.volume > 0.0


@pytest.mark.parametrize("style", ["faceted", "rounded"])
@pytest.mark.parametrize("triangles", [100, 3000, 60_000])
@pytest.mark.parametrize("roughness", [0.0, 0.2, 1.0])
def test_stone_is_closed_and_of_its_size(style, triangles, roughness):
    size = (0.14, 0.10, 0.18)
    mesh = stone(size, style=style, triangles=triangles, roughness=roughness, seed=3)
    assert verdict(mesh)
    assert mesh.report.components == 1
    assert mesh.report.triangles == pytest.approx(triangles, rel=0.25)
    np.testing.assert_allclose(mesh.bounds_m, [[-0.07, -0.05, 0.0], [0.07, 0.05, 0.18]], atol=1e-12)
    assert 0.2 < mesh.volume_m3 / np.prod(size) < 0.75  # an ellipsoid fills 0.52 of its box


@pytest.mark.parametrize("seed", range(1, 9))
def test_stone_never_crosses_itself(seed):
    """Seen from its middle, every face looks outwards: the surface is met once in every direction."""
    mesh = stone((1.0, 1.0, 1.0), roughness=1.0, triangles=20_000, seed=seed)
    a, b, c = np.moveaxis(mesh.vertices_m[mesh.faces] - (0.0, 0.0, 0.5), 1, 0)
    flipped = np.einsum("ij,ij->i", a, np.cross(b, c)) <= 0.0
    # the box's middle is not quite the middle of growth: a few faces near grazing may look past it
    assert flipped.mean() < 0.02


def test_stones_of_one_seed_are_equal_and_of_two_differ():
    first, again, other = (stone((0.1, 0.1, 0.1), seed=s, triangles=2000) for s in (1, 1, 2))
    np.testing.assert_array_equal(first.vertices_m, again.vertices_m)
    assert np.abs(first.vertices_m - other.vertices_m).max() > 0.005


def test_roughness_adds_surface():
    area = [stone((0.1, 0.1, 0.1), roughness=r, triangles=40_000).area_m2 for r in (0.0, 0.2, 0.8)]
    assert area[0] < area[1] < area[2]


def test_faceted_has_flatter_faces_than_rounded():
    """Half the area of a broken stone faces few directions; that of a pebble is spread over many."""

    def directions_of_half(mesh):
        area = mesh.face_areas_m2
        bins = np.floor((mesh.face_normals + 1.0) * 4.0) @ (1, 10, 100)
        share = np.sort(np.bincount(bins.astype(int), area))[::-1].cumsum() / area.sum()
        return int(np.searchsorted(share, 0.5))

    count = [
        np.mean(
            [directions_of_half(stone((0.1, 0.1, 0.1), style=s, roughness=0.0, seed=k)) for k in (1, 2, 3)]
        )
        for s in ("faceted", "rounded")
    ]
    assert count[0] < 0.7 * count[1]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"size": (0.1, 0.1)}, "three lengths above zero"),
        ({"size": (0.1, 0.1, 0.0)}, "three lengths above zero"),
        ({"style": "square"}, "unknown style 'square'"),
        ({"roughness": 1.5}, "value from 0 to 1"),
        ({"triangles": 10}, "give 100 to 500000"),
        ({"triangles": 600_000}, "give 100 to 500000"),
    ],
)
def test_bad_stone(change, message):
    with pytest.raises(MeshError, match=message):
        stone(**{"size": (0.1, 0.1, 0.1), **change})


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("triangles", [4000, 60_000])
def test_wood_is_one_closed_skin_of_its_reach(seed, triangles):
    mesh = wood(0.4, seed=seed, triangles=triangles)
    assert verdict(mesh)
    assert mesh.report.components == 1
    assert mesh.report.triangles == pytest.approx(triangles, rel=0.3)
    assert mesh.bounds_m[1, 0] == pytest.approx(0.4)
    assert mesh.bounds_m[0, 2] == pytest.approx(0.0, abs=1e-12)


def test_bare_limb_is_as_thick_as_asked():
    """One straight limb without forks: beyond the crown it is as thick as its radii say."""
    mesh = wood(0.6, branches=1, depth=1, gnarl=0.0, rise=0.0, radius_base=0.02, radius_tip=0.015)
    beyond = mesh.vertices_m[mesh.vertices_m[:, 0] > 0.3]
    across = np.hypot(beyond[:, 1] - beyond[:, 1].mean(), beyond[:, 2] - beyond[:, 2].mean())
    assert 0.012 < np.median(across) < 0.022


def test_wood_of_one_seed_is_equal_and_of_two_differs():
    first, again, other = (wood(0.3, seed=s, triangles=5000) for s in (1, 1, 2))
    np.testing.assert_array_equal(first.vertices_m, again.vertices_m)
    assert first.report.size != other.report.size


def test_more_forks_make_more_surface():
    bare, forked = (
        np.mean([wood(0.4, depth=d, seed=s, triangles=10_000).area_m2 for s in range(4)]) for d in (1, 4)
    )
    assert forked > 1.2 * bare


def test_all_round_wood_reaches_all_ways():
    mesh = wood(0.4, spread=2.0 * math.pi, branches=8, triangles=20_000)
    low, high = mesh.bounds_m
    assert low[0] < -0.1 and low[1] < -0.1 and high[1] > 0.1


def test_thickened_twigs_are_told():
    coarse = wood(0.5, radius_tip=0.001, triangles=5000)
    assert any("twigs are at least" in note for note in coarse.report.notes)
    fine = wood(0.2, radius_base=0.02, radius_tip=0.006, branches=2, depth=2, triangles=60_000)
    assert fine.report.notes == ()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"reach": 0.01}, "must be above twice radius_base"),
        ({"radius_tip": 0.1}, "0 < tip <= base"),
        ({"radius_tip": 0.0}, "0 < tip <= base"),
        ({"branches": 0}, "give 1 to 30"),
        ({"depth": 9}, "give 1 to 6"),
        ({"gnarl": -1.0}, "value from 0 to 1"),
        ({"triangles": 1}, "give 1000 to 500000"),
    ],
)
def test_bad_wood(change, message):
    with pytest.raises(MeshError, match=message):
        wood(**{"reach": 0.4, **change})


def test_surface_net_of_a_ball():
    """Volume and area of a sphere of 20 grid steps; nets lie slightly inside, by O(1/r²)."""
    grid = np.mgrid[:51, :51, :51] - 25.0
    vertices, faces = surface(np.sqrt((grid**2).sum(axis=0)) - 20.0)
    solid = trimesh.Trimesh(vertices, faces, process=False)
    assert solid.is_watertight and solid.is_winding_consistent
    assert solid.volume == pytest.approx(4.0 / 3.0 * math.pi * 20.0**3, rel=0.01)
    assert solid.area == pytest.approx(4.0 * math.pi * 20.0**2, rel=0.01)
    np.testing.assert_allclose(solid.centroid, 25.0, atol=1e-6)


def test_surface_net_of_random_signs_is_closed():
    """The worst case: every corner in or out by chance, with alternating cell faces all over."""
    rng = np.random.default_rng(0)
    field = np.ones((24, 24, 24))
    field[2:-2, 2:-2, 2:-2] = rng.normal(0.3, 1.0, (20, 20, 20))
    vertices, faces = surface(field)
    solid = trimesh.Trimesh(vertices, faces, process=False)
    assert solid.is_watertight and solid.is_winding_consistent


def test_noise_has_its_mean_and_vanishes_on_the_lattice():
    """Gradient noise is zero at whole numbers (Perlin 1985), and of mean zero over a volume."""
    lattice = np.stack(np.meshgrid(*[np.arange(-4.0, 5.0)] * 3), axis=-1).reshape(-1, 3)
    np.testing.assert_array_equal(gradient_noise(lattice, 5), 0.0)
    points = np.random.default_rng(0).uniform(-40.0, 40.0, (100_000, 3))
    noise = gradient_noise(points, 5)
    assert abs(noise.mean()) < 5.0 * noise.std() / math.sqrt(40.0**3)
    assert 0.2 < noise.std() < 0.35
    step = 1e-6 * np.array([1.0, 0.0, 0.0])
    assert np.abs(gradient_noise(points + step, 5) - noise).max() < 1e-5  # no jump at cell borders


def test_noise_too_fine_for_the_mesh_fades():
    points = np.random.default_rng(0).uniform(0.0, 9.0, (20_000, 3))
    one = gradient_noise(points + 0.0, 7)
    np.testing.assert_array_equal(fractal_noise(points, 7, octaves=5, cell=10.0), 0.0)
    np.testing.assert_array_equal(fractal_noise(points, 7, octaves=1), one)
