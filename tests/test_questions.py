"""The recipes of docs/questions, run as a reader would, with fewer photons: they work, and say what the pages say."""

from __future__ import annotations

import math
import re
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PHOTONS = "300000"
# Combined errors that are beyond any odds; more where errors come from 8 replicates: Student's t with 7 degrees of
# freedom goes past 6 once in 2,000 numbers, past 9 once in 20,000.
BEYOND_ODDS, WITH_FEW_REPLICATES = 6.0, {"home-made-bars": 9.0}
NUMBER = re.compile(r"(-?\d+(?:\.\d+)?(?:e-?\d+)?) ± (\d+(?:\.\d+)?(?:e-?\d+)?)")

sys.path.insert(0, str(ROOT / "docs" / "questions"))
import recipes  # noqa: E402

# Not compared: a list whose rows come and go with the noise, and light at settings that are themselves found anew.
LOOSE = {"Ground in the shade", "What the zones get then"}
PAGES = recipes.pages()


def places(text: str) -> float:
    """Unit of the last digit of a number as it is written."""
    digits, _, exponent = text.partition("e")
    return 10.0 ** (int(exponent or 0) - len(digits.partition(".")[2]))


def numbers(table: str) -> list[tuple[float, float, float]]:
    """Value, error, and unit of the last digit of every `value ± error` of a table."""
    return [(float(value), float(error), places(value)) for value, error in NUMBER.findall(table)]


def disagreement(printed: str, found: str) -> float:
    """Largest difference of two tables in their combined errors; what rounding may do is allowed."""
    pairs = zip(numbers(printed), numbers(found), strict=True)
    worst = 0.0
    for (a, error_a, unit_a), (b, error_b, unit_b) in pairs:
        allowed = 0.5 * (unit_a + unit_b)
        worst = max(worst, max(0.0, abs(a - b) - allowed) / math.hypot(error_a, error_b))
    return worst


@pytest.fixture(scope="module", params=PAGES, ids=lambda page: page.stem)
def played(request):
    """A page with what its blocks printed, run once: [(step, printed)]."""
    with recipes.workplace():
        yield request.param, [(step, recipes.run(step, PHOTONS)) for step in recipes.steps(request.param)]


@pytest.mark.statistical
def test_a_recipe_works_and_its_numbers_stand(played):
    """Some 20 to 60 numbers a page, shown to a digit of their error."""
    page, outcome = played
    checked = 0
    for step, printed in outcome:
        found, shown = recipes.tables(printed), recipes.tables(step.shown)
        assert list(shown) == list(step.titles), f"{page.name}: run docs/questions/recipes.py"
        for title in step.titles:
            assert title in found, f"{page.name}: no table `{title}`"
            if title not in LOOSE:
                assert len(numbers(shown[title])) == len(numbers(found[title])), title
                bound = WITH_FEW_REPLICATES.get(page.stem, BEYOND_ODDS)
                assert disagreement(shown[title], found[title]) < bound, title
                checked += len(numbers(found[title]))
    assert checked >= 8


def column(table: str, start: str, which: int = 0) -> float:
    """A number of the row that starts so."""
    (row,) = (line for line in table.splitlines() if line.startswith(start))
    return numbers(row)[which][0]


def shown(page: str, title: str, which: int = 0) -> str:
    steps = recipes.steps(ROOT / "docs" / "questions" / f"{page}.md")
    found = [recipes.tables(step.shown)[title] for step in steps if title in step.titles]
    return found[which]


def test_cube_dims_to_63_and_bears_a_lid():
    assert 62 < column(shown("kitchen-cube", "Dim to"), "clip-on   white") < 65
    zones, lids = shown("kitchen-cube", "What the zones get then"), shown("kitchen-cube", "Sweep")
    assert column(zones, "moss", 1) == pytest.approx(40, abs=0.5)
    assert 50 < column(zones, "carpet") < 60
    assert column(lids, "neglected", 2) >= 60
    assert column(lids, "clean", 2) == pytest.approx(91.3 * 7 / 8, rel=0.02)


