"""The picture of docs/physics.md: light on the soil beside a pane, against its lamp and the image of that lamp."""

from __future__ import annotations

import runpy
import sys
from pathlib import Path

import numpy as np
import pytest

SCRIPT = Path(__file__).parents[2] / "docs" / "gallery" / "law_of_the_wall.py"

pytestmark = [pytest.mark.validation, pytest.mark.statistical]


@pytest.fixture(scope="module")
def beside():
    """Traced curves by name, and the expected ones: all reflected, Fresnel alone, lamp alone."""
    script = runpy.run_path(str(SCRIPT))
    traced = {curve.name: curve for curve in script["traced"](0.05)}
    return traced, [curve.y for curve in script["expected"](traced["clean"].x)]


def test_clean_and_dry_panes_are_mirrors(beside):
    """Twenty places with errors of 0.3 %; the quadrature leaves out that the pane is 2 mm thick."""
    traced, (whole, fresnel, _) = beside
    for name in ("clean", "black film, dry"):
        curve = traced[name]
        assert np.abs((curve.y - whole) / np.hypot(curve.std_err, 0.004 * whole)).max() < 4.5
        assert curve.y.sum() == pytest.approx(whole.sum(), rel=0.006)
        assert curve.y[0] > 1.7 * fresnel[0]


def test_a_bonded_black_film_leaves_what_water_on_glass_reflects(beside):
    """Its own 4 % add about a hundredth; without Fresnel's share a tenth would be missing at the pane's foot."""
    traced, (_, fresnel, alone) = beside
    curve = traced["black film, bonded"]
    assert curve.y.sum() == pytest.approx(1.01 * fresnel.sum(), rel=0.007)
    assert curve.y[0] > 1.08 * alone[0]


def test_mirror_and_white_lie_between(beside):
    traced, _ = beside
    black, white, mirror, clean = (
        traced[name].y.sum()
        for name in ("black film, bonded", "white film, bonded", "mirror film, bonded", "clean")
    )
    assert black < white < mirror < clean


def test_the_picture_is_made(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["law_of_the_wall.py", "--folder", str(tmp_path), "--share", "0.002"])
    runpy.run_path(str(SCRIPT), run_name="__main__")
    assert (tmp_path / "law-of-the-wall.png").read_bytes().startswith(b"\x89PNG")
