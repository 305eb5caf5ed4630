"""What each feature of a tank costs the tracer, as a ratio of time per photon to the plain tank.

    python benchmarks/features.py

Every tank traces the same photons in turn, several rounds over, on one thread; the figure is the median of the rounds'
ratios. Two copies of the plain tank show how far a ratio can be trusted. First light is not gathered here, so that all
tanks are traced in the same way.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from underlit.kernels.batch import new_scratch, trace_batch
from underlit.kernels.held import Held
from underlit.kernels.rng import sobol_directions
from underlit.scene import scene_from_text
from underlit.tracer.pack import pack
from underlit.tracer.sources import build_lamps
from underlit.tracer.tally import SCALE

PLAIN = """
[tank]
length = "60 cm"
width = "30 cm"
height = "36 cm"
thickness = "6 mm"
{tank}
[water]
level = "33 cm"
scattering = "0 1/m"
{water}
[substrate]
front = "4 cm"
back = "8 cm"
{soil}
[[hardscape]]
name = "stone"
shape = "stone"
size = ["16 cm", "12 cm", "16 cm"]
position = ["25 cm", "15 cm"]
triangles = 20000
{more}
[[fixture]]
name = "bar"
shape = "bar"
size = ["54 cm", "7 cm"]
height = "20 cm"
{fixture}
[[fixture.channel]]
spectrum = "white 6500 K"
power = "20 W"
efficacy = "1.9 umol/J"
{channel}
"""

_PLANTS = """
[[plant]]
name = "stems"
demand = "medium"
from = ["35 cm", "15 cm"]
to = ["60 cm", "30 cm"]
canopy = {{ height = "15 cm", leaf_area_index = {index} }}
"""

FEATURES: dict[str, dict[str, str]] = {
    "plain": {},
    "plain again": {},
    "clear water, b = 0.1 1/m": {"water": 'scattering = "0.1 1/m"'},
    "cloudy water, b = 5 1/m": {"water": 'scattering = "5 1/m"'},
    "ripple of 4 degrees": {"water": 'surface_slope_rms = "4 deg"'},
    "glass lid": {"tank": '[tank.lid]\nthickness = "4 mm"'},
    "rim and brace": {
        "tank": '[tank.rim]\nwidth = "1 cm"\n[[tank.brace]]\nfrom = ["28 cm", "0 cm"]\nto = ["32 cm", "30 cm"]'
    },
    "dirty panes": {"tank": "[tank.panes]\nfront = { dirt = 0.1 }\nleft = { dirt = 0.1 }"},
    "black dry film at the back": {"tank": '[tank.panes]\nback = "dry film"'},
    "white bonded film at the back": {
        "tank": '[tank.panes]\nback = { state = "bonded film", colour = "white" }'
    },
    "soil along a curve": {"soil": 'profile = [["0 cm", "4 cm"], ["15 cm", "5 cm"], ["30 cm", "9 cm"]]'},
    "stems, leaf-area index 1": {"more": _PLANTS.format(index=1)},
    "stems, leaf-area index 5": {"more": _PLANTS.format(index=5)},
    "floating plants, 40 %": {"more": "[floaters]\ncover = 0.4"},
    "lamp housing": {"fixture": 'shade = { depth = "2 cm", reflectance = 0.8 }'},
    "bell-shaped beam": {"channel": 'beam = { lens = "gaussian", fwhm = "90 deg" }'},
    "60 LEDs": {"channel": "leds = 60"},
}


class Tank:
    """One tank, ready to be traced again and again."""

    def __init__(self, parts: dict[str, str]) -> None:
        blocks = dict.fromkeys(("tank", "water", "soil", "more", "fixture", "channel"), "") | parts
        text = PLAIN.format(**blocks)
        if "scattering" in blocks["water"]:
            text = text.replace('scattering = "0 1/m"\n', "", 1)
        if "profile" in blocks["soil"]:
            text = text.replace('front = "4 cm"\nback = "8 cm"\n', "", 1)
        scene = scene_from_text(text)
        packed = pack(scene)
        arrays, source = packed.arrays._replace(gathers=False), build_lamps(scene).sources[0]
        self.held = Held(arrays), Held(packed.bvh), Held(source)
        n_bands = packed.arrays.n_bands
        self.cells = np.zeros((packed.layout.n_cells, n_bands), np.int64)
        self.sinks = np.zeros((len(packed.sinks), n_bands), np.int64)
        lanes = packed.arrays.reflectance.shape[1]
        self.scratch = Held(new_scratch(len(self.cells), len(self.sinks), lanes))
        self.directions = sobol_directions()

    def seconds(self, stream: int, photons: int) -> float:
        """Processor time of a batch. [s]"""
        start = time.thread_time()
        trace_batch(
            *self.held, self.directions, np.uint64(1), stream, 0, photons, SCALE, self.scratch, self.cells, self.sinks,
        )  # fmt: skip
        return time.thread_time() - start


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--photons", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=15)
    options = parser.parse_args()
    tanks = {name: Tank(parts) for name, parts in FEATURES.items()}
    for tank in tanks.values():
        tank.seconds(0, 1000)  # compile
    times = np.array([[t.seconds(k, options.photons) for t in tanks.values()] for k in range(options.rounds)])
    ratio = np.median(times / times[:, :1], axis=0)
    print(f"{'tank':34s}{'ns a photon':>12s}{'ratio':>8s}")
    for name, column, r in zip(tanks, times.T, ratio, strict=True):
        print(f"{name:34s}{np.median(column) / options.photons * 1e9:12.0f}{r:8.2f}")


if __name__ == "__main__":
    main()
