"""From the lamp to the first surface under water: loops for many photons against one photon at a time, and numpy."""

import numpy as np
import pytest
from scipy.stats import qmc

from tests.bench import lamp_of, layout, rectangle, tank_text
from underlit.geometry.stone import stone
from underlit.kernels import launch
from underlit.kernels.arrays import ENDED, OUTSIDE, WATER
from underlit.kernels.draws import RNG_WORDS, rng_start_with, uniform
from underlit.kernels.emit import emit
from underlit.kernels.fresnel import fresnel
from underlit.kernels.launch import AT_ONCE, cross_all, draw_all, emit_all, first_points, reach_all, under_way
from underlit.kernels.philox import philox
from underlit.kernels.reach import reach_walls
from underlit.kernels.rng import SOBOL_DIMENSIONS, SOBOL_DRAWS, sobol_directions, sobol_start

DIMENSIONS = SOBOL_DIMENSIONS + SOBOL_DRAWS
N_FLIGHTS = 40
TEXT = tank_text("40 cm", "25 cm", "30 cm", "27 cm", depth="3 cm", thickness="8 mm")


def row(flight, name):
    return flight[getattr(launch, name) :][:AT_ONCE]


def place(flight):
    return np.stack([row(flight, name) for name in ("PX", "PY", "PZ")], axis=1)


def heading(flight):
    return np.stack([row(flight, name) for name in ("DX", "DY", "DZ")], axis=1)


def flights(packed, source, first=0, end=10**9):
    """Flights as emitted, and as they are when all is known that is found for many: rows of copies."""
    directions, words = sobol_directions(), np.zeros(DIMENSIONS * AT_ONCE, np.uint32)
    first_points(directions, np.zeros(DIMENSIONS, np.uint32), words)
    keys = np.random.default_rng(3).integers(2**32, size=DIMENSIONS, dtype=np.uint32)
    draws, point, flight = (
        np.zeros(SOBOL_DRAWS * AT_ONCE, np.uint32),
        np.zeros(DIMENSIONS, np.uint32),
        np.zeros(launch.FLIGHT_WORDS),
    )
    for number in range(N_FLIGHTS):
        sobol_start(directions, number * AT_ONCE, point)
        draw_all(words, point, keys, flight, draws)
        emit_all(source, flight)
        emitted = flight.copy()
        cross_all(packed.arrays, first, end, flight)
        reach_all(packed.arrays, packed.bvh.limits, flight)
        yield emitted, flight.copy()


@pytest.fixture(
    params=[
        rectangle((0.18, 0.1, 0.42), (0.3, 0.05)),
        rectangle((0.5, 0.3, 0.36), (0.1, 0.1), facing=(-1.0, -0.5, -0.7)),
        rectangle((0.2, 0.12, 0.5), (0.05, 0.05), power=3.0),
        rectangle((0.2, 0.12, 0.29), (0.1, 0.1)),  # within the tank: nothing for these loops
    ],
    ids=["over", "beside", "narrow", "inside"],
)
def source(request):
    return request.param


def test_first_points_are_those_of_scipy():
    words = np.zeros(DIMENSIONS * AT_ONCE, np.uint32)
    first_points(sobol_directions(), np.zeros(DIMENSIONS, np.uint32), words)
    digits = [[f"{word:032b}"[::-1] for word in part] for part in words.reshape(DIMENSIONS, AT_ONCE)]
    points = np.array([[int(digit, 2) for digit in part] for part in digits]).T * 2.0**-32
    np.testing.assert_array_equal(points, qmc.Sobol(DIMENSIONS, scramble=False).random(AT_ONCE))


def test_emission_is_that_of_one(source):
    packed = layout(TEXT)
    for emitted, _ in flights(packed, source):
        u = [row(emitted, f"U{k}") for k in (1, 2, 3, 4)]
        one_by_one = np.array([emit(source, *numbers) for numbers in zip(*u, strict=True)])
        np.testing.assert_allclose(np.hstack([place(emitted), heading(emitted)]), one_by_one, atol=1e-12)


def through_surface(tank, p, d):
    """Where straight lines meet the water level, and their directions below by Snell's law in vector form."""
    entry = p + d * ((tank.water_m - p[:, 2]) / d[:, 2])[:, None]
    n, normal = tank.n_water, np.array([0.0, 0.0, 1.0])
    cos_i = -d @ normal
    below = d / n + (cos_i / n - np.sqrt(1.0 - (1.0 - cos_i**2) / n**2))[:, None] * normal
    return entry, below


def meets_box(tank, p, d):
    """Whether lines from outside meet the outside of the tank (numpy, no shared code)."""
    low, high = (
        np.array([-tank.side_m, -tank.side_m, -tank.bottom_m]),
        np.array([tank.lx_m, tank.ly_m, tank.lz_m]),
    )
    high[:2] += tank.side_m
    with np.errstate(divide="ignore"):
        near, far = (low - p) / d, (high - p) / d
    near, far = np.minimum(near, far).max(axis=1), np.maximum(near, far).min(axis=1)
    return (near < far) & (far > 0.0)


