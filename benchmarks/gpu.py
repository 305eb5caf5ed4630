"""A CUDA card beside the CPU: photons per second, and how its results hold against the CPU's.

    python -m benchmarks.gpu                      # all parts, some minutes
    python -m benchmarks.gpu rates trust          # some: rates, trust, effects, scenes

Rates are medians between events of the card, with all light carried by photons. In `trust` and `effects` each map is
held against the CPU's from another seed, cell by cell; the CPU is held against itself in the same way.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np

import underlit
from benchmarks.contenders.engine import ONE_NM, SOIL_ONLY
from benchmarks.tank import leaf_strips, scene_text
from underlit import spectra
from underlit.kernels.arrays import CUT_OFF
from underlit.scene.loader import from_text
from underlit.scene.world import World, build_world
from underlit.tracer.card import Card, NoCardError
from underlit.tracer.cores import Cores
from underlit.tracer.pack import pack
from underlit.tracer.sources import build_lamps
from underlit.tracer.tally import SCALE, Tally

REPLICATES, REPEATS = 16, 5
NODES_NM = {1: ONE_NM, 16: spectra.NODES_NM, 31: np.linspace(400.0, 760.0, 31)}
TRIANGLES_OF_LEAF = 16
LIT = 1000.0  # photons that a cell is to have met for its error to be known
SCENES = Path(__file__).parents[1] / "scenes"

# What a scene may have beside water, soil and a lamp, as lines for the scene of `little`.
EFFECTS = {
    "plain": "",
    "scattering water": '[water]\nscattering = "3 1/m"\nasymmetry = 0.8',
    "ripple": '[water]\nsurface_slope_rms = "6 deg"',
    "lid": '[tank.lid]\nmaterial = "acrylic"\ncondition = "lived-in"\nheight = "1 cm"',
    "films": '[tank.panes]\nback = {state = "bonded film", colour = "white"}\nleft = {state = "dry film", '
    'colour = "mirror"}\nright = {state = "dry film", colour = "white"}\nfront = {dirt = 0.2}',
    "rim and brace": '[tank.rim]\nwidth = "1 cm"\n[[tank.brace]]\nfrom = ["12 cm", "0 cm"]\nto = ["16 cm", "20 cm"]\n'
    "transmittance = 0.3",
    "canopy": '[[plant]]\nname = "hedge"\nfrom = ["2 cm", "8 cm"]\nto = ["20 cm", "18 cm"]\n'
    'canopy = {height = "8 cm", leaf_area_index = 3, leaf_angle = "plagiophile"}',
    "floating plants": "[floaters]\ncover = 0.4\ntransmittance = 0.1\nreflectance = 0.1",
    "hills and stone": '[substrate]\nprofile = [["0 cm", "2 cm"], ["8 cm", "4 cm"], ["20 cm", "7 cm"]]\n[[hardscape]]\n'
    'name = "stone"\nshape = "stone"\nsize = ["7 cm", "6 cm", "8 cm"]\nposition = ["14 cm", "9 cm"]\ntriangles = 2000',
}
LAMPS = {
    "panel": 'shape = "panel"\nsize = ["16 cm", "8 cm"]\n',
    "disc with a shade": 'shape = "disc"\nsize = "10 cm"\nshade = {depth = "2 cm", reflectance = 0.8}\n',
    "tube": 'shape = "tube"\nsize = ["16 cm", "16 mm"]\n',
    "LEDs behind lenses": 'shape = "panel"\nsize = ["16 cm", "8 cm"]\n',
}
BEAMS = {"LEDs behind lenses": 'leds = 12\nbeam = {lens = "gaussian", fwhm = "70 deg"}'}


def little(effect: str, lamp: str = "panel") -> str:
    """A little tank with one effect, under one kind of lamp."""
    text = (
        '[tank]\nlength = "25 cm"\nwidth = "20 cm"\nheight = "22 cm"\n'
        + EFFECTS[effect]
        + '\n[run]\ncell = "2 cm"\n'
        'planes = ["10 cm"]\n[[fixture]]\nname = "lamp"\nheight = "9 cm"\n' + LAMPS[lamp]
    )
    channel = '[[fixture.channel]]\nspectrum = "white 6500 K"\npower = "10 W"\nefficacy = "2 umol/J"\n'
    return text + channel + BEAMS.get(lamp, "")


def tally_of(scene, n_bands: int = 16, world=None, seed: int = 1, on_card: bool = True) -> Tally:
    """An empty tally of a scene with nothing gathered."""
    packed = pack(scene, world, NODES_NM[n_bands], bvh_layout="fine" if on_card else None)
    packed = replace(packed, arrays=packed.arrays._replace(gathers=False))
    return Tally(packed, build_lamps(scene), REPLICATES, seed)


def card_rate(card: Card, count: int) -> float:
    """Photons per second, from launches of `count` photons in each replicate, queued one after another."""
    from numba import cuda

    marks = [cuda.event() for _ in range(REPEATS + 2)]
    for repeat, mark in enumerate(marks[:-1]):  # the first one warms up
        mark.record()
        card.start(0, repeat * count, count)
    marks[-1].record()
    marks[-1].synchronize()
    seconds = [start.elapsed_time(end) * 1e-3 for start, end in pairwise(marks[1:])]
    return REPLICATES * count / float(np.median(seconds))


def cpu_rate(tally: Tally, threads: int, count: int = 2**14) -> float:
    """Photons per second of so many threads."""
    seconds = []
    with Cores(tally, threads) as cores:
        cores.layer(np.array([64]))
        for _ in range(3):
            start = time.perf_counter()
            cores.layer(np.array([count]))
            seconds.append(time.perf_counter() - start)
    return REPLICATES * count / float(np.median(seconds))


def benchmark_tanks() -> Iterator[tuple[str, int, object, World | None]]:
    """Name, bands, scene and shapes of what rates are measured on."""
    rock = from_text(scene_text(20_000, SOIL_ONLY))
    for n_bands in (1, 16, 31):
        yield "rock, 20k triangles", n_bands, rock, None
    yield "rock, planes counted", 16, from_text(scene_text(20_000)), None
    stand_in = scene_text(100, SOIL_ONLY).split("[[hardscape]]")
    stand_in = from_text(stand_in[0] + "[[hardscape]]" + stand_in[1] + SOIL_ONLY)
    soil = build_world(stand_in).soil
    for count in (20_000, 1_000_000):
        leaves = World(soil, (leaf_strips(count // TRIANGLES_OF_LEAF),))
        yield f"leaves, {count // 1000}k triangles", 16, stand_in, leaves


def rates(count: int) -> None:
    """Print photons per second on a card, one core and two."""
    print(f"{'M photons/s':24} bands      card   1 core  2 cores")
    for name, n_bands, scene, world in benchmark_tanks():
        with Card(tally_of(scene, n_bands, world)) as card:
            on_card = card_rate(card, count)
        one, two = (cpu_rate(tally_of(scene, n_bands, world, on_card=False), threads) for threads in (1, 2))
        print(f"{name:24} {n_bands:5} {on_card / 1e6:9.1f} {one / 1e6:8.2f} {two / 1e6:8.2f}", flush=True)


def on_card(scene, count: int, blocks: int = 0) -> Tally:
    """So many photons in each replicate and source, on a card."""
    tally = tally_of(scene)
    with Card(tally) as card:
        card.blocks = blocks
        card.layer(np.full(len(tally.done), count))
    return tally


def on_cpu(scene, count: int, seed: int) -> Tally:
    """The same on all cores of the CPU."""
    tally = tally_of(scene, seed=seed, on_card=False)
    with Cores(tally, os.cpu_count() or 1) as cores:
        while tally.done[0] < count:
            cores.layer(np.full(len(tally.done), min(cores.largest_batch, count - int(tally.done[0]))))
    return tally


def chi_square(one: Tally, other: Tally, name: str) -> tuple[float, int]:
    """Mean square of z over the cells of a surface that enough light has met, and their number."""
    a, b = (tally.landed(name).sum(axis=(1, 3)) / (SCALE * tally.done[0]) for tally in (one, other))
    variance = (a.var(axis=0, ddof=1) + b.var(axis=0, ddof=1)) / REPLICATES
    lit = b.mean(axis=0) * other.done[0] * REPLICATES > LIT * other.packed.arrays.n_bands
    z2 = (a.mean(axis=0) - b.mean(axis=0))[lit] ** 2 / variance[lit]
    return float(z2.mean()) if lit.any() else np.nan, int(lit.sum())


def budget_z(one: Tally, other: Tally) -> tuple[float, str]:
    """The largest |z| of the entries of the light budget, and which it is."""
    a, b = (tally.sinks.sum(axis=(1, 3)) / (SCALE * tally.done[0]) for tally in (one, other))
    std_err = np.sqrt((a.var(axis=0, ddof=1) + b.var(axis=0, ddof=1)) / REPLICATES)
    z = np.abs(a.mean(axis=0) - b.mean(axis=0)) / np.maximum(std_err, 1e-12)
    return float(z.max()), one.packed.sinks[int(z.argmax())]


def expected(n_cells: int) -> tuple[float, float]:
    """Mean square of z over cells and its standard deviation; z has Student's distribution."""
    freedom = 2 * REPLICATES - 2
    mean = freedom / (freedom - 2)
    return mean, mean * np.sqrt(2 * (freedom - 1) / (freedom - 4) / max(n_cells, 1))


