"""Make the pictures of docs/figures.md from the shipped scenes.

python docs/gallery/make.py                         as they stand in the repository
python docs/gallery/make.py --folder /tmp/g --share 0.01    a quick try with a hundredth of the photons
"""

from __future__ import annotations

import argparse
from pathlib import Path

import underlit
from underlit import figures
from underlit.figures.reading import Reading

HERE = Path(__file__).parent
SCENES = HERE.parent.parent / "scenes"
PHOTONS = {
    "b-rock-slope/scene": 6e6,
    "c-driftwood/scene": 4e6,
    "c-driftwood/two-bars": 4e6,
    "e-blackwater/scene": 3e6,
}


def main() -> None:
    """Trace four scenes and draw what the page shows."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, default=HERE)
    parser.add_argument("--share", type=float, default=1.0, help="of the usual number of photons")
    options = parser.parse_args()
    found = {name: _trace(name, photons * options.share) for name, photons in PHOTONS.items()}
    draw(options.folder, *found.values())


def _trace(name: str, photons: float) -> underlit.Result:
    return underlit.trace(underlit.load_scene(SCENES / f"{name}.toml"), photons=int(photons))


def draw(
    folder: Path,
    rocks: underlit.Result,
    wood: underlit.Result,
    two_bars: underlit.Result,
    deep: underlit.Result,
):
    """Every picture of the page, in the order of the page."""
    cube = underlit.load_scene(SCENES / "a-kitchen-cube")
    pictures = {
        "check": figures.scene_figure(cube),
        "soil": figures.soil_figure(rocks),
        "soil-dark": figures.soil_figure(rocks, theme="dark", unit="in"),
        "sections": figures.section_figure(wood),
        "panes": figures.panes_figure(wood),
        "hardscape": figures.hardscape_figure(wood),
        "front": figures.front_figure(wood),
        "front-compare": figures.front_compare_figure(
            [Reading(deep, {"bar": 0, f"bar / {name}": 1}) for name in ("cool white", "warm white")],
            ["cool white, 6500 K", "warm white, 3000 K"],
        ),
        "budget": figures.budget_figure(rocks),
        "spectra": figures.spectra_figure(deep),
        "depth": figures.profile_figure(deep),
        "zones": figures.zones_figure(wood),
        "day": figures.day_figure(wood),
        "compare": figures.compare_figure([wood, two_bars]),
        "difference": figures.difference_figure(wood, two_bars),
    }
    for name, figure in pictures.items():
        figures.save(figure, folder / f"{name}.png")


if __name__ == "__main__":
    main()
