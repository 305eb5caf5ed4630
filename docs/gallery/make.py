"""Make the pictures of docs/figures.md from the shipped scenes.

python docs/gallery/make.py                         as they stand in the repository
python docs/gallery/make.py --folder /tmp/g --share 0.01    a quick try with a hundredth of the photons
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

import underlit
from underlit import figures
from underlit.figures.reading import Reading
from underlit.metrics.buying import offers
from underlit.metrics.zones import find_zones, report
from underlit.scene.bare import without_hardscape

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
    draw(options.folder, *found.values(), bare=_bare(found["b-rock-slope/scene"]))


def _trace(name: str, photons: float) -> underlit.Result:
    return underlit.trace(underlit.load_scene(SCENES / f"{name}.toml"), photons=int(photons))


def _bare(res: underlit.Result) -> underlit.Result:
    """The same tank without its hardscape."""
    scene = underlit.scene_from_text(without_hardscape(res.scene_text))
    return underlit.trace(scene, photons=res.n_photons)


def _dimming(res: underlit.Result) -> Figure:
    """Median of each plant zone at settings from a tenth to full: one trace gives them all."""
    percent = np.arange(10, 101, 10)
    curves = []
    for zone in find_zones(res):
        medians = [report(res, zone, setting / 100).median for setting in percent]
        value, error = (np.array([float(getattr(m, name)) for m in medians]) for name in ("value", "std_err"))
        curves.append(figures.Curve(zone.plant.name, percent, value, error))
    return figures.curves_figure(
        curves,
        x_name="all lamps (%)",
        y_name="median PPFD (µmol m⁻² s⁻¹)",
        title=f"{res.scene.title}: dimmed",
        subtitle="Median PPFD of each plant zone, all from one trace",
    )


def draw(
    folder: Path,
    rocks: underlit.Result,
    wood: underlit.Result,
    two_bars: underlit.Result,
    deep: underlit.Result,
    bare: underlit.Result,
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
        "shade": figures.shade_figure(bare, rocks),
        "dimming": _dimming(wood),
        "buying": figures.buying_figure(
            offers({"one bar": wood, "two bars": two_bars}), title="Driftwood: two ways to light it"
        ),
    }
    for name, figure in pictures.items():
        figures.save(figure, folder / f"{name}.png")


if __name__ == "__main__":
    main()
