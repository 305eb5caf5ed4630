"""Directions of photons: the sampler against the intensity it stands for, and both against the beam as given."""

from __future__ import annotations

import numba
import numpy as np
import pytest
from scipy import stats

from underlit.kernels.emit import emit, intensity, table_direction, table_intensity
from underlit.photometry import Distribution
from underlit.scene.loader import from_text
from underlit.tracer.beams import beam_table, distribution_table, gaussian_intensity, gaussian_table
from underlit.tracer.sources import build_lamps
from zcheck import same_counts

pytestmark = pytest.mark.statistical

N = 400_000


@numba.njit
def _draw(table, u):
    out = np.empty(u.shape)
    for i in range(len(u)):
        out[i] = table_direction(table, u[i, 0], u[i, 1])
    return out


@numba.njit
def _look_up(table, directions):
    out = np.empty(len(directions))
    for i in range(len(directions)):
        out[i] = table_intensity(table, directions[i, 0], directions[i, 1], directions[i, 2])
    return out


@numba.njit
def _emit(source, u):
    out = np.empty((len(u), 6))
    for i in range(len(u)):
        out[i] = emit(source, u[i, 0], u[i, 1], u[i, 2], u[i, 3])
    return out


@numba.njit
def _shine(source, u, directions):
    """Mean over source points of the intensity along each direction."""
    out = np.zeros(len(directions))
    for i in range(len(directions)):
        for k in range(len(u)):
            out[i] += intensity(
                source, u[k, 0], u[k, 1], directions[i, 0], directions[i, 1], directions[i, 2]
            )
    return out / len(u)


def drawn(table, seed=1):
    """Polar angle and azimuth of N photons. [deg]"""
    mu, phi = _draw(table, np.random.default_rng(seed).random((N, 2))).T
    return np.degrees(np.arccos(np.clip(mu, -1.0, 1.0))), np.degrees(phi) % 360.0


def given(vertical, azimuth, intensity) -> Distribution:
    return Distribution(np.asarray(vertical, float), np.asarray(azimuth, float), np.asarray(intensity, float))


def light_in_bins(beam: Distribution, vertical_edges, azimuth_edges, fine=12) -> np.ndarray:
    """Light of a beam in bins of direction, by plain quadrature of its linear rule, shape (n, m)."""

    def middles(edges):
        parts = np.linspace(edges[:-1], edges[1:], fine, endpoint=False, axis=1)
        parts += 0.5 * np.diff(edges)[:, None] / fine
        return parts.ravel()

    v, a = middles(vertical_edges), middles(azimuth_edges)
    half = np.repeat(0.5 * np.diff(vertical_edges) / fine, fine)
    solid = np.cos(np.radians(v - half)) - np.cos(np.radians(v + half))
    light = beam.at(v[:, None], a[None, :]) * solid[:, None]
    n, m = len(vertical_edges) - 1, len(azimuth_edges) - 1
    width = np.radians(np.diff(azimuth_edges)) / fine
    return light.reshape(n, fine, m, fine).sum(axis=(1, 3)) * width


RNG = np.random.default_rng(3)
TURN = np.arange(0.0, 360.0, 22.5)
BEAMS = {
    "axial": given(np.arange(0, 91, 5), [0.0], [np.cos(np.radians(np.arange(0, 91, 5))) ** 3]),
    "one plane, up and down": given([0, 60, 90, 120, 180], [0.0], [[3.0, 2.0, 0.0, 0.0, 1.0]]),
    "rough": given(np.arange(0, 181, 15), TURN, RNG.random((16, 13))),
    "uneven planes": given([0, 20, 30, 90], [10.0, 50.0, 60.0, 200.0, 330.0], RNG.random((5, 4))),
    "a dark plane": given([0, 45, 90], [0.0, 120.0, 240.0], [[1, 1, 0], [0, 0, 0], [1, 5, 1.0]]),
    "ring": given([0, 30, 40, 50, 90], [0.0], [[0.0, 0.0, 1.0, 0.0, 0.0]]),
    "upward only": given([90, 135, 180], [0.0, 180.0], [[1.0, 2.0, 1.0], [0.5, 0.0, 1.0]]),
    "two planes": given([0, 90], [0.0, 180.0], [[1.0, 1.0], [0.0, 0.2]]),
}  # fmt: skip


@pytest.mark.parametrize("name", BEAMS)
def test_directions_follow_the_beam(name):
    """Chi-square over some 1500 bins that do not line up with the beam's own angles."""
    beam = BEAMS[name]
    vertical, azimuth = drawn(distribution_table(beam))
    edges = np.linspace(0.0, 180.0, 42), np.linspace(0.0, 360.0, 38)
    counts = np.histogram2d(vertical, azimuth, edges)[0]
    expected = light_in_bins(beam, *edges)
    assert counts[expected <= 0.0].sum() == 0
    same_counts(counts[expected > 0.0], (N / expected.sum() * expected)[expected > 0.0])