def test_slope_wants_a_low_bar_and_is_bare_between_two_stones():
    heights = shown("rock-slope", "Sweep")
    for number, even, room in (("10 cm", 0.85, 28), ("20 cm", 0.70, 52), ("30 cm", 0.72, 67)):
        assert column(heights, number, 1) / column(heights, number) == pytest.approx(even, abs=0.02)
        assert column(heights, number, 4) == pytest.approx(room, abs=1)
    assert 0.5 < 95 / column(heights, "10 cm") < 0.6
    ground = shown("rock-slope", "Ground in the shade").splitlines()[3]
    assert "main stone" in ground and "second stone" in ground
    assert numbers(ground)[1][0] == pytest.approx(12.5, abs=1)


def test_driftwood_needs_one_bar():
    plants, lamps = shown("driftwood", "What the plants get"), shown("driftwood", "The lamps")
    for zone in ("under the wood", "carpet", "stems", "on the branches"):
        one, two = (numbers(next(r for r in plants.splitlines() if r.startswith(bars) and zone in r))[0]
                    for bars in ("one bar", "two bars"))  # fmt: skip
        assert one[0] > two[0] - 2 * math.hypot(one[1], two[1])
    assert column(lamps, "one bar") < column(lamps, "two bars")
    assert column(shown("driftwood", "Light at the spots"), "PPFD") > 60
    sights = [shown("driftwood", "What shades it: straight light", which) for which in (0, 1)]
    (one,) = (numbers(row)[1][0] for row in sights[0].splitlines() if "driftwood " in row)
    both = [numbers(row)[1][0] for row in sights[1].splitlines() if "driftwood " in row]
    assert one == pytest.approx(40, abs=2) and max(both) < 25


def test_bank_wants_the_long_bar():
    plants, lamps = shown("shallow-bank", "What the plants get"), shown("shallow-bank", "The lamps")
    assert column(plants, "long bar   marsh plants") > 100 > column(plants, "pendants   marsh plants")
    assert column(plants, "short      carpet", 1) / column(plants, "short      carpet") < 0.4
    assert column(plants, "long bar   carpet", 1) / column(plants, "long bar   carpet") > 0.7
    assert column(lamps, "pendants") > 50 > 38 > column(lamps, "long bar")
    straight = shown("shallow-bank", "What shades it: straight light")
    assert all(row.rstrip().endswith("100") for row in straight.splitlines() if "the spot " in row)


def test_blackwater_wants_warm_light():
    cool, warm, red = (column(shown("blackwater", "Dim to", which), "all") for which in range(3))
    assert cool == pytest.approx(17, abs=0.5)
    assert warm == pytest.approx(15, abs=0.5)
    assert red == pytest.approx(11.5, abs=0.5)
    waters = shown("blackwater", "a440 [1/m]   cool white [W]   warm white [W]")
    assert column(waters, "0.3") == pytest.approx(column(waters, "0.3", 1), rel=0.05)
    assert column(waters, "8.0") > 1.15 * column(waters, "8.0", 1)


def test_two_bars_with_narrow_lenses_are_enough():
    table = shown(
        "home-made-bars", "bars   lens   height   stripes   into the room [%]   carpet   carpet per W"
    )
    rows = {
        tuple(row.split("   ")[:3]): [value for value, _, _ in numbers(row)] for row in table.splitlines()[1:]
    }
    assert len(rows) == 12
    assert all(index == pytest.approx(0.063, abs=0.012) for index, *_ in rows.values())
    assert max(rows, key=lambda key: rows[key][3]) == ("4", "60 deg", "15 cm")
    assert rows["4", "60 deg", "15 cm"][1] < 10 < 27 < rows["4", "120 deg", "15 cm"][1]
    assert 80 < rows["2", "60 deg", "15 cm"][2] < 150


def test_the_comparison_can_fail():
    assert disagreement("a 10.0 ± 0.1", "a 10.9 ± 0.1") == pytest.approx(0.8 / math.hypot(0.1, 0.1))
    assert disagreement("a 10 ± 1", "a 30 ± 2") > 6
    assert disagreement("a 10 ± 1  b 5 ± 1", "a 10 ± 1  b 5 ± 1") == 0
    with pytest.raises(ValueError, match="argument"):
        disagreement("a 10 ± 1", "a 10 ± 1  b 5 ± 1")
