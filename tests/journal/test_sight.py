"""Who shades a spot, as the page finds it: by symmetry, and against the rays of the tracer's own kernels."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import browser
from underlit.journal import save_page
from underlit.metrics.spots import find_spot
from underlit.tracer.sight import who_shades

EDGE_M = 0.305  # middle of a soil cell, and of the lamp of `slab`


def slab(res):
    """The tank with its ball replaced by a thin slab over the left part, up to `EDGE_M`, below a lamp centred there."""
    x0, x1, y0, y1, z0, z1 = 0.002, EDGE_M, 0.002, 0.298, 0.18, 0.185
    corners = np.array([[x, y, z] for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)])
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = np.array([face for a, b, c, d in quads for face in ((a, b, c), (a, c, d))], np.int32)
    ball = dataclasses.replace(
        res.surface("hardscape ball"),
        vertices_m=corners,
        faces=faces,
        cell_of_face=np.zeros(len(faces), np.int32),
    )
    scene = res.scene_text.replace('position = ["30 cm", "15 cm"]', 'position = ["30.5 cm", "15 cm"]')
    return dataclasses.replace(res, surfaces=res.surfaces | {"hardscape ball": ball}, scene_text=scene)


def shares_at(opened, x_cm, y_cm):
    """Per fixture, what the page says arrives and what the ball takes."""
    opened.show("spot")
    opened.page.locator("#spot-surface").select_option("soil")
    opened.page.locator("#spot-x").fill(str(x_cm))
    opened.page.locator("#spot-y").fill(str(y_cm))
    opened.page.locator("#spot-y").press("Enter")
    opened.settle()
    found, fixture = {}, ""
    for name, what, share in opened.table("spot-sight")[1:]:
        fixture = name or fixture
        number = float(share.split(" ")[0]) / 100 if share[:1].isdigit() else 0.0
        found.setdefault(fixture, {})[what] = number
    return found


def test_edge_of_a_slab_halves_a_lamp_centred_over_it(chromium, res, tmp_path):
    path = save_page([slab(res)], tmp_path / "slab.html").resolve()
    with browser.Opened(chromium, path) as opened:
        found = shares_at(opened, 30.5, 14.5)["bar"]
        assert found["arrives"] == pytest.approx(0.5, abs=0.04)
        assert found["taken by ball"] == pytest.approx(0.5, abs=0.04)
        assert shares_at(opened, 55.5, 14.5)["bar"]["arrives"] > 0.9
        assert shares_at(opened, 10.5, 14.5)["bar"]["arrives"] < 0.1
        assert opened.faults == []


def test_shares_agree_with_the_tracers_rays(tank, res):
    compared = []
    for x_cm, y_cm in ((32.5, 14.5), (44.5, 14.5), (30.5, 10.5)):
        found = shares_at(tank, x_cm, y_cm)
        spot = find_spot(res, x_cm / 100, y_cm / 100, radius_m=0.005)
        for sight in who_shades(res, spot):
            if np.isfinite(sight.through.value):
                assert found[sight.fixture]["arrives"] == pytest.approx(float(sight.through.value), abs=0.07)
                compared.append(float(sight.through.value))
    assert min(compared) < 0.2 and max(compared) > 0.99


def test_rays_are_drawn_to_the_lamps_or_to_what_stops_them(tank, res):
    lines = "document.getElementById('solid-view').data.filter((d) => d.type === 'scatter3d').map((d) => [...d.z])"
    highest = {}
    for x_cm in (5.5, 44.5):
        shares_at(tank, x_cm, 14.5)
        tank.show("solid-view")
        tank.page.wait_for_timeout(600)
        free, stopped = ([z for z in line if z is not None] for line in tank.page.evaluate(lines)[3:5])
        highest[x_cm] = max(free, default=0.0), max(stopped, default=0.0)
    lamps = [res.scene.emitter_height(fixture) for fixture in res.scene.fixture]
    top_of_ball = float(res.surface("hardscape ball").vertices_m[:, 2].max())
    assert highest[5.5] == (pytest.approx(max(lamps), abs=1e-3), 0.0)
    assert 0.03 < highest[44.5][1] <= top_of_ball + 1e-3
