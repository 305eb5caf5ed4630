"""Upright boxes: where rays leave and enter them, against all six planes tried one by one."""

import numpy as np
import pytest

from underlit.kernels.arrays import BACK, BOTTOM, FRONT, LEFT, RIGHT, TOP
from underlit.kernels.box import entry_face, exit_face

LOW, HIGH = np.array([-0.1, 0.0, 0.05]), np.array([0.4, 0.3, 0.35])
BOX = [limit for pair in zip(LOW, HIGH, strict=True) for limit in pair]
FACES = {(0, 0): LEFT, (0, 1): RIGHT, (1, 0): FRONT, (1, 1): BACK, (2, 0): BOTTOM, (2, 1): TOP}


def crossings(origin, direction):
    """Distance, axis and side of every meeting with a face within its rectangle, nearest first."""
    found = []
    for axis in range(3):
        for side, plane in enumerate((LOW[axis], HIGH[axis])):
            t = (plane - origin[axis]) / direction[axis]
            point = origin + t * direction
            others = [k for k in range(3) if k != axis]
            if t > 0 and all(LOW[k] <= point[k] <= HIGH[k] for k in others):
                found.append((t, FACES[axis, side]))
    return sorted(found)


def directions(n, rng):
    d = rng.normal(size=(n, 3))
    return d / np.linalg.norm(d, axis=1, keepdims=True)


def test_leaving():
    rng = np.random.default_rng(1)
    for origin, direction in zip(rng.uniform(LOW, HIGH, (2000, 3)), directions(2000, rng), strict=True):
        t, face = exit_face(*origin, *direction, *BOX)
        ((expected, wanted),) = crossings(origin, direction)
        assert (t, face) == (pytest.approx(expected, abs=1e-12), wanted)


def test_entering():
    rng = np.random.default_rng(2)
    met = 0
    for origin, direction in zip(rng.uniform(-0.5, 0.8, (6000, 3)), directions(6000, rng), strict=True):
        if ((origin > LOW) & (origin < HIGH)).all():
            continue
        t, face = entry_face(*origin, *direction, *BOX)
        found = crossings(origin, direction)
        if not found:
            assert face == -1
            assert t == np.inf
        else:
            met += 1
            assert (t, face) == (pytest.approx(found[0][0], abs=1e-12), found[0][1])
    assert met > 200


@pytest.mark.parametrize("axis", range(3))
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_rays_along_an_axis(axis, sign):
    direction = np.zeros(3)
    direction[axis] = sign
    middle = 0.5 * (LOW + HIGH)
    t, face = exit_face(*middle, *direction, *BOX)
    assert t == pytest.approx(0.5 * (HIGH - LOW)[axis])
    assert face == FACES[axis, int(sign > 0)]
    outside = middle - 2.0 * direction * (HIGH - LOW)
    t, face = entry_face(*outside, *direction, *BOX)
    assert t == pytest.approx(1.5 * (HIGH - LOW)[axis])
    assert face == FACES[axis, int(sign < 0)]
    beside = outside.copy()
    beside[(axis + 1) % 3] = HIGH[(axis + 1) % 3]  # along a face, not through it
    assert entry_face(*beside, *direction, *BOX)[1] == -1