def test_light_goes_through_the_surface_past_the_tank_or_waits(source):
    packed = layout(TEXT)
    tank, dipped, missed, all_missed = packed.arrays.tank, 0, 0, 0
    for emitted, flight in flights(packed, source):
        region, p, d = row(flight, "REGION"), place(emitted), heading(emitted)
        entry, below = through_surface(tank, p, d)
        rim = p + d * ((tank.lz_m - p[:, 2]) / d[:, 2])[:, None]
        inside = [
            (at[:, 0] > 0.0) & (at[:, 0] < tank.lx_m) & (at[:, 1] > 0.0) & (at[:, 1] < tank.ly_m)
            for at in (entry, rim)
        ]
        sent_back = [
            u < fresnel(abs(dz), 1.0 / tank.n_water)[0]
            for u, dz in zip(row(flight, "U_FIRST"), d[:, 2], strict=True)
        ]
        dips = (p[:, 2] > tank.lz_m) & (d[:, 2] < 0.0) & inside[0] & inside[1] & ~np.array(sent_back)
        np.testing.assert_array_equal(region == WATER, dips)
        np.testing.assert_allclose(place(flight)[dips], entry[dips], atol=1e-12)
        np.testing.assert_allclose(heading(flight)[dips], below[dips], atol=1e-12)
        waits = region == OUTSIDE
        np.testing.assert_array_equal(place(flight)[waits], p[waits])
        np.testing.assert_array_equal(heading(flight)[waits], d[waits])
        ended = region == ENDED
        assert (dips | waits | ended).all()
        assert not meets_box(tank, p[ended], d[ended]).any()
        dipped, missed = dipped + dips.sum(), missed + ended.sum()
        all_missed += (~meets_box(tank, p, d)).sum()
    if source.centre_m[2] > tank.lz_m:
        assert dipped > 100 and missed > 0.95 * all_missed > 100
    else:
        assert dipped == missed == 0


def test_the_first_surface_is_that_of_one(source):
    packed = layout(TEXT)
    for _, flight in flights(packed, source):
        for j in np.flatnonzero(row(flight, "REGION") == WATER):
            t, event, face = reach_walls(
                packed.arrays, np.int64(WATER), *place(flight)[j], *heading(flight)[j]
            )
            assert row(flight, "T")[j] == pytest.approx(t, rel=1e-12)
            assert row(flight, "EVENT")[j] == event
            if event == 0:
                assert row(flight, "FACE")[j] == face


def test_photons_come_near_triangles_where_their_path_meets_the_bounds():
    shape = stone(size=(0.12, 0.08, 0.08), seed=1, triangles=200)
    packed = layout(TEXT, meshes=[shape.moved_to(shape.vertices_m + (0.18, 0.12, 0.05))])
    low, high = packed.bvh.limits[:3], packed.bvh.limits[3:]
    for _, flight in flights(packed, rectangle((0.18, 0.1, 0.42), (0.3, 0.05))):
        wet = row(flight, "REGION") == WATER
        p, d, t = place(flight)[wet], heading(flight)[wet], row(flight, "T")[wet]
        steps = p[:, None] + d[:, None] * np.linspace(0.0, t, 4001).T[..., None]
        comes_in = ((low <= steps) & (steps <= high)).all(axis=2).any(axis=1)
        near = row(flight, "NEAR")[wet] == 1.0
        assert near[comes_in].all()
        assert near.sum() <= comes_in.sum() + 2  # a path may cut a corner between two steps


@pytest.mark.parametrize(
    "packed",
    [
        layout(TEXT, cover={"has_lid": True}),
        layout(TEXT, cover={"strips_clear": np.ones(1)}),
        layout(TEXT, cover={"floater_cover": 0.3}),
        layout(TEXT, tank={"slope_rms": 0.1}),
        layout(TEXT, tank={"water_m": 0.0}),
        layout(TEXT, mesh={"top_m": 0.28}),
        layout(TEXT, canopy={"n": 1, "top_m": 0.28}),
        layout(TEXT, grid={"plane_z_m": np.array([0.1, 0.28])}),
    ],
    ids=["lid", "braces", "floating plants", "ripple", "dry", "wood", "leaves", "plane"],
)
def test_nothing_is_passed_over(packed):
    """Where something lies between lamp and water, all photons wait at the lamp."""
    for emitted, flight in flights(packed, rectangle((0.18, 0.1, 0.42), (0.3, 0.05))):
        assert (row(flight, "REGION") == OUTSIDE).all()
        np.testing.assert_array_equal(place(flight), place(emitted))


def test_only_the_photons_asked_for_are_under_way():
    packed, places = layout(TEXT), np.zeros(AT_ONCE, np.int64)
    for _, flight in flights(packed, lamp_of(TEXT), first=5, end=9):
        n = under_way(flight, places)
        assert n <= 4 and set(places[:n]) <= {5, 6, 7, 8}
        np.testing.assert_array_equal(places[:n], np.flatnonzero(row(flight, "REGION") != ENDED))


def test_a_photon_uses_the_words_given_before_its_own():
    words, rng, seed = (
        np.arange(100, 140, dtype=np.uint32) * np.uint32(40_000_000),
        np.zeros(RNG_WORDS, np.uint32),
        7,
    )
    rng_start_with(rng, words, 3, 10, np.uint32(11), np.uint32(2))
    got = [uniform(rng, np.uint64(seed)) for _ in range(6)]
    own = philox(*(np.uint32(word) for word in (11, 2, 0, 0, seed, 0)))[:2]
    expected = np.concatenate([words[[3, 13, 23, 33]], own])
    np.testing.assert_array_equal(got, (expected + 0.5) * 2.0**-32)
