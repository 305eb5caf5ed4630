"""The page in a browser with no network: it opens, and its numbers are those of the library."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

import browser
import synthetic
from underlit.journal import save_page
from underlit.metrics import colour, ends, maps, summary, zones
from underlit.metrics.estimate import Estimate
from underlit.metrics.spread import quantiles

TOLERANCE = 5e-3
SETTINGS = [1.0, 0.37, 0.62]


def numbers(text):
    return [float(found) for found in re.findall(r"-?\d+(?:\.\d+)?", text)]


def agrees(shown, estimate, factor=1.0):
    """A number as shown, `62 ± 2`, against an estimate: to half a per cent before it was rounded."""
    value, error = factor * float(estimate.value), factor * float(estimate.std_err)
    parts = numbers(shown)
    step = 10.0 ** np.floor(np.log10(parts[1])) if len(parts) > 1 else 0.0
    assert parts[0] == pytest.approx(value, rel=0.0, abs=TOLERANCE * abs(value) + 0.501 * step), shown
    if len(parts) > 1:
        assert parts[1] == pytest.approx(max(error, step), abs=0.7 * step + 0.02 * error), shown


def set_dims(tank, dims):
    for m, dim in enumerate(dims):
        tank.set_slider(f"A-{m}", 100 * dim)


def test_page_opens_without_network_and_without_complaint(tank, page_path):
    for name in (
        "light",
        "front",
        "solid",
        "zones",
        "spot",
        "sections",
        "panes",
        "lamps",
        "ends",
        "tank",
        "inputs",
    ):
        tank.show(name)
    assert tank.faults == []
    assert [url for url in tank.asked if not url.startswith(("file:", "data:", "blob:"))] == []
    assert tank.page.title().startswith("Synthetic tank")
    assert page_path.stat().st_size < 8_000_000


def test_numbers_are_those_of_the_library_after_moving_sliders(tank, res):
    set_dims(tank, SETTINGS)
    tank.show("zones")
    head, *rows = tank.table("zone-table")
    assert len(rows) == len(res.scene.plant)
    for row, zone in zip(rows, zones.find_zones(res), strict=True):
        shown, found = dict(zip(head, row, strict=True)), zones.report(res, zone, SETTINGS)
        assert shown["zone"] == zone.plant.name
        for name, estimate in {
            "P10": found.p10,
            "median": found.median,
            "P90": found.p90,
            "DLI": found.dli,
        }.items():
            agrees(shown[name], estimate)
        agrees(shown["dim all to, %"], found.dim_to)
        assert shown["bound by"] == found.binds
        assert shown["verdict"].split(",")[0] == found.verdict
        assert ("just" in shown["verdict"]) is not found.sure
        for name, share in {"in band, %": found.in_band, "over ceiling, %": found.above_ceiling}.items():
            assert numbers(shown[name])[0] == pytest.approx(100 * share.value, abs=1.0)


@pytest.fixture(scope="module")
def dark():
    """Cells of a few photons."""
    return synthetic.result(photons=300, seed=3)


@pytest.fixture(scope="module")
def dark_page(chromium, dark, tmp_path_factory):
    path = save_page([dark], tmp_path_factory.mktemp("dark") / "dark.html").resolve()
    with browser.Opened(chromium, path) as opened:
        yield opened
    assert opened.faults == []


@pytest.mark.parametrize("dims", [SETTINGS, [0.2, 1.0, 0.0], [0.0, 0.05, 1.0]])
def test_errors_of_a_map_with_few_photons_are_those_of_the_library(dark, dark_page, dims):
    set_dims(dark_page, dims)
    dark_page.show("zones")
    head, *rows = dark_page.table("zone-table")
    grown = []
    for row, zone in zip(rows, zones.find_zones(dark), strict=True):
        shown, found = dict(zip(head, row, strict=True)), zones.report(dark, zone, dims)
        for name, estimate in {
            "P10": found.p10,
            "median": found.median,
            "P90": found.p90,
            "in band, %": 100 * found.in_band,
            "over ceiling, %": 100 * found.above_ceiling,
            "DLI": found.dli,
            "dim all to, %": found.dim_to,
        }.items():
            agrees(shown[name], estimate)
        assert shown["too few photons for"] == ", ".join(found.few)
        assert found.few and f"too few photons for {found.few[0]}" in dark_page.text("zone-cautions")
        grown.append(
            found.p10.std_err / error_of_spread(zone.light(maps.ppfd(dark, zone.surface, dims)), 0.1)
        )
    assert max(grown) > 2.0  # else nothing here would tell a page that does not widen its errors
    dark_page.show("keys")
    soil = {row["quantity"]: row["value"] for row in summary.soil_table(dark, np.array(dims)).rows}
    agrees(dark_page.text("key-soil"), soil["median"])


def error_of_spread(light, level):
    """Error of a quantile from the spread of the replicates alone."""
    return Estimate.of(
        lambda cells: quantiles(cells, light.share, (level,), light.kept)[0], light.cells
    ).std_err


def test_soil_energy_and_cost_follow_the_sliders(tank, res):
    set_dims(tank, SETTINGS)
    tank.set_slider("A-hours", 10)
    tank.page.locator("#A-tariff").fill("0.4")
    tank.settle()
    soil = summary.soil_table(res, np.array(SETTINGS))
    rows = {row["quantity"]: row["value"] for row in soil.rows}
    agrees(tank.text("key-soil"), rows["median"])
    watts = float(np.dot(SETTINGS, [channel.power_w for channel in res.channels]))
    kwh = watts * (10 - res.scene.schedule.ramp) * 365 / 1000
    assert tank.number("key-power") == pytest.approx(watts, rel=TOLERANCE)
    assert tank.number("key-energy") == pytest.approx(kwh, rel=TOLERANCE)
    assert tank.number("key-cost") == pytest.approx(0.4 * kwh, rel=TOLERANCE)
    per_day = rows["median"] * ((10 - res.scene.schedule.ramp) * 3600e-6)
    agrees(tank.text("key-dli"), per_day)


def test_a_course_of_the_day_is_stretched_to_the_hours_of_the_slider(chromium, res, tmp_path):
    course = '[["08:00", 0], ["10:00", 1], ["13:00", 0.5], ["14:00", 0]]'  # 1 + 2.25 + 0.25 full hours of 6
    text = res.scene_text.replace('hours = 8\nramp = "30 min"', f"course = {course}")
    path = save_page([dataclasses.replace(res, scene_text=text)], tmp_path / "course.html").resolve()
    with browser.Opened(chromium, path) as opened:
        for hours, full in ((6, 3.5), (3, 1.75)):
            opened.set_slider("A-hours", hours)
            assert opened.number("key-energy") == pytest.approx(29.0 * full * 365 / 1000, rel=TOLERANCE)
        opened.show("tank")
        assert "6 h in a course of 4 points, as much as 3.5 h at full" in opened.text("tank")
        assert opened.faults == []


def test_colour_of_the_light_follows_the_sliders(tank, res):
    set_dims(tank, [0.5, 0.3, 1.0])
    spectrum = maps.spectrum(res, "soil", [0.5, 0.3, 1.0]).value
    kelvin, duv = colour.cct_duv(spectrum)
    words = tank.text("soil-colour").replace("−", "-")
    assert numbers(words)[0] == pytest.approx(kelvin, rel=TOLERANCE)
    assert float(re.search(r"Duv ([+-][\d.]+)", words)[1]) == pytest.approx(duv, abs=3e-4)


def test_budget_adds_up_and_is_that_of_the_library(tank, res):
    set_dims(tank, SETTINGS)
    tank.show("ends")
    found = ends.shares(res, np.array(SETTINGS))
    expected = dict(zip(res.budget.names, found.value, strict=True))
    rows = tank.table("ends-table")[1:]
    assert sum(numbers(row[1])[0] for row in rows) == pytest.approx(100, abs=0.5)
    for name, photons, _ in rows:
        assert numbers(photons)[0] == pytest.approx(expected[name], rel=TOLERANCE, abs=0.06)


def test_lights_out_is_shown_as_dark_and_not_as_a_fault(tank):
    tank.set_slider("A-all", 0)
    tank.show("zones")
    tank.show("spot")
    tank.show("ends")
    assert tank.number("key-soil") == 0 and tank.number("key-power") == 0
    assert all(row[-1].startswith("too dark") for row in tank.table("zone-table")[1:])
    assert "no light" in tank.text("soil-colour")
    assert tank.faults == []
    tank.set_slider("A-all", 50)
    tank.show("keys")
    assert tank.number("key-soil") > 0


def test_dimming_to_a_zone_puts_its_median_on_target(tank, res):
    tank.show("zones")
    zone = next(plant for plant in res.scene.plant if plant.name == "carpet")
    tank.page.locator("#zone-bars button").first.click()
    tank.settle()
    head, row, *_ = tank.table("zone-table")
    shown = dict(zip(head, row, strict=True))
    assert shown["zone"] == zone.name
    on_target = numbers(shown["median"])[0] == pytest.approx(zone.target, rel=0.01)
    assert on_target or numbers(shown["P90"])[0] == pytest.approx(zone.ceiling, rel=0.01)


def test_master_slider_keeps_the_mix(tank, res):
    set_dims(tank, [0.8, 0.4, 0.2])
    tank.set_slider("A-all", 40)
    kept = [tank.page.locator(f"#A-{m}").evaluate("node => node.valueAsNumber") for m in range(3)]
    assert kept == pytest.approx([40, 20, 10], abs=1)
    tank.page.get_by_role("button", name="As in the scene").click()
    tank.settle()
    back = [tank.page.locator(f"#A-{m}").evaluate("node => node.valueAsNumber") for m in range(3)]
    assert back == pytest.approx([100 * channel.dim for channel in res.channels], abs=1)


def test_a_spot_read_by_numbers_is_that_cell_of_the_library(tank, res):
    tank.show("spot")
    set_dims(tank, SETTINGS)
    tank.page.locator("#spot-x").fill("41.5")
    tank.page.locator("#spot-y").fill("7.5")
    tank.page.locator("#spot-y").press("Enter")
    tank.settle()
    soil = res.surface("soil")
    cell = int(np.argmin(np.hypot(*(soil.cell_centre_m[:, :2] - (0.415, 0.075)).T)))
    agrees(tank.text("spot-ppfd"), maps.ppfd(res, "soil", SETTINGS)[cell])
    each = maps.ppfd_by_channel(res, "soil")[:, cell] * SETTINGS
    for m, row in enumerate(tank.table("spot-lamps")[1:]):
        agrees(row[1], each[m])


def test_spectrum_of_a_spot_has_the_shape_of_the_light_around_it(tank, res):
    tank.show("spot")
    set_dims(tank, SETTINGS)
    shares = [int(share) / 100 for share in re.findall(r"(\d+) %", tank.text("spot-split"))[:3]]
    whole = maps.spectrum(res, "soil", SETTINGS).value
    par = whole[20:321].sum()
    expected = [whole[20:121].sum() / par, whole[120:221].sum() / par, whole[220:321].sum() / par]
    assert shares == pytest.approx(expected, abs=0.04)


def test_clicking_the_map_and_the_panes_picks_what_is_there(tank):
    tank.show("plan")
    box = tank.page.locator("#plan").bounding_box()
    tank.page.mouse.click(box["x"] + 0.30 * box["width"], box["y"] + 0.70 * box["height"])
    tank.settle()
    tank.show("spot")
    x, y = (float(tank.page.locator(f"#spot-{name}").input_value()) for name in "xy")
    assert 10 < x < 25 and 3 < y < 15
    tank.show("pane-back")
    tank.page.locator("#pane-back").click()
    tank.show("spot")
    assert tank.page.locator("#spot-surface").input_value() == "pane back"


def test_arrow_keys_move_the_spot_on_the_map(tank, res):
    tank.show("spot")
    tank.page.locator("#spot-surface").select_option("soil")
    for name, value in (("x", "20.5"), ("y", "10.5")):
        tank.page.locator(f"#spot-{name}").fill(value)
        tank.page.locator(f"#spot-{name}").press("Enter")
    tank.show("plan-box")
    tank.page.locator("#plan-box").focus()
    x_edges = res.surface("soil").x_edges_m
    step = 100 * float(x_edges[1] - x_edges[0])
    before = float(tank.page.locator("#spot-x").input_value())
    for key in ("ArrowRight", "Shift+ArrowRight", "ArrowUp"):
        tank.page.keyboard.press(key)
    tank.show("spot")
    x, y = (float(tank.page.locator(f"#spot-{name}").input_value()) for name in "xy")
    assert x == pytest.approx(before + 6 * step, abs=0.15)
    soil = res.surface("soil")
    cell = int(np.argmin(np.hypot(*(soil.cell_centre_m[:, :2] - (x / 100, y / 100)).T)))
    agrees(tank.text("spot-ppfd"), maps.ppfd(res, "soil")[cell])
    tank.show("plan-reading")
    assert tank.text("spot-ppfd").split("\u00a0")[0] in tank.text("plan-reading")


def test_verdicts_come_first(tank, res):
    reports = [zones.report(res, zone, SETTINGS) for zone in zones.find_zones(res)]
    set_dims(tank, SETTINGS)
    shown = tank.page.locator("#verdicts li").all_inner_texts()
    for text, found in zip(shown, reports, strict=True):
        assert found.verdict in text and f"wanted {found.zone.plant.band[0]:g}" in text
    right = sum(found.verdict == "right" for found in reports)
    words = {0: "None of the 2 plant zones", 1: "1 of 2 plant zones", 2: "All 2 plant zones"}
    assert tank.text("headline").startswith(words[right])
    order = "[...document.querySelectorAll('main > section')].map((s) => s.id)"
    assert tank.page.evaluate(order)[:3] == ["figures", "light", "front"]


def test_clicking_the_tank_in_3d_picks_what_is_seen_there(tank, res):
    tank.show("solid-view")
    tank.page.get_by_role("button", name="Above", exact=True).click()
    tank.page.wait_for_timeout(700)
    box = tank.page.locator("#solid-view").bounding_box()
    tank.page.mouse.click(box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"])
    tank.show("spot")
    x, y, z = (float(tank.page.locator(f"#spot-{name}").input_value()) / 100 for name in "xyz")
    length, width = res.scene.tank.length, res.scene.tank.width
    # From above, the middle of the picture is the middle of the tank, whatever it is that stands there.
    assert abs(x - length / 2) < 0.03 and abs(y - width / 2) < 0.05
    surface = tank.page.locator("#spot-surface").input_value()
    near = res.surface(surface).cell_centre_m
    assert np.linalg.norm(near - (x, y, z), axis=1).min() < 0.02


def test_a_link_lands_on_its_part_of_the_page(tank):
    for part in ("ends", "spot", "front"):
        tank.page.evaluate("window.scrollTo({ top: 0, behavior: 'instant' })")
        tank.page.locator(f"nav a[href='#{part}']").click()
        tank.until(f"Math.abs(document.getElementById('{part}').getBoundingClientRect().top - 16) < 3")


def test_height_slider_walks_through_the_planes(tank, res):
    planes = sorted(
        float(s.cell_centre_m[0, 2]) for name, s in res.surfaces.items() if name.startswith("plane")
    )
    seen = [tank.page.locator("#plan").get_attribute("aria-label")]
    for level, height in enumerate(planes, start=1):
        tank.set_slider("level", level)
        assert numbers(tank.text("level-words"))[0] == pytest.approx(100 * height, abs=0.06)
        seen.append(tank.page.locator("#plan").get_attribute("aria-label"))
    assert len(set(seen)) == len(seen)


def test_what_is_set_is_told_to_screen_readers(tank):
    tank.set_slider("A-0", 20)
    watts = tank.text("key-power")
    tank.until(f"document.getElementById('status').textContent.includes('Power {watts} W')")
    assert "carpet" in tank.page.locator("#status").text_content()


def test_error_bars_survive_when_replicates_are_folded(res):
    """Half as many replicates, each the mean of two: same value, error within what 7 degrees of freedom allow."""
    from underlit.journal.light import grouped

    by_channel = maps.ppfd_by_channel(res, "soil")
    few = Estimate(grouped(by_channel, 8))
    np.testing.assert_allclose(few.value, by_channel.value)
    ratio = few.std_err / by_channel.std_err
    assert np.median(ratio[np.isfinite(ratio)]) == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("width", [360, 390])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_narrow_screen_needs_no_sideways_scrolling(chromium, page_path, width, scheme):
    with browser.Opened(chromium, page_path, width, 800, scheme) as phone:
        for name in ("light", "front", "solid", "zones", "spot", "sections", "panes", "lamps", "ends"):
            phone.show(name)
        assert phone.page.evaluate("document.documentElement.scrollWidth") <= width
        assert phone.page.locator("#A-0").is_hidden()
        phone.page.locator("#settings > summary").click()
        phone.set_slider("A-0", 10)
        assert phone.page.locator("#A-0").is_visible()
        assert phone.faults == []


@pytest.mark.parametrize("width", [360, 390])
def test_lamp_table_fits_a_narrow_screen_with_long_names(chromium, page_path, width):
    with browser.Opened(chromium, page_path, width, 800) as phone:
        phone.show("lamps")
        over = phone.page.evaluate("""() => {
            const table = document.getElementById("lamp-table");
            for (const name of table.querySelectorAll("tbody th")) name.textContent = "pendants / warm white";
            return table.scrollWidth - table.parentElement.clientWidth;
        }""")
        assert over <= 0


def test_page_of_little_says_what_is_missing(chromium, res, tmp_path):
    """Only soil, no plants, one replicate, no water: everything is still there that can be, and nothing breaks."""
    scene = re.sub(r"\[\[plant\]\].*?(?=\[\[fixture)", "", res.scene_text, flags=re.S)
    scene = scene.replace('level = "33 cm"', 'level = "0 cm"')
    scene = re.sub(r"(position = .*\n)", r'\1height_above = "rim"\n', scene)
    little = synthetic.result(photons=20_000, replicates=1)
    soil = {"soil": little.surfaces["soil"]}
    little = dataclasses.replace(little, surfaces=soil, scene_text=scene)
    with browser.Opened(chromium, save_page([little], tmp_path / "little.html").resolve()) as opened:
        for name in ("light", "front", "solid", "zones", "spot", "sections", "panes", "lamps", "ends"):
            opened.show(name)
        opened.set_slider("A-0", 40)
        assert all(opened.page.locator(f"#no-{name}").is_visible() for name in ("planes", "panes", "zones"))
        expected = maps.ppfd(little, "soil", [0.4, *(c.dim for c in little.channels[1:])]).value
        opened.show("keys")
        assert opened.number("key-soil") == pytest.approx(np.median(expected), rel=0.02)
        assert "±" not in opened.text("key-soil")
        assert opened.faults == []


def test_two_results_are_compared_at_their_own_settings(chromium, pair_path, res, other):
    with browser.Opened(chromium, pair_path) as pair:
        pair.set_slider("B-all", 50)
        pair.show("compare")
        rows = {row[0]: row[1:] for row in pair.table("compare-table")[1:]}
        zone = zones.find_zones(res)[0]
        half = [0.5 * channel.dim for channel in other.channels]
        a, b = zones.report(res, zone).median, zones.report(other, zones.find_zones(other)[0], half).median
        agrees(rows["carpet: median PPFD"][0], a)
        agrees(rows["carpet: median PPFD"][1], b)
        difference = numbers(rows["carpet: median PPFD"][2].replace("−", "-"))
        assert difference[0] == pytest.approx(float(b.value - a.value), abs=difference[1])
        before = pair.page.locator("#plan").get_attribute("aria-label")
        pair.page.get_by_label("B, with B less A on the map").check()
        pair.show("plan")
        after = pair.page.locator("#plan").get_attribute("aria-label")
        assert "B less that of A" in after and after != before
        assert pair.faults == []
