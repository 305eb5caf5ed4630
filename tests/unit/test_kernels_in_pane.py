"""Light inside a side pane: one step against the reflections one by one, followed in numpy."""

import numpy as np
import pytest

from tests.bench import layout, tank_text
from underlit.kernels.arrays import BONDED, GLASS
from underlit.kernels.in_pane import be_guided, folded
from underlit.kernels.reach import INNER_FACE, OUTER_FACE, reach_walls
from underlit.kernels.route import MIXED

PACKED = layout(tank_text("40 cm", "25 cm", "30 cm", "27 cm", depth="3 cm", thickness="8 mm"))
TANK = PACKED.arrays.tank


def bounced(w, thickness, mu, t):
    """Depth and cosine after `t` between two mirrors, one reflection at a time."""
    while True:
        ahead = (thickness - w) / mu if mu > 0.0 else w / -mu
        if ahead >= t:
            return w + mu * t, mu
        w, mu, t = (thickness if mu > 0.0 else 0.0), -mu, t - ahead


def test_folding_is_reflecting():
    rng = np.random.default_rng(5)
    for _ in range(300):
        w, mu, t = (
            rng.uniform(0.0, 0.008),
            rng.uniform(0.05, 0.6) * rng.choice([-1, 1]),
            rng.uniform(0.0, 0.4),
        )
        np.testing.assert_allclose(folded(w, 0.008, mu, t), bounced(w, 0.008, mu, t), atol=1e-12)


def in_pane(face, depth, beside, z):
    """A place in a side pane."""
    across = -depth if face % 2 == 0 else (TANK.lx_m if face < 2 else TANK.ly_m) + depth
    return (across, beside, z) if face < 2 else (beside, across, z)


def one_by_one(axis, p, d):
    """Follow light along a pane square to `axis` by `reach_walls`, mirrored at either face, as long as it is there."""
    p, d, path, length = np.array(p), np.array(d), 0.0, (TANK.ly_m, TANK.lx_m)[axis]
    while True:
        t, event, face = reach_walls(PACKED.arrays, np.int64(GLASS), *p, *d)
        after = p + t * d
        beside = after[1 - axis]
        if face // 2 != axis or not 0.0 <= beside <= length or after[2] < PACKED.arrays.soil.z_max_m:
            return p, d, path
        assert event in (INNER_FACE, OUTER_FACE)
        p, path = after, path + t
        d[axis] = -d[axis]


def guided(face, depth, beside, z, direction):
    v, sinks = np.ones(16, np.float32), np.zeros((30, 16))
    return (
        be_guided(
            TANK,
            PACKED.arrays.soil.z_max_m,
            *in_pane(face, depth, beside, z),
            *direction,
            np.int64(0),
            v,
            sinks,
        ),
        v,
        sinks,
    )


@pytest.mark.parametrize("face", range(4))
def test_guided_light_ends_on_the_same_path(face):
    """Both lie on one unfolded line: the rest of the way, one by one, ends alike."""
    rng = np.random.default_rng(face)
    steps = 0
    for _ in range(60):
        across, along = rng.uniform(0.02, 0.2) * rng.choice([-1, 1]), rng.uniform(-0.5, 0.5)
        fall = -np.sqrt(1.0 - across**2 - along**2)
        direction = (across, along, fall) if face < 2 else (along, across, fall)
        start = in_pane(face, rng.uniform(0.0, 0.008), rng.uniform(0.05, 0.2), 0.3)
        depth = start[0 if face < 2 else 1]
        depth = -depth if face % 2 == 0 else depth - (TANK.lx_m if face < 2 else TANK.ly_m)
        (*after, route), v, sinks = guided(face, depth, start[1 if face < 2 else 0], 0.3, direction)
        assert route == MIXED
        passed = (after[2] - 0.3) / fall
        steps += passed / 0.008 > 3.0
        np.testing.assert_allclose(v, np.exp(-passed * TANK.a_glass_per_m), rtol=1e-5)
        np.testing.assert_array_equal(v + sinks.sum(axis=0), 1.0)
        p, d, path = one_by_one(face // 2, start, direction)
        # The last reflection before the end of the pane, from where the straight rest leads there.
        np.testing.assert_allclose(p + (passed - path) * d, after[:3], atol=1e-9)
        np.testing.assert_allclose(d, after[3:6], atol=1e-12)
    assert steps == 60


@pytest.mark.parametrize(
    ("direction", "why"),
    [
        ((0.75, 0.1, -np.sqrt(1.0 - 0.5725)), "so steep at the faces that water lets it out"),
        ((0.1, 0.99, -np.sqrt(1.0 - 0.01 - 0.9801)), "at the end of the pane too soon"),
    ],
)
def test_other_light_is_left_alone(direction, why):
    beside = 0.1 if "steep" in why else TANK.ly_m - 0.01
    (*after, route), v, _ = guided(1, 0.004, beside, 0.2, direction)
    np.testing.assert_array_equal(after, (*in_pane(1, 0.004, beside, 0.2), *direction))
    assert route == 0 and (v == 1.0).all(), why


def test_a_bonded_film_ends_it():
    packed = layout(
        tank_text("40 cm", "25 cm", "30 cm", "27 cm", depth="3 cm", thickness="8 mm"),
        tank={"backing": np.full(5, BONDED, np.int64)},
    )
    v, direction = np.ones(16, np.float32), (0.1, 0.0, -np.sqrt(0.99))
    tank, top_m = packed.arrays.tank, packed.arrays.soil.z_max_m
    after = be_guided(
        tank, top_m, *in_pane(1, 0.004, 0.1, 0.2), *direction, np.int64(0), v, np.zeros((30, 16))
    )
    assert after[6] == 0 and (v == 1.0).all()
