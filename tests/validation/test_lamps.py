"""Lamps of a scene, end to end: output, housings, window light, beams from files, against independent computations."""

from __future__ import annotations

import numba
import numpy as np
import pytest
from scipy import integrate

from underlit.kernels.emit import emit
from underlit.scene.loader import from_text
from underlit.spectra import GRID_NM
from underlit.tracer.reading import irradiance_below
from underlit.tracer.run import trace
from underlit.tracer.sources import build_lamps
from zcheck import agree, disagree

pytestmark = pytest.mark.validation

# A tank without water on black soil, too wide for the light to reach its panes.
SCENE = """
[tank]
length = "80 cm"
width = "80 cm"
height = "20 cm"
thickness = "8 mm"
[water]
level = "0 cm"
[substrate]
material = {{ reflectance = 0.0 }}
depth = "1 cm"
[[fixture]]
name = "lamp"
shape = "{shape}"
size = {size}
height = "31 cm"
height_above = "bottom"
{fixture}
[[fixture.channel]]
spectrum = "{spectrum}"
power = "60 W"
{output}
{channel}
[run]
cell = "{cell}"
planes = []
"""


def scene(folder=None, *, shape="panel", size='["10 cm", "10 cm"]', fixture="", spectrum="white 6500 K",
          output='flux = "50 umol/s"', channel="", cell="1 cm"):  # fmt: skip
    return from_text(SCENE.format(**{k: v for k, v in locals().items() if k != "folder"}), folder)


def flux(**how) -> float:
    """Photons per second of the only channel. [umol s-1]"""
    return float(build_lamps(scene(**how)).channels[0].spectrum.sum())


# --- output ---------------------------------------------------------------------------------------------


def lumens_of(photon_spectrum) -> float:
    """Lumens by V(lambda) of colour-science and CODATA constants of scipy."""
    from colour import MSDS_CMFS
    from scipy import constants

    cie = MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    v = np.interp(GRID_NM, cie.wavelengths, cie.values[:, 1])
    joules = constants.h * constants.c * constants.N_A * 1e-6 / (GRID_NM * 1e-9)
    return float(683.002 * np.sum(photon_spectrum * joules * v))


@pytest.mark.parametrize("spectrum", ["white 6500 K", "warm white 3000 K", "red 660", "blue 450", "LED-B3"])
def test_lumens(spectrum):
    lamp = build_lamps(scene(spectrum=spectrum, output='lumens = "90 lm"')).channels[0]
    assert lumens_of(lamp.spectrum) == pytest.approx(90.0, rel=1e-4)


def test_efficacy_and_flux():
    assert flux(output='efficacy = "1.6 umol/J"') == pytest.approx(96.0)
    assert flux(output='flux = "14.4 umol/s"') == pytest.approx(14.4)


def reading(ppfd=85.0, distance="30 cm") -> str:
    return f'reading = {{ ppfd = "{ppfd} umol/m^2/s", distance = "{distance}" }}'


H = 0.3


def on_disc(radius=0.1):
    """Lambertian disc of unit flux, on its axis: F / area, F = r^2 / (r^2 + h^2)."""
    return radius**2 / (radius**2 + H**2) / (np.pi * radius**2)


def on_rectangle(a=0.3, b=0.1):
    """Lambertian rectangle of unit flux, below its middle: four times the factor of a corner."""
    x, y = 0.5 * a / H, 0.5 * b / H
    p, q = np.hypot(1.0, x), np.hypot(1.0, y)
    return 4.0 * (x / p * np.arctan(y / p) + y / q * np.arctan(x / q)) / (2.0 * np.pi) / (a * b)


def on_bell(a=0.3, b=0.1, width=np.pi / 3.0):
    """Bell-shaped beam from a rectangle, by adaptive quadrature of I cos / r^2 over it."""

    def bell(t):
        return np.exp(-4.0 * np.log(2.0) * (t / width) ** 2)

    whole = 2.0 * np.pi * integrate.quad(lambda t: bell(t) * np.sin(t), 0.0, 0.5 * np.pi)[0]

    def part(y, x):
        r = np.sqrt(x * x + y * y + H * H)
        return bell(np.arccos(H / r)) / whole * H / r**3

    return integrate.dblquad(part, -a / 2, a / 2, -b / 2, b / 2)[0] / (a * b)


