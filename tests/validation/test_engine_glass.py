"""Panes and lids as real sheets, against the adding method, which `tmm` backs at normal incidence and by polarisation.

Between level sheets, lid and water, the engine keeps s and p light apart. At panes it takes light as unpolarised at
every face anew; what that costs is measured at the end.
"""

import numpy as np
import pytest
import tmm
from scipy import integrate

from bench import bands, layout, paint, pencil, shine, slant, tank_text
from stack import stack
from underlit.kernels.arrays import AIR_GAP, BONDED
from zcheck import agree, disagree

pytestmark = [pytest.mark.validation, pytest.mark.statistical]

GLASS, WATER = 1.52, 1.333
ABSORPTION = np.array([0.0, 1.0, 3.0, 6.0, 10.0, 20.0] + [3.0] * 10)


def by_tmm(indices, depths, angle_deg, polarisation):
    """Incoherent stack by tmm: reflectance and transmittance. `depths` as in `stack`."""
    thickness_nm, wavelength_nm = 1e6, 550.0
    n = [complex(indices[0])]
    for index, depth in zip(indices[1:-1], depths, strict=True):
        n.append(index + 1j * depth / thickness_nm * wavelength_nm / (4.0 * np.pi))
    n.append(complex(indices[-1]))
    layers = [np.inf, *[thickness_nm] * len(depths), np.inf]
    data = tmm.inc_tmm(polarisation, n, layers, ["i"] * len(n), np.radians(angle_deg), wavelength_nm)
    return data["R"], data["T"]


@pytest.mark.parametrize(
    ("indices", "depths", "angle_deg", "s", "p"),
    [
        ((1, GLASS, 1), (0.0,), 0, (0.081682, 0.918318), (0.081682, 0.918318)),
        ((1, GLASS, 1), (0.0,), 45, (0.176402, 0.823598), (0.018541, 0.981459)),
        ((1, GLASS, 1), (0.0,), 75, (0.579395, 0.420605), (0.190995, 0.809005)),
        ((1, GLASS, 1), (0.03,), 45, (0.171135, 0.795661), (0.017939, 0.948749)),
        ((1, GLASS, 1), (0.03,), 60, (0.300810, 0.663630), (0.002942, 0.961213)),
        ((1, GLASS, WATER), (0.0,), 60, (0.190695, 0.809305), (0.002236, 0.997764)),
        ((WATER, GLASS, 1), (0.0,), 30, (0.092262, 0.907738), (0.015468, 0.984532)),
        ((1, GLASS, WATER, GLASS, 1), (0.0, 0.0, 0.0), 0, (0.088902, 0.911098), (0.088902, 0.911098)),
        ((1, GLASS, 1, WATER), (0.0, 0.0), 0, (0.098891, 0.901109), (0.098891, 0.901109)),
    ],
)
def test_adding_method_against_tmm_and_the_reference_values(indices, depths, angle_deg, s, p):
    """FR-11 to FR-16: the yardstick of this file is itself measured."""
    sin1 = indices[0] * np.sin(np.radians(angle_deg))
    for polarisation, listed in (("s", s), ("p", p)):
        got = stack(indices, depths, sin1, polarisation)
        assert got == pytest.approx(by_tmm(indices, depths, angle_deg, polarisation), abs=1e-6)
        assert got == pytest.approx(listed, abs=2e-6)


def across(angle_deg, level, thickness=0.01):
    """A ray through a long tank from front to back, level in z, at an angle from the panes' normal.

    Returns
    -------
    Shone
        Bands differ by the absorption of the glass.
    """
    text = tank_text("20 m", "5 cm", "20 cm", level, thickness=f"{1e3 * thickness} mm", cell="10 cm")
    tank = {
        "n_glass": GLASS,
        "n_water": WATER,
        "a_glass_per_m": bands(ABSORPTION),
        "a_water_per_m": bands(0.0),
    }
    packed = layout(text, tank=tank)
    paint(packed, packed.arrays.soil.surface, 0.0)
    angle = np.radians(angle_deg)
    return shine(packed, pencil((10.0, -0.5, 0.1), (np.sin(angle), np.cos(angle), 0.0)), 1 << 14)


@pytest.mark.parametrize(
    ("angle_deg", "level", "inside"),
    [
        (0, "0 cm", 1.0),
        (45, "0 cm", 1.0),
        (60, "0 cm", 1.0),
        (75, "0 cm", 1.0),
        (0, "15 cm", WATER),
        (60, "15 cm", WATER),
    ],
)
def test_two_panes(angle_deg, level, inside):
    shone = across(angle_deg, level)
    indices = (1, GLASS, inside, GLASS, 1)

    def expected(absorption):
        depth = absorption * 0.01
        return np.array(stack(indices, (depth, 0.0, depth), np.sin(np.radians(angle_deg))))

    got = np.stack([shone.ended("past the tank", "out of the front"), shone.ended("out of the back")], axis=1)
    agree(got, expected(ABSORPTION), resolves=0.005)
    disagree(got, expected(ABSORPTION + 0.3))
    agree(1.0 - got.sum(axis=1), 1.0 - expected(ABSORPTION).sum(axis=0), resolves=0.005)