def test_a_mirrored_beam_is_told_apart():
    beam = BEAMS["rough"]
    mirrored = given(beam.vertical_deg, beam.azimuth_deg, beam.intensity[::-1])
    edges = np.linspace(0.0, 180.0, 42), np.linspace(0.0, 360.0, 38)
    counts = np.histogram2d(*drawn(distribution_table(beam)), edges)[0]
    expected = light_in_bins(mirrored, *edges)
    with pytest.raises(AssertionError, match="chi-square"):
        same_counts(counts, N / expected.sum() * expected)


@pytest.mark.parametrize("name", BEAMS)
def test_looking_up_gives_the_beam(name):
    """The table's intensity against the beam as given, point by point (linear in the versine, not the angle: within
    2e-4 of the peak); and all of it adds up to one."""
    beam = BEAMS[name]
    table = distribution_table(beam)
    v, a = np.meshgrid(np.arange(0.5, 180.0, 1.0), np.arange(0.5, 360.0, 2.0), indexing="ij")
    theta, phi = np.radians(v).ravel(), np.radians(a).ravel()
    rays = np.stack([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)], axis=1)
    looked_up = _look_up(table, rays)
    np.testing.assert_allclose(
        looked_up, beam.at(v.ravel(), a.ravel()) / beam.flux, atol=2e-4 * beam.intensity.max() / beam.flux
    )
    solid = np.cos(theta - np.radians(0.5)) - np.cos(theta + np.radians(0.5))
    light = (looked_up * solid * np.radians(2.0)).reshape(v.shape)
    assert light.sum() == pytest.approx(1.0, abs=2e-3)


def test_any_table_draws_directions_that_it_has_light_in():
    """Sparse random beams, with dark planes and angles among them, and the corners of the unit square."""
    rng = np.random.default_rng(7)
    corners = np.array(
        [(a, b) for a in (0.0, 2.0**-33, 0.5, 1.0 - 2.0**-33) for b in (0.0, 2.0**-33, 0.5, 1.0 - 2.0**-33)]
    )
    for _ in range(60):
        n, m = rng.integers(1, 6), rng.integers(2, 7)
        theta, azimuth = np.sort(rng.uniform(0.0, np.pi, m)), np.sort(rng.uniform(0.0, 2.0 * np.pi, n))
        value = rng.random((n, m)) * (rng.random((n, m)) > 0.4)
        value[0, 0] = 0.1
        table = beam_table(theta, value, azimuth)
        mu, phi = _draw(table, np.vstack([corners, rng.random((300, 2))])).T
        side = np.sqrt(1.0 - mu**2)
        seen = _look_up(table, np.stack([side * np.cos(phi), side * np.sin(phi), mu], axis=1))
        assert np.isfinite(seen).all()
        assert (seen[len(corners) :] > 0.0).all()


@pytest.mark.parametrize("fwhm_deg", [1.0, 8.0, 60.0, 150.0])
def test_gaussian_beam(fwhm_deg):
    """Polar angles against the integral of exp(-4 ln 2 (theta / fwhm)^2) sin(theta), by fine quadrature."""
    theta = np.linspace(0.0, 0.5 * np.pi, 200_001)
    density = gaussian_intensity(np.radians(fwhm_deg), theta) * np.sin(theta)
    below = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))])
    vertical, azimuth = drawn(gaussian_table(np.radians(fwhm_deg)))
    uniform = np.interp(np.radians(vertical), theta, below / below[-1])
    assert stats.kstest(uniform, "uniform").pvalue > 1e-3
    assert stats.kstest(azimuth / 360.0, "uniform").pvalue > 1e-3


def test_lambertian_table_is_the_cosine_law():
    theta = np.linspace(0.0, 0.5 * np.pi, 91)
    vertical, _ = drawn(beam_table(theta, np.cos(theta)))
    assert stats.kstest(np.sin(np.radians(vertical)) ** 2, "uniform").pvalue > 1e-3


# --- lamps of a scene -----------------------------------------------------------------------------------

LAMP = """
[tank]
length = "60 cm"
width = "30 cm"
height = "36 cm"
[[fixture]]
shape = "{shape}"
size = ["20 cm", "{deep}"]
height = "20 cm"
turn = "30 deg"
tilt = "25 deg"
tilt_to = "left"
[[fixture.channel]]
spectrum = "white 6500 K"
power = "20 W"
efficacy = "2 umol/J"
{more}
"""
UNEVEN = "IESNA:LM-63-2002\nTILT=NONE\n1 -1 1 4 5 1 2 0 0 0\n1 1 9\n0 30 90 180\n0 80 150 270 360\n" + (
    "9 5 1 0  9 9 2 1  9 1 0 0  9 3 3 1  9 5 1 0\n"
)


