"""Photometric files against independent readers and integrations.

Readers: photompy (LM-63; MIT), eulumdat-py (EULUMDAT; MIT) and eulumdat-ies (LM-63; MIT). Real files: the samples
inside an installed luxpy (GPLv3), read where they lie; those tests are skipped where it is not installed.
"""

from __future__ import annotations

import importlib.util
import warnings
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from underlit.photometry import Opening, read_distribution
from underlit.photometry.lm63 import parse_lm63

pytestmark = pytest.mark.validation

SAMPLES = ("luxpy_test_lid_file.ies", "luxpy_test_lid_file2b.ies", "luxpy_test_lid_file2t.ies")


def sample(name: str) -> Path:
    """A sample file of luxpy; the package itself is not imported."""
    found = importlib.util.find_spec("luxpy")
    if found is None or found.origin is None:
        pytest.skip("luxpy is not installed")
    path = Path(found.origin).parent / "toolboxes" / "iolidfiles" / "data" / name
    if not path.exists():
        pytest.skip(f"this luxpy has no {name}")
    return path


def by_photompy(path: Path):
    photompy = pytest.importorskip("photompy")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of first lines other than IESNA
        return photompy.IESFile.read(path, strict=False).photometry


def flux_of(vertical_deg, azimuth_deg, intensity) -> float:
    """Another way to the flux: bilinear values at the middles of fine cells of the sphere, times their solid angle."""
    closed = np.append(azimuth_deg, azimuth_deg[0] + 360.0)
    value = RegularGridInterpolator((closed, vertical_deg), np.vstack([intensity, intensity[:1]]))
    edges = np.linspace(vertical_deg[0], vertical_deg[-1], 1801)
    middle = 0.5 * (edges[1:] + edges[:-1])
    phi = azimuth_deg[0] + (np.arange(720) + 0.5) * 0.5
    mean = value(tuple(np.meshgrid(phi, middle, indexing="ij"))).mean(axis=0)
    return float(2.0 * np.pi * mean @ -np.diff(np.cos(np.radians(edges))))


# --- Lambertian ----------------------------------------------------------------------------------------


def lambertian() -> str:
    vertical = np.arange(0, 91, 5)
    candela = 1000.0 / np.pi * np.cos(np.radians(vertical))
    return (
        f"IESNA:LM-63-2002\n[TEST] none\nTILT=NONE\n1 -1 1 {len(vertical)} 1 1 2 0 0 0\n1 1 1\n"
        + " ".join(map(str, vertical))
        + "\n0\n"
        + " ".join(f"{x:.8f}" for x in candela)
        + "\n"
    )


def test_lambertian_flux(tmp_path):
    """I0 = 1000/pi cd in 5 deg steps: 1000 lm in truth; 999.36 lm by the exact integral of straight lines between the
    angles; 1000.0 by zones with the mean of their ends; 999.05 lm by photompy 0.3.1."""
    read = parse_lm63(lambertian(), "lambertian.ies")
    assert read.flux == pytest.approx(999.36, abs=0.005)
    theta, row = np.radians(read.vertical_deg), read.intensity[0]
    zones = 2.0 * np.pi * 0.5 * (row[1:] + row[:-1]) @ -np.diff(np.cos(theta))
    assert zones == pytest.approx(1000.0, abs=0.05)
    path = tmp_path / "lambertian.ies"
    path.write_text(lambertian())
    assert by_photompy(path).total() == pytest.approx(read.flux, rel=1e-3)


# --- real LM-63 files ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SAMPLES)
def test_flux_of_real_files_against_photompy(name):
    read, other = read_distribution(sample(name)), by_photompy(sample(name))
    assert read.flux == pytest.approx(other.total(), rel=1e-3)
    assert read.intensity.max() == other.max()


@pytest.mark.parametrize("name", (*SAMPLES, "luxpy_test_lid_file.ldt"))
def test_flux_of_real_files_by_another_quadrature(name):
    read = read_distribution(sample(name))
    assert read.flux == pytest.approx(flux_of(read.vertical_deg, read.azimuth_deg, read.intensity), rel=1e-5)


@pytest.mark.parametrize("name", SAMPLES)
def test_intensity_between_the_angles_against_photompy(name):
    """Over the whole turn: photompy's own unfolding of the symmetry, and its interpolation."""
    read, other = read_distribution(sample(name)), by_photompy(sample(name)).expanded()
    rng = np.random.default_rng(1)
    vertical, azimuth = rng.uniform(0.0, 90.0, 4000), rng.uniform(0.0, 360.0, 4000)
    np.testing.assert_allclose(
        read.at(vertical, azimuth), other.get_intensity(vertical, azimuth), rtol=1e-9, atol=1e-9
    )


def test_published_figures_of_a_real_file():
    """luxpy 1.12.5, LM-63-1995: 5280.6 lm (photompy), at most 1536.42 cd, 1204.86 cd straight down, 6000 rated lm."""
    read = read_distribution(sample("luxpy_test_lid_file.ies"))
    assert read.flux == pytest.approx(5280.6, abs=0.1)
    assert read.intensity.max() == 1536.42
    assert read.at(0.0, 0.0) == pytest.approx(1204.86)
    assert (read.rated_lumens, read.watts) == (6000.0, 43.5)
    assert (read.opening.along_m, read.opening.across_m) == (1.966, 0.080)