def on_tube(length=0.5, radius=0.01):
    """Diffuse cylinder of unit flux, below its middle: cosines at both ends over pi r^2, over its lower side."""

    def part(turn, x):
        y, z = radius * np.sin(turn), radius * np.cos(turn)
        v = np.array([-x, -y, H - z])
        r = np.linalg.norm(v)
        return max(0.0, v[1] * np.sin(turn) + v[2] * np.cos(turn)) * v[2] / (np.pi * r**4)

    return integrate.dblquad(part, -length / 2, length / 2, -np.pi / 2, np.pi / 2)[0] / (2.0 * np.pi * length)


@pytest.mark.parametrize(
    ("shape", "size", "channel", "per_flux"),
    [
        ("disc", '"20 cm"', "", on_disc),
        ("bar", '["30 cm", "10 cm"]', "", on_rectangle),
        ("bar", '["30 cm", "10 cm"]', 'beam = { lens = "gaussian", fwhm = "60 deg" }', on_bell),
        ("tube", '["50 cm", "2 cm"]', "", on_tube),
        ("panel", '["1 mm", "1 mm"]', 'beam = "90 deg"', lambda: 3.0 / (2.0 * np.pi) / H**2),
    ],
)
def test_reading(shape, size, channel, per_flux):
    """The flux that shows 20 umol m-2 s-1 of PAR at 30 cm."""
    lamp = build_lamps(scene(shape=shape, size=size, channel=channel, output=reading(20.0))).channels[0]
    par = lamp.spectrum[(GRID_NM >= 400) & (GRID_NM <= 700)].sum()
    assert par * per_flux() == pytest.approx(20.0, rel=1e-3)