@pytest.mark.parametrize(
    ("shape", "deep", "more"),
    [
        ("bar", "5 cm", ""),
        ("bar", "5 cm", 'beam = "60 deg"'),
        ("disc", "20 cm", 'beam = { lens = "gaussian", fwhm = "40 deg" }'),
        ("tube", "2 cm", ""),
        ("bar", "5 cm", 'beam = { file = "lamp.ies", turn = "70 deg" }'),
    ],
)
def test_photons_of_a_lamp_and_its_intensity_agree(shape, deep, more, tmp_path):
    """Directions in the room, of a turned and tilted lamp, in bins of equal solid angle."""
    (tmp_path / "lamp.ies").write_text(UNEVEN)
    source = build_lamps(from_text(LAMP.format(shape=shape, deep=deep, more=more), tmp_path)).sources[0]
    rays = _emit(source, np.random.default_rng(1).random((N, 4)))[:, 3:]
    np.testing.assert_allclose(np.linalg.norm(rays, axis=1), 1.0, atol=1e-12)
    z = np.linspace(-1.0, 1.0, 25)
    phi = np.linspace(-np.pi, np.pi, 25)
    counts = np.histogram2d(rays[:, 2], np.arctan2(rays[:, 1], rays[:, 0]), (z, phi))[0]
    fine = 8
    mid_z = -1.0 + (np.arange(24 * fine) + 0.5) / (12 * fine)
    mid_phi = -np.pi + (np.arange(24 * fine) + 0.5) * np.pi / (12 * fine)
    zz, pp = np.meshgrid(mid_z, mid_phi, indexing="ij")
    s = np.sqrt(1.0 - zz**2)
    towards = np.stack([s * np.cos(pp), s * np.sin(pp), zz], axis=-1).reshape(-1, 3)
    points = np.column_stack([np.full(64, 0.3), (np.arange(64) + 0.5) / 64])
    light = _shine(source, points, towards).reshape(24, fine, 24, fine).sum(axis=(1, 3))
    light *= 4.0 * np.pi / (24 * fine) ** 2
    assert light.sum() == pytest.approx(1.0, abs=2e-3)
    seen = light > 1e-7
    assert counts[~seen].sum() <= 3
    same_counts(counts[seen], N * light[seen] / light[seen].sum(), level=1e-6)


# More light towards azimuth 0, and some towards 90: a lamp without any symmetry.
LEANING = (
    "IESNA:LM-63-2002\nTILT=NONE\n1 -1 1 3 5 1 2 0 0 0\n1 1 9\n0 45 90\n0 90 180 270 360\n"
    "9 9 0  9 6 0  9 1 0  9 2 0  9 9 0\n"
)


def mean_direction(more: str, folder, turn="0 deg", tilt="0 deg") -> np.ndarray:
    text = LAMP.format(shape="bar", deep="5 cm", more=more)
    text = text.replace('turn = "30 deg"', f'turn = "{turn}"').replace('tilt = "25 deg"', f'tilt = "{tilt}"')
    source = build_lamps(from_text(text, folder)).sources[0]
    return _emit(source, np.random.default_rng(1).random((N, 4)))[:, 3:].mean(axis=0)


def test_azimuth_0_looks_along_x_and_90_to_the_back(tmp_path):
    """First moments of the light: exact sums over the beam against photons, for three ways of turning the lamp."""
    (tmp_path / "lamp.ies").write_text(LEANING)
    beam = given([0, 45, 90], [0, 90, 180, 270], [[9, 9, 0], [9, 6, 0], [9, 1, 0], [9, 2, 0]])
    edges = np.linspace(0.0, 90.0, 91), np.linspace(0.0, 360.0, 361)
    light = light_in_bins(beam, *edges, fine=3) / beam.flux
    v, a = (np.radians(0.5 * (edge[1:] + edge[:-1])) for edge in edges)
    along = light @ np.cos(a) @ np.sin(v)
    back = light @ np.sin(a) @ np.sin(v)
    down = light.sum(axis=1) @ np.cos(v)
    assert along > back > 0.05
    near = {"abs": 4.0 / np.sqrt(N)}
    file = 'beam = { file = "lamp.ies" }'
    assert mean_direction(file, tmp_path) == pytest.approx([along, back, -down], **near)
    # A quarter turn anticlockwise, seen from above: what looked right looks back, what looked back looks left.
    quarter = pytest.approx([-back, along, -down], **near)
    assert mean_direction(file, tmp_path, turn="90 deg") == quarter
    assert mean_direction('beam = { file = "lamp.ies", turn = "90 deg" }', tmp_path) == quarter
    # Tilted by a right angle to the left, its axis looks left, and what looked left looks up.
    assert mean_direction(file, tmp_path, tilt="90 deg") == pytest.approx([-down, back, -along], **near)
