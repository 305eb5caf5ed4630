"""Lamps of every shape on floors and plates of every tilt, against quadrature of the inverse-square law.

Nothing is in the way: a dry tank with panes of index 1, or a lamp on the near side of everything.
"""

import numpy as np
import pytest

from bench import NO_GLASS, lamp_of, layout, paint, rectangle, shine, tank_text
from underlit.geometry import make_mesh
from underlit.tracer.faces import led_places
from zcheck import agree, disagree

pytestmark = [pytest.mark.validation, pytest.mark.statistical]

NODES, WEIGHTS = np.polynomial.legendre.leggauss(4)
HIGH = 0.25


def middles(edges):
    """Quadrature points and weights in every interval, shape (n, 4) and (4,)."""
    return edges[:-1, None] + 0.5 * np.diff(edges)[:, None] * (NODES + 1.0), 0.5 * WEIGHTS


def level_irradiance(points, facing, target, m):
    """What a level meter at `target` (..., 3) reads of equal point sources with I0 cos^m about `facing`, flux 1."""
    total = 0.0
    for point in points:
        away = target - point
        r2 = (away**2).sum(axis=-1)
        mu = np.maximum((away @ facing) / np.sqrt(r2), 0.0)
        total = total + (m + 1.0) / (2.0 * np.pi) * mu**m * np.maximum(-away[..., 2], 0.0) / r2**1.5
    return total / len(points)


def on_floor(packed, irradiance):
    """Light that should land on every soil cell, shape (C,); the floor may slope."""
    soil = packed.layout.surfaces["soil"]
    x, wx = middles(soil.x_edges_m)
    y, wy = middles(soil.y_edges_m)
    plane = packed.arrays.soil.plane
    target = np.zeros((len(y), len(x), 4, 4, 3))
    target[..., 0], target[..., 1] = x[None, :, None, :], y[:, None, :, None]
    target[..., 2] = plane[0] + plane[1] * target[..., 0] + plane[2] * target[..., 1]
    return np.einsum("jiba,b,a->ji", irradiance(target), wy, wx).ravel() * soil.cell_area_m2


def room(shape, size, more="", channel='beam = "120 deg"', floor='depth = "1 mm"'):
    """A lamp HIGH above the bottom in the middle of a tank that is not there."""
    lamp = f'shape = "{shape}"\nsize = {size}\nheight = "{HIGH} m"\nheight_above = "bottom"\n{more}'
    text = tank_text("40 cm", "30 cm", "30 cm", "0 cm", cell="5 cm", lamp=lamp).replace(
        'depth = "1 mm"', floor
    )
    text = text.replace('beam = "120 deg"', channel)
    packed = layout(text, tank=NO_GLASS)
    paint(packed, packed.arrays.soil.surface, 0.0)
    return packed, lamp_of(text)


CENTRE = np.array([0.2, 0.15, HIGH])
DOWN = np.array([0.0, 0.0, -1.0])


def check(packed, source, irradiance, mutant, resolves=0.005):
    got = shine(packed, source, 1 << 15).on("soil")[:, :, 0]
    agree(got, on_floor(packed, irradiance), resolves)
    disagree(got, on_floor(packed, mutant))


def test_leds_on_a_grid():
    packed, source = room(
        "panel", '["24 cm", "10 cm"]', channel='beam = "90 deg"\nleds = 6\nled_size = "1 mm"'
    )
    places = np.column_stack([led_places(6, (0.24, 0.10), False), np.zeros(6)]) * [1, -1, 1] + CENTRE
    check(
        packed,
        source,
        lambda p: level_irradiance(places, DOWN, p, 2.0),
        lambda p: level_irradiance(places + [0.01, 0, 0], DOWN, p, 2.0),
    )


def test_tilted_beam():
    """20 degrees to the left, half power at 45 degrees."""
    packed, source = room("disc", '"1 mm"', 'tilt = "20 deg"\ntilt_to = "left"', 'beam = "90 deg"')
    tilt = np.radians(20.0)
    facing = np.array([-np.sin(tilt), 0.0, -np.cos(tilt)])
    check(
        packed,
        source,
        lambda p: level_irradiance([CENTRE], facing, p, 2.0),
        lambda p: level_irradiance([CENTRE], facing * [-1, 1, 1], p, 2.0),
    )