def compare(card: Tally, cpu: Tally, control: Tally) -> None:
    """Print chi-square of every map of a card against the CPU, and of the CPU against itself."""
    for name in card.packed.layout.surfaces:
        against, n = chi_square(card, cpu, name)
        if n >= 10:
            mean, deviation = expected(n)
            same, _ = chi_square(control, cpu, name)
            print(
                f"  {name:20} {n:5} cells  {against:.3f}  CPU {same:.3f}  expected {mean:.3f} +- {deviation:.3f}"
            )
    for title, pair in (("card", (card, cpu)), ("CPU", (control, cpu))):
        z, entry = budget_z(*pair)
        print(f"  light budget of the {title}: largest |z| {z:.2f} ({entry})", flush=True)


def closure(tally: Tally) -> float:
    """By how much the light budget differs from 1 at most."""
    return float(np.abs(tally.sinks.sum(axis=2) / (SCALE * tally.done[:, None]) - 1.0).max())


def trust(photons: int) -> None:
    """Print how results of a card hold against the CPU's on a large run."""
    scene, count = from_text(scene_text(20_000)), photons // REPLICATES
    card = on_card(scene, count)
    again = on_card(scene, count, blocks=37)
    same = np.array_equal(card.cells, again.cells) and np.array_equal(card.sinks, again.sinks)
    lost = float(card.sinks[:, :, CUT_OFF].max() / (SCALE * count))
    print(f"{REPLICATES * count:.2e} photons; the same bits from another grid: {same}")
    print(f"light budget closes to {closure(card):.1e}; cut off {lost:.1e}; mean square of z:")
    compare(card, on_cpu(scene, count, 2), on_cpu(scene, count, 3))