@pytest.mark.parametrize("angle_deg", [0, 40, 70])
def test_lid_over_water(angle_deg):
    """Cover, air gap, water (FR-16 at normal incidence), over a black floor, each polarisation to itself."""
    more = '[tank.lid]\nthickness = "10 mm"\nheight = "2 cm"\n'
    text = tank_text("2 m", "2 m", "10 cm", "9 cm", more=more, cell="50 cm")
    packed = layout(
        text,
        tank={"n_water": WATER, "a_water_per_m": bands(0.0)},
        cover={"lid_n": GLASS, "lid_a_per_m": bands(ABSORPTION)},
    )
    paint(packed, packed.arrays.soil.surface, 0.0)
    shone = shine(packed, pencil((0.9, 1.0, 0.2), slant(angle_deg)), 1 << 14)
    sin1 = np.sin(np.radians(angle_deg))
    layers = (1, GLASS, 1, WATER), (0.01 * ABSORPTION, 0.0), sin1
    reflected, through = np.mean([stack(*layers, kind) for kind in "sp"], axis=0)
    if angle_deg == 0:
        assert through[0] == pytest.approx(0.901109, abs=1e-6)
    got = np.stack([shone.ended("reflected above"), shone.ended("absorbed by soil")], axis=1)
    agree(got, [reflected, through], resolves=0.005)
    disagree(got, [reflected, 1.005 * through])
    if angle_deg > 0:
        disagree(got, stack(*layers))  # as if light forgot its polarisation from sheet to sheet


def test_lid_shifts_a_ray_sideways():
    """Light that goes straight through lands where Snell's law says."""
    more = '[tank.lid]\nthickness = "20 mm"\nheight = "2 cm"\n'
    packed = layout(
        tank_text("60 cm", "8 cm", "10 cm", "0 cm", depth="1 mm", more=more, cell="4 mm"),
        cover={"lid_n": GLASS},
    )
    paint(packed, packed.arrays.soil.surface, 0.0)
    angle = np.radians(50.0)
    start = np.array([0.1, 0.05, 0.2])
    got = shine(packed, pencil(start, slant(50.0)), 1 << 10, replicates=2).on("soil")[:, :, 0].mean(axis=0)
    inside = np.arcsin(np.sin(angle) / GLASS)
    x = start[0] + (start[2] - 0.001 - 0.02) * np.tan(angle) + 0.02 * np.tan(inside)
    cell = int(np.argmax(got)) % 150
    assert cell == int(x / 0.004)
    straight = start[0] + (start[2] - 0.001) * np.tan(angle)
    assert cell != int(straight / 0.004)


def wall(pane, theta_deg, absorption=0.0):
    """A ray from above into the water and on to the left pane, which is in the given state."""
    text = tank_text("20 m", "20 m", "35.1 cm", "35 cm", cell="1 m")
    packed = layout(
        text,
        tank={
            "n_glass": GLASS,
            "n_water": WATER,
            "a_glass_per_m": bands(absorption),
            "a_water_per_m": bands(0.0),
            "backing": np.full(5, pane, np.int64),
        },
    )
    packed.arrays.reflectance[:] = 0.0
    return shine(packed, pencil((0.05, 10.0, 0.36), slant(theta_deg, 180.0)), 1 << 14)


def test_law_of_the_wall():
    """From above, a pane in air reflects all until sin(theta) = sqrt(n^2 - 1), 61.8 degrees; a bonded film never.

    A dry film behind an air gap leaves the reflection whole; beyond that angle both let out what Snell and Fresnel say.
    """
    limit = np.degrees(np.arcsin(np.sqrt(WATER**2 - 1.0)))
    assert limit == pytest.approx(61.8, abs=0.05)
    into_water = 1.0 - float(stack((1, WATER), (), np.sin(np.radians(limit - 0.1)))[0])
    clean, dry, bonded = (wall(pane, limit - 0.1) for pane in (0, AIR_GAP, BONDED))
    assert clean.ended("out of the left").max() == 0.0
    assert dry.ended("absorbed in films").max() == 0.0
    tangential = WATER * np.sqrt(1.0 - (np.sin(np.radians(limit - 0.1)) / WATER) ** 2)  # n sin at the pane
    taken = 1.0 - float(stack((WATER, GLASS), (), tangential)[0])
    agree(bonded.ended("absorbed in films")[:, :1], [into_water * taken], resolves=0.005)

    steep = limit + 3.0
    into_water = 1.0 - float(stack((1, WATER), (), np.sin(np.radians(steep)))[0])
    tangential = WATER * np.sqrt(1.0 - (np.sin(np.radians(steep)) / WATER) ** 2)
    through = float(stack((WATER, GLASS, 1), (0.0,), tangential)[1])
    for shone, name in ((wall(0, steep), "out of the left"), (wall(AIR_GAP, steep), "absorbed in films")):
        got = shone.ended(name)[:, :1]
        agree(got, [into_water * through], resolves=0.01)
        disagree(got, [into_water * through * 1.01])


