"""Everything that is a function of wavelength: lamps, water, glass, surfaces, leaves, weightings."""

from underlit.spectra.emitters import led, white
from underlit.spectra.files import read_spectrum
from underlit.spectra.library import lamp, lamp_names
from underlit.spectra.materials import (
    glass,
    glass_names,
    leaf,
    leaf_names,
    surface_names,
    surface_reflectance,
)
from underlit.spectra.plants import PlantBand, cautions, plant_bands
from underlit.spectra.spectrum import (
    GRID_NM,
    NODES_NM,
    Spectrum,
    hat_matrix,
    hat_weights,
    max_efficacy_umol_per_J,
)
from underlit.spectra.water import (
    WaterType,
    water_absorption_per_m,
    water_density_kg_m3,
    water_index,
    water_types,
)
from underlit.spectra.weighting import ACTIONS, BANDS_NM, weighting, weighting_names

__all__ = [
    "ACTIONS",
    "BANDS_NM",
    "GRID_NM",
    "NODES_NM",
    "PlantBand",
    "Spectrum",
    "WaterType",
    "cautions",
    "glass",
    "glass_names",
    "hat_matrix",
    "hat_weights",
    "lamp",
    "lamp_names",
    "leaf",
    "leaf_names",
    "led",
    "max_efficacy_umol_per_J",
    "plant_bands",
    "read_spectrum",
    "surface_names",
    "surface_reflectance",
    "water_absorption_per_m",
    "water_density_kg_m3",
    "water_index",
    "water_types",
    "weighting",
    "weighting_names",
    "white",
]