def effects(photons: int) -> None:
    """Print the same for little scenes, each with one effect or one kind of lamp."""
    cases = [(effect, "panel") for effect in EFFECTS] + [("plain", lamp) for lamp in LAMPS if lamp != "panel"]
    for effect, lamp in cases:
        scene = from_text(little(effect, lamp))
        start = time.perf_counter()
        card = on_card(scene, photons // REPLICATES)
        print(f"{effect}, {lamp}: closes to {closure(card):.1e} ({time.perf_counter() - start:.1f} s)")
        compare(card, *(on_cpu(scene, photons // REPLICATES, seed) for seed in (2, 3)))


def scenes() -> None:
    """Print seconds to 1 % in the median cell of soil for the shipped scenes, kernels compiled before."""
    print(f"{'to 1 %':16} card s   M photons   CPU s ({os.cpu_count()} threads)  M photons")
    for path in sorted(SCENES.glob("*/scene.toml")):
        scene, row = underlit.load_scene(path), f"{path.parent.name:16}"
        world = build_world(scene)
        for device in ("gpu", "cpu"):
            underlit.trace(scene, photons=1000, world=world, device=device)
            start = time.perf_counter()
            result = underlit.trace(scene, precision=0.01, world=world, device=device)
            seconds = time.perf_counter() - start
            row += f" {seconds:6.2f} {result.photons.sum() * scene.run.replicates / 1e6:11.1f} "
        print(row, flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parts = ("rates", "trust", "effects", "scenes")
    parser.add_argument("parts", nargs="*", choices=[[], *parts], default=list(parts))
    parser.add_argument(
        "--photons", type=float, default=1.3e8, help="of `trust`; a tenth for each of `effects`"
    )
    parser.add_argument(
        "--launch", type=float, default=2**22, help="photons per replicate and launch of `rates`"
    )
    options = parser.parse_args()
    try:
        print(Card(tally_of(from_text(little("plain")))).name)
    except NoCardError as error:
        raise SystemExit(f"Nothing to measure: {error}.") from error
    for part in options.parts or parts:
        print(f"== {part}")
        {
            "rates": lambda: rates(int(options.launch)),
            "trust": lambda: trust(int(options.photons)),
            "effects": lambda: effects(int(options.photons / 10)),
            "scenes": scenes,
        }[part]()


if __name__ == "__main__":
    main()
