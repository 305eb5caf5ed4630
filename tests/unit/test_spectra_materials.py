"""Glass, surfaces, leaves, plant bands, cautions: names, forms, limits."""

from __future__ import annotations

import numpy as np
import pytest

from underlit.errors import DataError
from underlit.spectra import (
    GRID_NM,
    cautions,
    glass,
    glass_names,
    leaf,
    leaf_names,
    plant_bands,
    surface_names,
    surface_reflectance,
    water_absorption_per_m,
    water_density_kg_m3,
    water_types,
)


@pytest.mark.parametrize("name", surface_names())
def test_surfaces_reflect_part_of_the_light(name):
    reflectance = surface_reflectance(name, GRID_NM)
    assert reflectance.shape == GRID_NM.shape
    assert np.all((reflectance > 0.0) & (reflectance < 0.9))


@pytest.mark.parametrize(
    ("spec", "expected"),
    [
        (0.05, [0.05, 0.05, 0.05]),
        ([[450, 0.1], [550, 0.2], [650, 0.4]], [0.1, 0.3, 0.4]),
        ({"reflectance": 0.3}, [0.3, 0.3, 0.3]),
        ({"reflectance": [[400, 0.1], [700, 0.4]]}, [0.1, 0.3, 0.4]),
        ({"file": "wood.csv"}, [0.2, 0.35, 0.4]),
        ("wood.csv", [0.2, 0.35, 0.4]),
    ],
)
def test_forms_of_a_surface(spec, expected, tmp_path):
    (tmp_path / "wood.csv").write_text("wavelength_nm,reflectance\n400,0.2\n700,0.425\n710,0.4\n")
    got = surface_reflectance(spec, [400, 600, 720], tmp_path)
    np.testing.assert_allclose(got, expected, atol=1e-12)


@pytest.mark.parametrize(
    ("spec", "match"),
    [
        ("grey stone", "Nearest: .*grey rock"),
        (1.2, "expected 0 to 1"),
        (float("nan"), "expected 0 to 1"),
        ([[450, 0.1], [440, 0.2]], "increase"),
        ([0.1, 0.2, 0.3], "list of"),
        (None, "list of"),
        ({"colour": "red"}, "expected either `reflectance` or `file`"),
        ({"file": "none.csv"}, "no such file"),
    ],
)
def test_what_is_not_a_surface(spec, match):
    with pytest.raises(DataError, match=match):
        surface_reflectance(spec, [500.0])


@pytest.mark.parametrize("name", leaf_names())
def test_leaves_neither_gain_nor_lose(name):
    reflectance, transmittance = leaf(name, GRID_NM)
    assert np.all(reflectance >= 0.0)
    assert np.all(transmittance >= 0.0)
    assert np.all(reflectance + transmittance <= 1.0)


def test_own_leaf_and_glass(tmp_path):
    (tmp_path / "leaf.csv").write_text("wavelength_nm,reflectance,transmittance\n400,0.1,0.2\n700,0.2,0.4\n")
    reflectance, transmittance = leaf("leaf.csv", [550.0], tmp_path)
    assert (reflectance[0], transmittance[0]) == pytest.approx((0.15, 0.3))
    (tmp_path / "pane.csv").write_text("wavelength_nm,n,a_per_m\n400,1.53,4\n700,1.51,20\n")
    index, absorption = glass("pane.csv", [550.0], tmp_path)
    assert (index[0], absorption[0]) == pytest.approx((1.52, 12.0))


def test_impossible_leaf_and_glass(tmp_path):
    (tmp_path / "leaf.csv").write_text("wavelength_nm,reflectance,transmittance\n400,0.6,0.6\n700,0.2,0.4\n")
    with pytest.raises(DataError, match="more than it receives"):
        leaf("leaf.csv", [400.0], tmp_path)
    (tmp_path / "pane.csv").write_text("wavelength_nm,n,a_per_m\n400,0.5,4\n")
    with pytest.raises(DataError, match="expected 1 to 3"):
        glass("pane.csv", [550.0], tmp_path)


def test_unknown_names():
    with pytest.raises(DataError, match="no glass is called `flot`"):
        glass("flot", [500.0])
    with pytest.raises(DataError, match="no leaf is called"):
        leaf("needle", [500.0])
    assert glass_names() == ["float", "low-iron", "acrylic"]


def test_water_refuses_what_it_cannot_know():
    with pytest.raises(DataError, match="380-780"):
        water_absorption_per_m([300.0])
    with pytest.raises(DataError, match="a440"):
        water_absorption_per_m([500.0], -1.0)
    with pytest.raises(DataError, match="0-40 degC"):
        water_density_kg_m3(60.0)


def test_presets_are_complete():
    names = "pure clear straw light-tea tea blackwater green cloudy bubble-mist"
    assert list(water_types()) == [name.replace("-", " ") for name in names.split()]
    for water in water_types().values():
        assert 0.0 <= water.asymmetry < 1.0
        assert water.scattering_per_m > 0.0


def test_bands_climb():
    bands = plant_bands()
    assert list(bands) == ["very low", "low", "medium", "high", "show"]
    for band in bands.values():
        assert 0 < band.low < band.high
    assert bands["high"].ceiling_without_co2 is None
    assert bands["medium"].ceiling_without_co2 == 60


def test_the_short_caution_says_what_the_program_is_not():
    assert "not an electrical, structural or biological safety check" in cautions()["short"]
    assert all(text and "\n" not in text for text in cautions().values())
