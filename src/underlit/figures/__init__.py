"""Pictures of scenes and results; each function returns a matplotlib `Figure` of its own."""

from underlit.figures.album import (
    budget_figure,
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
from underlit.figures.compare import difference_figure, shade_figure, shared_scale
from underlit.figures.drafting import scene_drawing, scene_figure
from underlit.figures.scale import Band, Scale, scale_for
from underlit.figures.style import save

__all__ = [
    "Band",
    "Scale",
    "budget_figure",
    "difference_figure",
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
    "zones_figure",
]
