"""Shade of a ball whose shadow is known, the scene without hardscape, and who stands in the way."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

import synthetic
from underlit.errors import StudyError
from underlit.metrics import shade, zones
from underlit.metrics.answers import shade_answer
from underlit.metrics.estimate import Estimate
from underlit.scene import load_scene, scene_from_text
from underlit.scene.bare import without_hardscape

SCENES = sorted((Path(__file__).parents[2] / "scenes").glob("*/*.toml"))


@pytest.fixture(scope="module")
def res():
    return synthetic.result(photons=100_000)


@pytest.fixture(scope="module")
def bare(res):
    """The same lamps over the same tank without the ball."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(synthetic, "BALL_RADIUS_M", 1e-9)
        made = synthetic.result(photons=100_000)
    surfaces = {name: s for name, s in made.surfaces.items() if not name.startswith("hardscape")}
    return dataclasses.replace(made, surfaces=surfaces)


def test_shadow_has_its_known_depth(res, bare):
    """In the full shadow of the ball the made-up transport keeps a fifth of the light, elsewhere all of it."""
    found = shade.shade(res, bare)
    soil = res.surfaces["soil"]
    ray = [lamp - soil.cell_centre_m for lamp in synthetic.LAMPS_M]
    dark = np.all([synthetic._shaded(soil, r) for r in ray], axis=0)[found.cells]
    lit = ~np.any([synthetic._shaded(soil, r) for r in ray], axis=0)[found.cells]
    whole = np.isclose(found.area_m2, 1e-4)
    assert dark[whole].sum() > 3
    weights = found.area_m2
    for which, expected in ((dark & whole, 0.2), (lit & whole, 1.0)):
        mean = found.factor[np.flatnonzero(which)].dot(weights[which] / weights[which].sum())
        assert mean.value == pytest.approx(expected, abs=max(4 * mean.std_err, 0.01))


def test_zones_lose_what_their_maps_lose(res, bare):
    found = shade.shade(res, bare)
    carpet = zones.find_zones(res)[0]
    over = found.over(carpet)
    with_it = zones.report(res, carpet).mean
    without = zones.report(bare, zones.find_zones(bare)[0]).mean
    assert over.with_it.value == pytest.approx(with_it.value, rel=1e-9)
    assert over.factor.value == pytest.approx(with_it.value / without.value, rel=1e-2)
    everything = found.over()
    assert 0.9 < everything.factor.value < 1.0
    assert 0.0 < everything.dark_share.value < 0.1


def test_dark_ground_is_found_where_the_shadow_lies(res):
    text = res.scene_text.replace("band = [50, 90]\ntarget = 60", "band = [40, 90]\ntarget = 60")
    text = text.replace(
        'from = ["5 cm", "3 cm"]\nto = ["55 cm", "12 cm"]', 'from = ["0 cm", "0 cm"]\nto = ["60 cm", "30 cm"]'
    )
    whole = dataclasses.replace(res, scene_text=text)
    carpet = zones.find_zones(whole)[0]
    patches = shade.dark_patches(whole, carpet)
    assert patches == sorted(patches, key=lambda p: -p.area_m2)
    assert all(p.ppfd.value < 40 for p in patches)
    near = [p for p in patches if np.hypot(p.x_m - 0.40, p.y_m - 0.17) < 0.06]
    assert near and near[0].ppfd.value < 30
    assert shade.dark_patches(whole, carpet, 10.0) == [] or len(
        shade.dark_patches(whole, carpet, 10.0)
    ) < len(patches)


def test_shaded_ground_is_found_behind_the_ball(res, bare):
    """Shadows of two lamps; in both the ground keeps about a fifth of what that lamp gives."""
    patches = shade.shaded_patches(res, bare)
    assert patches and patches[0].area_m2 > 5e-4
    found = shade.shade(res, bare)
    dark = float(found.over().dark_share.value) * found.area_m2.sum()
    assert (
        0.4 * dark < sum(patch.area_m2 for patch in patches) < 1.1 * dark
    )  # averaging eats the edge of a shadow
    for patch in patches:
        assert patch.left.value < 0.5
        assert patch.ppfd.value > 0
    seen = []

    def look(spot):
        seen.append(spot.place_m)
        half, whole = Estimate.exact(0.5, 2), Estimate.exact(40.0, 2)
        return [shade.Sight("bar", whole, half, {"ball": half}), shade.Sight("clip", whole, half * 2)]

    rows = shade_answer(res, bare, look=look)["shaded ground"].rows
    assert rows[0]["in the way"] == "ball 25 %"
    assert seen[0][0] == pytest.approx(patches[0].x_m)


def test_another_tank_is_no_comparison(res):
    with pytest.raises(StudyError, match="not of the same tank"):
        shade.shade(res, synthetic.result(photons=1_000, cell_m=0.02))


def test_tables_name_the_zones(res, bare):
    summary = shade_answer(res, bare)
    assert [row["zone"] for row in summary["shade"].rows] == ["all open ground", "carpet", "background"]


@pytest.mark.parametrize("path", SCENES, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_scenes_without_hardscape_are_whole_scenes(path):
    text = path.read_text(encoding="utf-8")
    full, bare = load_scene(path), scene_from_text(without_hardscape(text), path.parent)
    assert bare.hardscape == ()
    assert [p.name for p in bare.plant] == [p.name for p in full.plant if p.on is None]
    for part in ("tank", "water", "substrate", "fixture", "schedule", "meter", "run", "floaters"):
        assert getattr(bare, part) == getattr(full, part), part
    assert without_hardscape(without_hardscape(text)) == without_hardscape(text)


def test_hardscape_in_one_list_is_refused():
    with pytest.raises(StudyError, match=r"\[\[hardscape\]\]"):
        without_hardscape('hardscape = [{ name = "a" }]\n')
