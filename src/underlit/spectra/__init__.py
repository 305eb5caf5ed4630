"""Everything that is a function of wavelength: lamps, water, glass, surfaces, leaves, weightings."""

from underlit.spectra.emitters import led, white
from underlit.spectra.files import read_spectrum
from underlit.spectra.interpolation import NODES_NM, hat_matrix, hat_weights, transport_guide
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
from underlit.spectra.spectrum import GRID_NM, Spectrum, max_efficacy_umol_per_J
from underlit.spectra.water import (
    WaterType,
    water_absorption_per_m,
    water_density_kg_m3,
    water_index,
    water_types,
)
from underlit.spectra.weighting import ACTIONS, BANDS_NM, lumens_per_umol, weighting, weighting_names

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
    "lumens_per_umol",
    "max_efficacy_umol_per_J",
    "plant_bands",
    "read_spectrum",
    "surface_names",
    "surface_reflectance",
    "transport_guide",
    "water_absorption_per_m",
    "water_density_kg_m3",
    "water_index",
    "water_types",
    "weighting",
    "weighting_names",
    "white",
]