def test_against_a_third_reader():
    eulumdat_ies = pytest.importorskip("eulumdat_ies")
    for name in SAMPLES:
        read, other = read_distribution(sample(name)), eulumdat_ies.ies_to_ldt(sample(name))
        scale = 1e-3 * other.header.lamp_flux[0]
        for azimuth, row in zip(other.header.c_angles, other.intensities, strict=True):
            np.testing.assert_allclose(
                read.at(other.header.g_angles, azimuth), scale * np.array(row), rtol=1e-9
            )


# --- real and written EULUMDAT files -------------------------------------------------------------------


def test_real_eulumdat_file_against_another_reader():
    pyldt = pytest.importorskip("pyldt")
    path = sample("luxpy_test_lid_file.ldt")
    read, other = read_distribution(path), pyldt.LdtReader.read(path)
    head = other.header
    candela = 1e-3 * head.lamp_flux[0] * np.array(other.intensities)
    np.testing.assert_allclose(read.azimuth_deg, head.c_angles)
    np.testing.assert_allclose(read.intensity, candela, rtol=1e-12)
    assert read.flux == pytest.approx(
        flux_of(np.array(head.g_angles), np.array(head.c_angles), candela), rel=1e-3
    )
    # What the file itself says of its light.
    assert 100 * read.flux / head.lamp_flux[0] == pytest.approx(head.lorl, abs=0.1)
    assert 100 * read.downward_share == pytest.approx(head.dff, abs=0.1)


def test_one_lamp_in_both_formats():
    one, two = (read_distribution(sample(f"luxpy_test_lid_file.{ending}")) for ending in ("ies", "ldt"))
    assert one.flux == pytest.approx(two.flux, rel=1e-4)
    np.testing.assert_allclose(one.intensity, two.intensity, atol=1e-3 * one.intensity.max())
    assert one.opening == two.opening


def plain_lamp(azimuth_deg, vertical_deg, symmetry):
    """Intensities [cd/klm] with the symmetry of a EULUMDAT flag."""
    theta, phi = np.radians(vertical_deg)[None, :], np.radians(azimuth_deg)[:, None]
    along, across = {0: (0.6, 0.3), 1: (0, 0), 2: (0.6, 0), 3: (0, 0.6), 4: (0, 0)}[symmetry]
    quad = 0.0 if symmetry == 1 else 0.3
    side = np.sin(theta)
    return 100 * (
        1.4 + np.cos(theta) + side * (along * np.cos(phi) + across * np.sin(phi) + quad * np.cos(2 * phi))
    )


@pytest.mark.parametrize("symmetry", range(5))
def test_eulumdat_written_by_another_package(symmetry, tmp_path):
    pyldt = pytest.importorskip("pyldt")
    azimuth, vertical = np.arange(0, 360, 15.0), np.arange(0, 181, 5.0)
    value = plain_lamp(azimuth, vertical, symmetry)
    head = pyldt.LdtHeader(
        company="none", ityp=2, isym=symmetry, mc=24, dc=15.0, ng=37, dg=5.0, luminaire_name="bar",
        conv_factor=1.0, n_sets=1, num_lamps=[1], lamp_types=["LED"], lamp_flux=[2000.0], lamp_cct=["6500"],
        lamp_cri=["80"], lamp_watt=[18.0], direct_ratios=[0.5] * 10,
        c_angles=azimuth.tolist(), g_angles=vertical.tolist(),
    )  # fmt: skip
    path = pyldt.LdtWriter.write(pyldt.Ldt(head, value.tolist()), tmp_path / "bar.ldt")
    read = read_distribution(path)
    np.testing.assert_allclose(read.at(vertical[None, :], azimuth[:, None]), 2.0 * value, rtol=1e-6)
    assert read.flux == pytest.approx(2.0 * flux_of(vertical, azimuth, value), rel=1e-5)
    assert (read.watts, read.rated_lumens) == (18.0, 2000.0)


@pytest.mark.parametrize(("symmetry", "last"), [(0, 360), (2, 180), (4, 90), (1, 0)])
def test_lm63_written_by_another_package(symmetry, last, tmp_path):
    """An asymmetric lamp among them: no plane may be mistaken for its mirror image."""
    photompy = pytest.importorskip("photompy")
    azimuth, vertical = np.arange(0, last + 1, 15.0), np.arange(0, 181, 5.0)
    shape = photompy.Photometry(
        vertical, azimuth, plain_lamp(azimuth, vertical, symmetry), photompy.PhotometricType.C
    )
    words = {"manufacturer": "none", "lumcat": "1", "test": "2", "testlab": "3", "issuedate": "2026-01-01"}
    photompy.IESFile.from_photometry(shape, width=0.06, length=0.54, input_watts=18.0, **words).write(
        tmp_path / "bar.ies"
    )
    read = read_distribution(tmp_path / "bar.ies")
    turn = np.arange(0, 360, 15.0)
    expected = plain_lamp(turn, vertical, symmetry)
    np.testing.assert_allclose(
        read.at(vertical[None, :], turn[:, None]), expected, atol=1e-3 * expected.max()
    )
    assert read.opening == Opening("rectangle", along_m=0.54, across_m=0.06)
    assert read.watts == 18.0
