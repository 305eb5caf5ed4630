"""Make the picture of docs/physics.md that shows what a side pane gives back, in five states.

python docs/gallery/law_of_the_wall.py                      as it stands in the repository
python docs/gallery/law_of_the_wall.py --folder /tmp/g --share 0.02

A small lamp over a deep tank with black soil and three black panes: on the soil beside the fourth there is only the
lamp's own light and what that pane returns. Of total reflection the pane makes a mirror, whose image of the lamp adds
as much again at the pane's foot. The lines are quadratures of Snell's, Fresnel's and Beer's laws, with no code of the
program in them.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

import underlit
from underlit import figures
from underlit.figures.curves import Curve
from underlit.figures.wall import Beside, wall_figure
from underlit.metrics import maps

HERE = Path(__file__).parent
PHOTONS = 4e6
STATES = {
    "clean": '"clean"',
    "black film, dry": '"dry film"',
    "mirror film, bonded": '{ state = "bonded film", colour = "mirror" }',
    "white film, bonded": '{ state = "bonded film", colour = "white" }',
    "black film, bonded": '{ state = "bonded film", colour = "black" }',
}
TANK = """
[tank]
length = "40 cm"
width = "40 cm"
height = "41 cm"
glass = "low-iron"
thickness = "2 mm"
[tank.panes]
left = {left}
right = {{ state = "bonded film", colour = "black" }}
front = {{ state = "bonded film", colour = "black" }}
back = {{ state = "bonded film", colour = "black" }}
[water]
level = "40 cm"
type = "pure"
[substrate]
depth = "1 cm"
material = {{ reflectance = 0.0 }}
[[fixture]]
shape = "panel"
size = ["2 cm", "2 cm"]
position = ["12 cm", "20 cm"]
height = "4 cm"
[[fixture.channel]]
spectrum = {{ peak = "525 nm", width = "5 nm" }}
power = "10 W"
flux = "10 umol/s"
beam = "120 deg"
[run]
cell = "1 cm"
planes = []
"""
LAMP_M, ABOVE_M, DEEP_M, FLUX = (0.12, 0.20), 0.04, 0.39, 10.0
WATER, GLASS, ABSORPTION_PER_M = 1.336, 1.52, 0.042  # of pure water at 525 nm: Pope and Fry 1997
STRIP_M = (0.16, 0.24)  # of y, over which cells are averaged
FURTHEST_M = 0.2


def traced(share: float) -> tuple[Curve, ...]:
    """Light on the soil along the middle of the tank for each state of the left pane."""
    return tuple(_traced(name, left, int(PHOTONS * share)) for name, left in STATES.items())


def _traced(name: str, left: str, photons: int) -> Curve:
    res = underlit.trace(underlit.scene_from_text(TANK.format(left=left)), photons=photons)
    soil = res.surface("soil")
    x, y = soil.cell_centre_m[:, 0].reshape(soil.shape), soil.cell_centre_m[:, 1].reshape(soil.shape)
    light = maps.ppfd(res, "soil").samples.reshape(-1, *soil.shape)
    rows, columns = (y[:, 0] > STRIP_M[0]) & (y[:, 0] < STRIP_M[1]), x[0] < FURTHEST_M
    strip = underlit.Estimate(light[:, rows][:, :, columns].mean(axis=1))
    return Curve(name, x[0, columns], strip.value, strip.std_err)


def expected(x_m: np.ndarray) -> tuple[Curve, ...]:
    """Light without the pane, with all that total reflection returns, and with what bare Fresnel reflection does."""
    alone, whole, fresnel = np.mean([_parts(x_m, y) for y in np.linspace(*STRIP_M, 17)[1::2]], axis=0)
    return (
        Curve("lamp and its image: all reflected", x_m, alone + whole),
        Curve("lamp and Fresnel return of water on glass", x_m, alone + fresnel),
        Curve("lamp alone", x_m, alone),
    )


def _parts(x_m: np.ndarray, y_m: float) -> list[np.ndarray]:
    spots = (np.arange(6) + 0.5) / 6 * 0.02 - 0.01
    found = [np.zeros_like(x_m) for _ in range(3)]
    for dx in spots:
        for dy in spots:
            lamp = np.array(LAMP_M) + (dx, dy)
            found[0] += _light(np.hypot(x_m - lamp[0], y_m - lamp[1]))[0]
            across, along = x_m + lamp[0], y_m - lamp[1]
            image, in_air = _light(np.hypot(across, along))
            normal = (
                np.sin(in_air) * across / np.hypot(across, along)
            )  # n sin in water, times cos of the azimuth
            found[1] += image * (normal <= np.sqrt(WATER**2 - 1.0))
            found[2] += image * _fresnel(WATER, GLASS, normal / WATER)
    return [part / len(spots) ** 2 for part in found]


def _light(distance_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """PPFD on the soil at a distance aside from a point of Lambert's law, and the angle in air that leads there."""
    distance_m = np.maximum(distance_m, 1e-6)
    low, high = np.zeros_like(distance_m), np.full_like(distance_m, np.pi / 2 - 1e-9)
    for _ in range(60):
        middle = 0.5 * (low + high)
        in_water = np.arcsin(np.sin(middle) / WATER)
        beyond = ABOVE_M * np.tan(middle) + DEEP_M * np.tan(in_water) > distance_m
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    air, water = middle, np.arcsin(np.sin(middle) / WATER)
    opens = ABOVE_M / np.cos(air) ** 2 + DEEP_M / np.cos(water) ** 2 * np.cos(air) / (WATER * np.cos(water))
    enters = 1.0 - _fresnel(1.0, WATER, np.cos(air))
    left = np.exp(-ABSORPTION_PER_M * DEEP_M / np.cos(water))
    return FLUX / np.pi * np.cos(air) * np.sin(air) * enters * left / (distance_m * opens), air


def _fresnel(n1: float, n2: float, cosine: np.ndarray) -> np.ndarray:
    """Reflectance of unpolarised light."""
    other = np.sqrt(1.0 - (n1 / n2) ** 2 * (1.0 - cosine**2))
    s = (n1 * cosine - n2 * other) / (n1 * cosine + n2 * other)
    p = (n1 * other - n2 * cosine) / (n1 * other + n2 * cosine)
    return 0.5 * (s**2 + p**2)


def main() -> None:
    """Trace a tank with each pane and draw them together."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, default=HERE)
    parser.add_argument("--share", type=float, default=1.0, help="of the usual number of photons")
    options = parser.parse_args()
    figure = wall_figure(
        Beside(traced(options.share), expected(np.linspace(0.0025, FURTHEST_M, 80))),
        title="The law of the wall",
        subtitle="Light from above cannot leave through a side pane with air behind it",
        notes=[
            "Small lamp 4 cm above 40 cm of water, 12 cm from the pane; soil and other panes black. Points: traced, "
            "with one standard error. Lines: Snell, Fresnel and Beer by quadrature. A dry film leaves the air gap, and "
            "so the reflection; a bonded black one takes all but what water on glass reflects.",
        ],
    )
    figures.save(figure, options.folder / "law-of-the-wall.png")


if __name__ == "__main__":
    main()