def test_tube():
    """A glowing cylinder, cut into strips: each sends Lambert's law about its own normal."""
    packed, source = room("tube", '["20 cm", "3 cm"]', 'turn = "90 deg"', channel="")

    def irradiance(length):
        def at(p):
            total = 0.0
            for angle in (np.arange(48) + 0.5) / 48 * 2.0 * np.pi:
                normal = np.array([np.cos(angle), 0.0, np.sin(angle)])
                along = (np.arange(24) + 0.5) / 24 - 0.5
                strip = (
                    CENTRE + 0.015 * normal + np.column_stack([np.zeros(24), along * length, np.zeros(24)])
                )
                total = total + level_irradiance(strip, normal, p, 1.0) / 48
            return total

        return at

    check(packed, source, irradiance(0.20), irradiance(0.22), resolves=0.01)


def test_level_meter_on_a_slope():
    """The soil's map is what a level meter reads, whatever the slope below it."""
    floor = 'front = "2 cm"\nback = "10 cm"\nleft = "5 cm"\nright = "7 cm"'
    packed, source = room("disc", '"1 mm"', floor=floor)
    assert packed.arrays.soil.plane[2] > 0.2
    normal = np.array([-packed.arrays.soil.plane[1], -packed.arrays.soil.plane[2], 1.0])
    normal /= np.linalg.norm(normal)

    def facing_slope(p):
        away = p - CENTRE
        return level_irradiance([CENTRE], DOWN, p, 1.0) * np.abs(away @ normal) / np.abs(away[..., 2])

    check(packed, source, lambda p: level_irradiance([CENTRE], DOWN, p, 1.0), facing_slope)


def test_window():
    """A diffuse upright rectangle in front of the tank, off its middle."""
    window = (
        '[window]\nside = "front"\ndistance = "20 cm"\nsize = ["30 cm", "40 cm"]\nsill = "5 cm"\n'
        'offset = "10 cm"\nexitance = "100 umol/m^2/s"\n'
    )
    text = tank_text("40 cm", "30 cm", "30 cm", "0 cm", cell="10 cm")
    text = text[: text.index("[[fixture]]")] + window
    packed = layout(text, tank=NO_GLASS)
    paint(packed, packed.arrays.soil.surface, 0.0)
    x, z = np.meshgrid((np.arange(24) + 0.5) / 24 * 0.3 + 0.15, (np.arange(32) + 0.5) / 32 * 0.4 + 0.05)
    points = np.column_stack([x.ravel(), np.full(x.size, -0.205), z.ravel()])

    def from_window(shift):
        return lambda p: level_irradiance(points + shift, np.array([0.0, 1.0, 0.0]), p, 1.0)

    check(packed, lamp_of(text), from_window(0.0), from_window(np.array([0.0, 0.0, 0.05])), resolves=0.01)


def solid_angle(corners, eye):
    """A. van Oosterom and J. Strackee 1983, IEEE Trans. Biomed. Eng. 30:125."""
    a, b, c = corners - eye
    la, lb, lc = (np.linalg.norm(v) for v in (a, b, c))
    whole = la * lb * lc + (a @ b) * lc + (b @ c) * la + (c @ a) * lb
    return abs(2.0 * np.arctan2(a @ np.cross(b, c), whole))


def test_triangles_of_a_mesh():
    """An even lamp, 1 / 2 pi per steradian: every triangle gets its solid angle, nearer ones hide what is behind."""
    corners = np.array([[0.12, 0.08, 0.05], [0.30, 0.10, 0.12], [0.26, 0.24, 0.16], [0.10, 0.22, 0.07]])
    shadow = np.array([[0.15, 0.1, 0.02], [0.25, 0.1, 0.02], [0.2, 0.2, 0.02]])  # wholly behind the plate
    plate = make_mesh("plate", corners, np.array([[0, 1, 2], [0, 2, 3]]))
    hidden = make_mesh("hidden", shadow, np.array([[0, 1, 2]]))
    packed = layout(
        tank_text("40 cm", "30 cm", "30 cm", "0 cm", cell="10 cm"), [plate, hidden], tank=NO_GLASS
    )
    packed.arrays.reflectance[:] = 0.0
    eye = np.array([0.19, 0.15, HIGH])
    shone = shine(packed, rectangle(eye, (0.0, 0.0), power=0.0), 1 << 15)
    patch = packed.layout.surfaces["hardscape mesh 0"].cell_of_face
    got = shone.on("hardscape mesh 0")[:, :, 0]
    expected = np.zeros(got.shape[1])
    for face, cell in zip(plate.faces, patch, strict=True):
        expected[cell] += solid_angle(corners[face], eye) / (2.0 * np.pi)
    agree(got, expected, resolves=0.01)
    disagree(got, 1.01 * expected)
    assert shone.on("hardscape mesh 1").max() == 0.0
