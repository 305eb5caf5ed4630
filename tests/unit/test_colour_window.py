"""Colour windows against temperatures computed by colour-science."""

from __future__ import annotations

import numpy as np
import pytest

from underlit import spectra
from underlit.constants import UMOL_PER_J_NM
from underlit.errors import StudyError
from underlit.metrics import colour
from underlit.metrics.colour_window import ColourWindow, nearest_k
from underlit.spectra.observer import tristimulus


def xyz_of(spectrum):
    return tristimulus(spectrum / (UMOL_PER_J_NM * spectra.GRID_NM))


def mixes(n=60):
    """White, warm, blue, red and green light in random amounts, as far as they have a colour temperature."""
    rng = np.random.default_rng(3)
    names = ("white 6500 K", "warm white 3000 K", "blue 450", "red 660", "green 525")
    parts = np.array([spectra.lamp(name).value for name in names])
    for weights in rng.exponential([1, 1, 0.2, 0.3, 0.2], (n, 5)):
        spectrum = weights @ parts
        try:
            cct_k, duv = colour.cct_duv(spectrum)
        except StudyError:
            continue
        if 1600 < cct_k < 15_000:
            yield spectrum, cct_k, duv


def test_temperature_agrees_with_colour_science():
    found = [(nearest_k(xyz_of(spectrum)), cct_k) for spectrum, cct_k, _ in mixes()]
    assert len(found) > 30
    for mine, theirs in found:
        assert mine == pytest.approx(theirs, rel=0.003)


def test_inside_is_inside_and_outside_is_outside():
    """Each bound, a little to either side of it. Straight lines, so any amount of light will do."""
    for spectrum, cct_k, duv in mixes():
        xyz = xyz_of(spectrum)
        for scale in (1.0, 1e3):
            inside = ColourWindow(0.99 * cct_k, 1.01 * cct_k, abs(duv) + 5e-4).rows(cct_k)
            assert all(row @ xyz * scale > 0 for row in inside.values())
        assert ColourWindow(1.01 * cct_k, 1.1 * cct_k).rows(cct_k)["warmer"] @ xyz < 0
        assert ColourWindow(0.9 * cct_k, 0.99 * cct_k).rows(cct_k)["cooler"] @ xyz < 0
        if abs(duv) > 1e-3:
            tight = ColourWindow(0.9 * cct_k, 1.1 * cct_k, abs(duv) - 5e-4).rows(cct_k)
            assert tight["greener" if duv > 0 else "pinker"] @ xyz < 0


@pytest.mark.parametrize("limits", [(7500, 5500), (500, 6000), (5000, 90_000), (5500, 7500, 0.0)])
def test_impossible_windows_are_refused(limits):
    with pytest.raises(StudyError, match="expected"):
        ColourWindow(*limits)
