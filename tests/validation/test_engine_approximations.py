"""How large the engine's approximations are: the figures of docs/physics.md, measured anew.

Polarisation and dispersion are measured with the plain tracer (`naive`), on a tank of 60 x 30 x 36 cm under a bar, each
pair of runs with the same random numbers; ripple with the kernel of the water surface.
"""

from dataclasses import replace

import numba
import numpy as np
import pytest

import naive
from underlit.kernels.draws import RNG_WORDS, rng_start
from underlit.kernels.fresnel import UNPOLARISED
from underlit.kernels.interface import cross_surface

TANK = naive.Tank(
    lx=0.6,
    ly=0.3,
    lz=0.36,
    glass=0.006,
    water=0.33,
    soil=0.04,
    n_water=1.3338,
    n_glass=1.5251,
    a_water=0.05,
    a_glass=5.0,
)
BLUE = replace(TANK, n_water=1.3399, n_glass=1.5319)  # 450 nm, where TANK is at 550 nm


def change(tank, polarised):
    """Relative change of the light on the soil and out of the panes, and their standard errors."""
    runs = []
    for seed in range(6):
        both = []
        for which, wave in ((TANK, False), (tank, polarised)):
            rng = np.random.default_rng(seed)
            soil, out = naive.trace(
                which, *naive.lamp(100_000, (0.30, 0.15, 0.48), (0.54, 0.07), rng), rng, wave
            )
            both.append([soil.sum(), out.sum()])
        runs.append(both)
    before, after = np.moveaxis(np.array(runs), 1, 0)
    ratio = after / before - 1.0
    return ratio.mean(axis=0), ratio.std(axis=0, ddof=1) / np.sqrt(len(runs))


@pytest.mark.slow
@pytest.mark.validation
@pytest.mark.parametrize(
    ("tank", "polarised", "soil", "panes"), [(TANK, True, -0.0007, 0.006), (BLUE, False, 0.0012, -0.014)],
    ids=["polarisation", "dispersion"],
)  # fmt: skip
def test_tank(tank, polarised, soil, panes):
    value, std_err = change(tank, polarised)
    assert (std_err < [0.0005, 0.0025]).all()
    assert np.abs((value - [soil, panes]) / std_err).max() < 4.5
    assert abs(panes) > 2.0 * std_err[1]


@numba.njit
def crossed(n_water, rms, directions, u, rng, seed):
    count = 0
    for i in range(len(u)):
        d = directions[i]
        count += cross_surface(n_water, rms, d[0], d[1], d[2], UNPOLARISED, u[i], rng, seed)[0]
    return count / len(u)


@pytest.mark.validation
@pytest.mark.parametrize(("degrees", "excess"), [(0, 0.0), (4, 0.0), (8, 0.005), (15, 0.023)])
def test_ripple_without_second_meetings(degrees, excess):
    """In balance as much diffuse light would cross each way, n^2 T_up = T_down; one meeting with a wave falls short."""
    n, count = 1.333, 1_000_000
    generator = np.random.default_rng(1)
    mu, phi = np.sqrt(generator.random(count)), 2.0 * np.pi * generator.random(count)
    side = np.sqrt(1.0 - mu**2)
    level = np.stack([side * np.cos(phi), side * np.sin(phi)], axis=1)
    rng = np.zeros(RNG_WORDS, np.uint32)
    rng_start(rng, 1, 1)
    u, rms = generator.random(count), np.tan(np.radians(degrees))
    down, up = (
        crossed(n, rms, np.column_stack([level, sign * mu]), u, rng, np.uint64(1)) for sign in (-1.0, 1.0)
    )
    std_err = np.sqrt((1.0 - down) / down / count + (1.0 - up) / up / count)
    assert n**2 * up / down - 1.0 == pytest.approx(excess, abs=4.0 * std_err + 1e-3)