RISE = np.sin(np.radians(20.0))  # rays rise a little, so that what the pane reflects leaves over the rim


def sent_back(rho, bonded, mirror):
    """Share of a ray, RISE off the normal and from air, that a pane with a film behind sends back."""

    def mean(function):
        return integrate.quad(
            lambda mu: 2.0 * mu * float(function(np.sqrt(1.0 - mu * mu))), 0.0, 1.0, limit=200
        )[0]

    sheet = ((1, GLASS), ()) if bonded else ((1, GLASS, 1), (0.0,))
    first, through = (float(v) for v in stack(*sheet, RISE))
    if mirror:
        behind, back = first, through
    else:
        pane = mean(lambda s: stack(*sheet, s)[0])
        # Seen from within the glass, diffuse light is let out n^2 times less (reciprocity).
        back = (1.0 - pane) / (GLASS**2 if bonded else 1.0)
        behind = 1.0 - back
    return first + through * rho * back / (1.0 - rho * behind)


@pytest.mark.parametrize("state", [AIR_GAP, BONDED])
@pytest.mark.parametrize("mirror", [False, True])
def test_films_behind_glass(state, mirror):
    """What a film absorbs, white or mirror, dry or bonded; panes thin, so that no light is lost at their edges."""
    rho = np.array([0.0, 0.2, 0.5, 0.8, 0.95, 1.0] + [0.5] * 10)
    packed = layout(
        tank_text("20 m", "20 m", "10 cm", "0 cm", cell="1 m"),
        tank={
            "n_glass": GLASS,
            "side_m": 1e-7,
            "a_glass_per_m": bands(0.0),
            "backing": np.array([state, 0, 0, 0, 0]),
            "backing_mirror": np.array([mirror] + [False] * 4),
        },
    )
    paint(packed, packed.arrays.soil.surface, 0.0)
    paint(packed, packed.arrays.tank.backing_surface[0], rho)
    source = pencil((0.01, 10.0, 0.05), (-np.sqrt(1.0 - RISE**2), 0.0, RISE))
    got = shine(packed, source, 1 << 14).ended("absorbed in films")
    expected = 1.0 - sent_back(rho, state == BONDED, mirror)
    agree(got, expected, resolves=0.02)
    disagree(got, 1.02 * expected)


def test_soil_against_a_pane():
    """Seen from outside through the pane, soil is as a diffuse film bonded to the glass."""
    rho = np.array([0.0, 0.2, 0.5, 0.8, 0.95, 1.0] + [0.5] * 10)
    text = tank_text("60 cm", "60 cm", "40 cm", "0 cm", "30 cm", cell="10 cm")
    packed = layout(text, tank={"n_glass": GLASS, "side_m": 1e-7, "a_glass_per_m": bands(0.0)})
    paint(packed, packed.arrays.soil.surface, rho)
    for name, start in (
        ("left", (-0.1, 0.3)),
        ("right", (0.7, 0.3)),
        ("front", (0.3, -0.1)),
        ("back", (0.3, 0.7)),
    ):
        towards = np.array([0.3, 0.3]) - start
        towards *= np.sqrt(1.0 - RISE**2) / np.linalg.norm(towards)
        got = shine(packed, pencil((*start, 0.1), (*towards, RISE)), 1 << 12)
        sent = got.ended("reflected above", "past the tank") + got.ended(f"out of the {name}")
        agree(sent, sent_back(rho, True, False), resolves=0.05)
        disagree(sent, 1.05 * sent_back(rho, True, False))


def test_size_of_the_unpolarised_approximation():
    """Light is taken as unpolarised at each face anew: how far off that is, for one sheet."""

    def error(indices, angle_deg):
        sin1 = indices[0] * np.sin(np.radians(angle_deg))
        depths = (0.0,) * (len(indices) - 2)
        exact = np.mean([stack(indices, depths, sin1, p)[1] for p in "sp"])
        return float(stack(indices, depths, sin1)[1] - exact)

    assert error((1, GLASS, 1), 45) == pytest.approx(-0.0035, abs=5e-4)
    assert error((1, GLASS, 1), 60) == pytest.approx(-0.0128, abs=5e-4)
    mean = integrate.quad(lambda mu: 2 * mu * error((1, GLASS, 1), np.degrees(np.arccos(mu))), 0.0, 1.0)[0]
    assert abs(mean) < 0.008
