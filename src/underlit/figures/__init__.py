"""Pictures of scenes and results; each function returns a matplotlib `Figure` of its own."""

from underlit.figures.album import (
    budget_figure,
    day_figure,
    hardscape_figure,
    light_scale,
    panes_figure,
    profile_figure,
    save_all,
    section_figure,
    soil_figure,
    spectra_figure,
    zones_figure,
)
from underlit.figures.buying import buying_figure
from underlit.figures.compare import compare_figure, difference_figure, shade_figure, shared_scale
from underlit.figures.curves import Curve, curves_figure
from underlit.figures.drafting import scene_drawing, scene_figure
from underlit.figures.front import front_compare_figure, front_figure
from underlit.figures.scale import Band, Scale, scale_for
from underlit.figures.style import save
from underlit.figures.table import Column, table_figure

__all__ = [
    "Band",
    "Column",
    "Curve",
    "Scale",
    "budget_figure",
    "buying_figure",
    "compare_figure",
    "curves_figure",
    "day_figure",
    "difference_figure",
    "front_compare_figure",
    "front_figure",
    "hardscape_figure",
    "light_scale",
    "panes_figure",
    "profile_figure",
    "save",
    "save_all",
    "scale_for",
    "scene_drawing",
    "scene_figure",
    "section_figure",
    "shade_figure",
    "shared_scale",
    "soil_figure",
    "spectra_figure",
    "table_figure",
    "zones_figure",
]
