"""Every photon is accounted for by name, whatever the scene (GE-13)."""

from pathlib import Path

import numpy as np
import pytest

from full_scene import EVERYTHING
from underlit.scene.loader import from_text, load_scene
from underlit.tracer import trace

pytestmark = pytest.mark.validation

DRY = """
[tank]
length = "30 cm"
width = "20 cm"
height = "20 cm"
[tank.lid]
material = "acrylic"
condition = "condensation"
[water]
level = "0 cm"
[substrate]
depth = "4 cm"
[[plant]]
name = "carpet"
from = ["0 cm", "0 cm"]
to = ["30 cm", "20 cm"]
canopy = { height = "2 cm", leaf_area_index = [0.5, 2] }
[[fixture]]
shape = "disc"
size = "12 cm"
height = "6 cm"
height_above = "rim"
channel = [{ spectrum = "LED-B3", power = "9 W", efficacy = "2 umol/J" }]
"""

BARE = """
[tank]
length = "30 cm"
width = "20 cm"
height = "20 cm"
[tank.panes]
bottom = "clean"
[substrate]
depth = "0 cm"
[[fixture]]
shape = "pendant"
size = "4 cm"
height = "20 cm"
channel = [{ spectrum = "white 4000 K", power = "9 W", lumens = "700 lm", beam = "40 deg" }]
"""


@pytest.mark.parametrize("text", [EVERYTHING, DRY, BARE], ids=["everything", "dry start", "bare bottom"])
@pytest.mark.parametrize("photons", [5_000, 300_000])
def test_budget_sums_to_one(text, photons):
    result = trace(from_text(text), photons=photons, seed=3, threads=2)
    total = result.budget.share.sum(axis=2)
    assert np.abs(total - 1.0).max() < 1e-9
    assert np.isfinite(result.budget.share).all()


SHIPPED = sorted((Path(__file__).parents[2] / "scenes").glob("*/scene.toml"))


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.parent.name)
def test_budget_of_a_shipped_scene_sums_to_one(path):
    result = trace(load_scene(path), photons=20_000, seed=3, threads=2)
    assert np.abs(result.budget.share.sum(axis=2) - 1.0).max() < 1e-9


def test_there_are_shipped_scenes():
    assert len(SHIPPED) >= 6


def test_every_end_of_a_photon_is_met():
    """The scene with everything uses every entry of the budget, so that the sum above means something."""
    result = trace(from_text(EVERYTHING), photons=300_000, seed=3, threads=2)
    mean = dict(zip(result.budget.names, result.budget.share.mean(axis=(0, 1, 3)), strict=True))
    never = {f"out of the {side} pane" for side in ("left", "right", "back", "bottom")} | {"cut off"}
    assert {name for name, share in mean.items() if share == 0.0} == never
    assert abs(mean.pop("roulette balance")) < 0.01
    assert all(share >= 0.0 for share in mean.values())
