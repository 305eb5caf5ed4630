"""What `place` found, as pictures: what each height costs, and the tank with its lamps."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from underlit.studies.place import Placing
from underlit.studies.search import Candidate

if TYPE_CHECKING:
    from underlit.figures import Curve

_MOST_CURVES = 5  # that can be told apart


def draw(found: Placing, folder: Path, fmt: str = "png", theme: str = "light", title: str = "") -> list[Path]:
    """Draw the trade between height and watts, spill and what is missing; the answer's tank, and its light.

    Parameters
    ----------
    found : Placing
    folder : Path
    fmt, theme : str
    title : str
        Of the scene.

    Returns
    -------
    list of Path
        The trade is only drawn where several heights were tried.
    """
    from underlit import figures

    drawn = [
        figures.save(figures.scene_figure(found.best.scene, theme=theme), folder / f"tank.{fmt}", theme),
        figures.save(figures.soil_figure(found.result, theme=theme), folder / f"soil.{fmt}", theme),
    ]
    if len({c.height_m for c in found.candidates}) < 2:
        return drawn
    possible = [c for c in found.candidates if c.possible]
    pages = {
        "power": ("Power for every target", "Power (W)", possible, lambda c: c.watts),
        "spill": ("Light into the room", "Light into the room (µmol s⁻¹)", possible, lambda c: c.spill_umol_s),
        "missing": ("What the worst zone lacks", "Missing share of the target (%)", found.candidates,
                    lambda c: 100 * c.short),
    }  # fmt: skip
    for name, (heading, y_name, candidates, value) in pages.items():
        curves = _curves(candidates, value)
        if not curves or (name == "missing" and len(possible) == len(found.candidates)):
            continue
        page = figures.curves_figure(
            curves[:_MOST_CURVES], x_name=f"Height above the {found.lamp.height_above} (cm)", y_name=y_name,
            title=f"{title}: {heading[0].lower()}{heading[1:]}" if title else heading,
            subtitle="At the best places for each height and number of lamps",
            notes=[_note(found, name)], theme=theme, mark=100 * found.best.candidate.height_m,
        )  # fmt: skip
        drawn.append(figures.save(page, folder / f"{name}.{fmt}", theme))
    return drawn


def _curves(candidates: list[Candidate], value) -> list[Curve]:
    """One curve for each number of lamps and tilt, along the heights."""
    from underlit.figures import Curve

    tilts = {c.tilt_rad for c in candidates}
    points: dict[str, list[tuple[float, float]]] = {}
    for c in sorted(candidates, key=lambda c: c.kind):
        name = "1 lamp" if len(c.places_m) == 1 else f"{len(c.places_m)} lamps"
        name += f", {np.degrees(c.tilt_rad):g}°" if len(tilts) > 1 else ""
        points.setdefault(name, []).append((100 * c.height_m, value(c)))
    return [Curve(name, *np.array(sorted(each)).T) for name, each in points.items()]


def _note(found: Placing, name: str) -> str:
    off = max(float(np.sqrt(np.mean(one.stand_in_error**2))) for one in found.finalists)
    note = f"By the stand-in, which the traces of the finalists found off by up to {100 * off:.1f} %. "
    if name != "missing" and not all(c.possible for c in found.candidates):
        note += "Heights at which some zone stays short of its target are left out. "
    return note + "Dashed: the height of the answer."