def centre_ppfd(result) -> np.ndarray:
    """PPFD of the middle cell, per replicate. [umol m-2 s-1]"""
    from underlit.metrics.maps import ppfd

    soil = result.surfaces["soil"]
    ny, nx = soil.shape
    assert ny % 2 == nx % 2 == 1
    return ppfd(result, "soil").samples[:, ny // 2 * nx + nx // 2]


@pytest.mark.parametrize("reflectance", [0.0, 0.8])
def test_a_meter_in_the_traced_scene_shows_the_reading(reflectance):
    """A lamp deep in its housing: what it gives straight, and by way of its shade. Cells are 32 mm wide."""
    shaded = scene(
        shape="disc", size='"12 cm"', fixture=f'shade = {{ depth = "12 cm", reflectance = {reflectance} }}',
        output=reading(85.0), cell="32 mm",
    )  # fmt: skip
    result = trace(shaded, photons=3_000_000, seed=2)
    # Over the cell light falls off by 2 r^2 / h^2, 0.4 %; three standard errors are 1 %.
    assert centre_ppfd(result).mean() == pytest.approx(85.0, rel=0.015)
    if reflectance:
        black = scene(shape="disc", size='"12 cm"', output=reading(85.0))
        lit, dark = (build_lamps(one).flux_umol_s()[0] for one in (shaded, black))
        assert (
            lit < 0.9 * dark
        )  # the shade helps: without it the check above would be off by more than a tenth


# --- housing --------------------------------------------------------------------------------------------


def in_housing(result) -> np.ndarray:
    """Share of the light that the housing takes, per replicate."""
    budget = result.budget
    return budget.share[:, 0, budget.names.index("absorbed in lamp housings"), 5]


def box_escape(a, b, depth, reflectance, n=400_000, clearance=1e-3):
    """Share that leaves a box with diffuse walls, lit evenly by a diffuse face inside its top: own photon walk."""
    rng = np.random.default_rng(5)
    high = np.array([a, b]) / 2 + clearance
    p = np.column_stack([(rng.random((n, 2)) - 0.5) * [a, b], np.zeros(n)])
    normal = np.tile([0.0, 0.0, 1.0], (n, 1))
    alive, out = np.ones(n, bool), np.zeros(n, bool)
    low_z, top = -clearance, depth
    while alive.any():
        k = np.flatnonzero(alive)
        d = rng.normal(size=(len(k), 3))
        d = d / np.linalg.norm(d, axis=1)[:, None] + normal[k]  # Lambertian: a unit sphere upon the normal
        d /= np.linalg.norm(d, axis=1)[:, None]
        bounds = np.where(d > 0, [*high, top], [*-high, low_z])
        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.where(d == 0.0, np.inf, (bounds - p[k]) / d)
        axis = t.argmin(axis=1)
        p[k] += t[np.arange(len(k)), axis][:, None] * d
        normal[k] = 0.0
        normal[k, axis] = -np.sign(d[np.arange(len(k)), axis])
        gone = (axis == 2) & (d[:, 2] > 0)
        out[k[gone]] = True
        alive[k] = ~gone & (rng.random(len(k)) < reflectance)
    return out.mean(), np.sqrt(out.mean() * (1 - out.mean()) / n)


def parallel_factor(a, b, c, wider=1e-3, n=24):
    """Form factor from an a by b rectangle to a parallel one, wider on each side, at c: mean of the point factor."""
    u, w = np.polynomial.legendre.leggauss(n)
    x, y = np.meshgrid(0.5 * a * u, 0.5 * b * u)

    def corner(p, q):
        p, q = p / c, q / c
        r, s = np.hypot(1.0, p), np.hypot(1.0, q)
        return (p / r * np.arctan(q / r) + q / s * np.arctan(p / s)) / (2.0 * np.pi)

    ha, hb = 0.5 * a + wider, 0.5 * b + wider
    total = sum(corner(ha + i * x, hb + j * y) for i in (-1, 1) for j in (-1, 1))
    return float(0.25 * w @ total @ w)


SHADED = {"size": '["20 cm", "10 cm"]'}


def test_a_black_housing_lets_out_the_form_factor_of_its_opening():
    result = trace(scene(**SHADED, fixture='shade = { depth = "12 cm" }'), photons=1_000_000, seed=1)
    kept = 1.0 - in_housing(result)
    agree(kept, parallel_factor(0.2, 0.1, 0.12), resolves=0.01)
    disagree(kept, parallel_factor(0.2, 0.1, 0.123))


@pytest.mark.parametrize("reflectance", [0.4, 0.8])
def test_a_reflecting_housing_against_an_own_photon_walk(reflectance):
    shade = f'shade = {{ depth = "12 cm", reflectance = {reflectance} }}'
    result = trace(scene(**SHADED, fixture=shade), photons=1_000_000, seed=1)
    kept = 1.0 - in_housing(result)
    expected, std_err = box_escape(0.2, 0.1, 0.12, reflectance)
    z = (kept.mean() - expected) / np.hypot(std_err, kept.std(ddof=1) / np.sqrt(len(kept)))
    assert abs(z) < 4.0
    assert std_err < 0.001


def test_a_white_housing_gives_all_light_back():
    result = trace(
        scene(**SHADED, fixture='shade = { depth = "12 cm", reflectance = 1.0 }'), photons=200_000, seed=1
    )
    assert in_housing(result).max() == 0.0
    np.testing.assert_allclose(result.budget.share[:, 0].sum(axis=1), 1.0, atol=1e-6)


def test_a_black_housing_cuts_the_beam_at_its_edge():
    """One LED in a square hood: inside its shadow line the light of the bare LED, outside none."""
    how = {
        "channel": 'leds = 1\nled_size = "0.1 mm"\nbeam = "120 deg"',
        "cell": "2 cm",
        "output": 'flux = "50 umol/s"',
    }
    result = trace(scene(fixture='shade = { depth = "5 cm" }', **how), photons=1_000_000, seed=3)
    soil = result.surfaces["soil"]
    landed = result.transport("soil")[:, 0, :, 5] / soil.cell_area_m2
    edge = 0.051 / 0.05 * 0.30  # half the hood's width, seen from the LED, on the soil
    off = np.abs(soil.cell_centre_m[:, :2] - 0.4).max(axis=1)
    inside, outside = off < edge - 0.0101, off > edge + 0.0101
    assert landed[:, outside].max() == 0.0
    u = (np.arange(8) + 0.5) / 8 * 0.02 - 0.01
    dx, dy = np.meshgrid(u, u)
    x, y = (soil.cell_centre_m[inside, k, None] - 0.4 + d.ravel() for k, d in ((0, dx), (1, dy)))
    expected = (0.3**2 / (np.pi * (x * x + y * y + 0.3**2) ** 2)).mean(axis=1)
    agree(landed[:, inside], expected, resolves=0.02)


# --- window ---------------------------------------------------------------------------------------------


@numba.njit
def _emit(source, u):
    out = np.empty((len(u), 6))
    for i in range(len(u)):
        out[i] = emit(source, u[i, 0], u[i, 1], u[i, 2], u[i, 3])
    return out


WINDOW = """
[tank]
length = "90 cm"
width = "40 cm"
height = "50 cm"
thickness = "10 mm"
[window]
side = "{side}"
distance = "{distance} m"
size = ["120 cm", "100 cm"]
sill = "30 cm"
offset = "20 cm"
exitance = "100 umol/m^2/s"
"""


@pytest.mark.parametrize("side", ["left", "right", "front", "back"])
@pytest.mark.parametrize("distance", [0.5, 6.0])
def test_window_light_reaches_the_pane_by_its_form_factor(side, distance):
    """From the window to the outer face of the pane; far off it goes to A cos cos / (pi d^2)."""
    lamps = build_lamps(from_text(WINDOW.format(side=side, distance=distance)))
    assert lamps.channels[0].spectrum.sum() == pytest.approx(100.0 * 1.2 * 1.0)
    axis = 0 if side in ("left", "right") else 1
    plane = {"left": -0.01, "right": 0.91, "front": -0.01, "back": 0.41}[side]
    along = 0.4 if axis == 0 else 0.9
    n = 1_200_000
    ray = _emit(lamps.sources[0], np.random.default_rng(1).random((n, 4)))
    t = (plane - ray[:, axis]) / ray[:, 3 + axis]
    np.testing.assert_allclose(t * ray[:, 3 + axis], plane - ray[:, axis])
    x, z = ray[:, 1 - axis] + t * ray[:, 4 - axis], ray[:, 2] + t * ray[:, 5]
    hits = (t > 0) & (x >= -0.01) & (x <= along + 0.01) & (z >= -0.01) & (z <= 0.5)
    # Point factor of the window seen from the pane, integrated over the pane; reciprocity turns it round.
    u, w = np.polynomial.legendre.leggauss(24)
    px, pz = np.meshgrid(0.5 * along + (0.5 * along + 0.01) * u, 0.245 + 0.255 * u, indexing="ij")

    def corner(p, q):
        p, q = p / distance, q / distance
        r, s = np.hypot(1.0, p), np.hypot(1.0, q)
        return (p / r * np.arctan(q / r) + q / s * np.arctan(p / s)) / (2.0 * np.pi)

    x0, x1 = 0.5 * along + 0.2 - 0.6 - px, 0.5 * along + 0.2 + 0.6 - px
    z0, z1 = 0.3 - pz, 1.3 - pz
    point = corner(x1, z1) - corner(x0, z1) - corner(x1, z0) + corner(x0, z0)
    pane_area = (along + 0.02) * 0.51
    factor = 0.25 * w @ point @ w * pane_area / (1.2 * 1.0)
    if distance > 5.0:
        d2 = distance**2 + 0.2**2 + (0.8 - 0.245) ** 2
        assert factor == pytest.approx(pane_area * (distance**2 / d2) / (np.pi * d2), rel=0.02)
    z_score = (hits.sum() - n * factor) / np.sqrt(n * factor * (1.0 - factor))
    assert abs(z_score) < 4.0
    assert 4.0 / np.sqrt(n * factor) < 0.1


# --- a beam from a file, down to the soil under water ---------------------------------------------------

POND = """
[tank]
length = "80 cm"
width = "80 cm"
height = "40 cm"
[tank.panes]
left = { state = "bonded film", colour = "black" }
right = { state = "bonded film", colour = "black" }
front = { state = "bonded film", colour = "black" }
back = { state = "bonded film", colour = "black" }
[water]
type = "pure"
scattering = "0 1/m"
level = "31 cm"
[substrate]
material = { reflectance = 0.0 }
depth = "1 cm"
[[fixture]]
shape = "panel"
size = ["1 mm", "1 mm"]
height = "20 cm"
[[fixture.channel]]
spectrum = "white 6500 K"
power = "60 W"
flux = "50 umol/s"
beam = { file = "lamp.ies" }
[run]
cell = "2 cm"
planes = []
"""


def lopsided(vertical_deg, azimuth_deg):
    """Intensity [cd] within 40 deg that leans towards azimuth 0, and half as much towards 90."""
    v, a = np.asarray(vertical_deg, float), np.radians(azimuth_deg)
    return np.where(
        v <= 40, (1.0 + 0.02 * v * (np.cos(a) + 0.5 * np.sin(a))) * np.cos(0.5 * np.pi * v / 40) + 0.0, 0.0
    )


def test_a_lopsided_file_lights_the_soil_as_it_should(tmp_path):
    """Point source over water: E = I T sin(t) / (r dr/dt), for the tracer with its gathered first light."""
    vertical, azimuth = np.arange(0, 91, 1.0), np.arange(0, 361, 1.0)
    grid = lopsided(vertical[None, :], azimuth[:, None])
    numbers = " ".join(f"{x:.7f}" for x in [*vertical, *azimuth, *grid.ravel()])
    (tmp_path / "lamp.ies").write_text(
        f"IESNA:LM-63-2002\nTILT=NONE\n1 -1 1 {len(vertical)} {len(azimuth)} 1 2 0 0 0\n1 1 9\n{numbers}\n"
    )
    result = trace(from_text(POND, tmp_path), photons=400_000, seed=1)
    soil = result.surfaces["soil"]
    got = result.transport("soil")[:, 0, :, 5] / soil.cell_area_m2
    expected = soil_light(result, soil, mirrored=False)
    bright = expected > 0.05 * expected.max()
    agree(got[:, bright], expected[bright], resolves=0.01)
    disagree(got[:, bright], soil_light(result, soil, mirrored=True)[bright])


def soil_light(result, soil, mirrored: bool, h=0.20, d=0.30):
    """Irradiance per photon on each cell, by the mean over 6 by 6 points, with absorption on the slanted path. [m-2]"""
    from underlit import spectra

    n = float(spectra.water_index(np.array([550.0]), 25.0)[0])
    nm = result.wavelength_nm[5]
    a = float(spectra.water_absorption_per_m(np.array([nm]), 0.0, 0.015, 0.0, 25.0)[0])
    t = np.radians(np.linspace(0.0, 41.0, 8001))
    inside = np.arcsin(np.sin(t) / n)
    r = h * np.tan(t) + d * np.tan(inside)
    rs = (np.sin(t - inside)[1:] / np.sin(t + inside)[1:]) ** 2
    rp = (np.tan(t - inside)[1:] / np.tan(t + inside)[1:]) ** 2
    through = 1.0 - 0.5 * (rs + rp)
    spread = np.sin(t[1:]) / (r[1:] * np.gradient(r, t)[1:])
    per_intensity = through * spread * np.exp(-a * d / np.cos(inside[1:]))
    u = (np.arange(6) + 0.5) / 6 * 0.02 - 0.01
    dx, dy = (w.ravel() for w in np.meshgrid(u, u))
    x, y = soil.cell_centre_m[:, 0, None] - 0.4 + dx, soil.cell_centre_m[:, 1, None] - 0.4 + dy
    radius, azimuth = np.hypot(x, y), np.degrees(np.arctan2(-y if mirrored else y, x))
    theta = np.interp(radius, r, t)
    whole = integrate.dblquad(
        lambda v, p: float(lopsided(np.degrees(v), np.degrees(p))) * np.sin(v),
        0,
        2 * np.pi,
        0,
        np.radians(40),
    )[0]
    light = lopsided(np.degrees(theta), azimuth) / whole * np.interp(radius, r[1:], per_intensity)
    return np.where(theta < t[-1], light, 0.0).mean(axis=1)


def test_a_file_beam_reads_the_same_as_its_formula(tmp_path):
    """A Lambertian file on a disc, read on the axis: the closed form of the disc."""
    vertical = np.arange(0, 91, 1)
    numbers = " ".join([*map(str, vertical), "0", *(f"{x:.8f}" for x in np.cos(np.radians(vertical)))])
    (tmp_path / "lambert.ies").write_text(
        f"IESNA:LM-63-2002\nTILT=NONE\n1 -1 1 91 1 1 2 0 0 0\n1 1 9\n{numbers}\n"
    )
    how = {"shape": "disc", "size": '"20 cm"', "channel": 'beam = { file = "lambert.ies" }'}
    source = build_lamps(scene(tmp_path, **how)).sources[0]
    assert irradiance_below(source, H) == pytest.approx(on_disc(), rel=3e-4)
