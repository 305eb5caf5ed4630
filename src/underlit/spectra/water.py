"""Optics of water: absorption by water, dissolved colour and algae; refractive index; presets."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from underlit.constants import N_AIR
from underlit.errors import DataError
from underlit.spectra.tables import shipped

PURE_WATER_T_C = 22.0  # of the absorption measurement of Pope & Fry 1997
CHLOROPHYLL_SCALE = 0.06, 0.65  # a(440) = 0.06 C^0.65 [1/m], Prieur & Sathyendranath 1981; C in mg m-3

# Release IAPWS R9-97 on the refractive index of ordinary water: coefficients a0..a7 and the two resonances.
_R9_97 = (0.244257733, 9.74634476e-3, -3.73234996e-3, 2.68678472e-4, 1.58920570e-3, 2.45934259e-3,
          0.900704920, -1.66626219e-2)  # fmt: skip
_R9_97_UV, _R9_97_IR = 0.2292020, 5.432937
# Density of water at 101.325 kPa, 0-40 degC: Tanaka et al. 2001, Metrologia 38:301, equation 1.
_TANAKA = (-3.983035, 301.797, 522528.9, 69.34881, 999.974950)


@dataclass(frozen=True)
class WaterType:
    """A water preset: what colours it and what clouds it.

    Attributes
    ----------
    name, note, source : str
    a440_per_m : float
        Absorption of dissolved colour at 440 nm. [m-1]
    slope_per_nm : float
        Its exponential slope. [nm-1]
    chlorophyll_mg_m3 : float
        Algae afloat. [mg m-3]
    scattering_per_m : float
        Scattering coefficient b. [m-1]
    asymmetry : float
        Mean cosine g of scattering (Henyey-Greenstein).
    """

    name: str
    a440_per_m: float
    slope_per_nm: float
    chlorophyll_mg_m3: float
    scattering_per_m: float
    asymmetry: float
    note: str
    source: str


@cache
def water_types() -> dict[str, WaterType]:
    """Water presets by name, from `data/water_types.csv`."""
    table = shipped("water_types")
    numbers = ("a440_per_m", "slope_per_nm", "chlorophyll_mg_m3", "scattering_per_m", "asymmetry")
    columns = {column: table.numbers(column) for column in numbers}
    types = {}
    for i, row in enumerate(table.rows()):
        values = {column: float(column_values[i]) for column, column_values in columns.items()}
        types[row["name"]] = WaterType(name=row["name"], note=row["note"], source=row["source"], **values)
    return types


def water_absorption_per_m(
    wavelength_nm: np.ndarray,
    a440_per_m: float = 0.0,
    slope_per_nm: float = 0.015,
    chlorophyll_mg_m3: float = 0.0,
    temperature_c: float = 25.0,
) -> np.ndarray:
    """Absorption coefficient of tank water (natural logarithm).

    Parameters
    ----------
    wavelength_nm : array_like, shape (n,)
        Within 380-780 nm. [nm]
    a440_per_m : float
        Absorption of dissolved colour at 440 nm. [m-1]
    slope_per_nm : float
        Its slope S in a440 exp(-S (wavelength - 440)), usually 0.014-0.018. [nm-1]
    chlorophyll_mg_m3 : float
        Chlorophyll of algae afloat; its law was fitted to 0.03-30 and is stretched beyond. [mg m-3]
    temperature_c : float
        [degC]

    Returns
    -------
    ndarray, shape (n,)
        [m-1]

    Notes
    -----
    Water: Pope & Fry 1997, Smith & Baker 1981, with the temperature coefficients of `water_temperature.csv`.
    Dissolved colour: Bricaud, Morel & Prieur 1981. Algae: Prieur & Sathyendranath 1981.
    """
    wavelength = _inside(wavelength_nm)
    for name, value in (("a440", a440_per_m), ("slope", slope_per_nm), ("chlorophyll", chlorophyll_mg_m3)):
        if not (np.isfinite(value) and value >= 0):
            raise DataError(f"got {name} = {value}, expected zero or more.", where="water")
    colour = a440_per_m * np.exp(-slope_per_nm * (wavelength - 440.0))
    scale, power = CHLOROPHYLL_SCALE
    algae = scale * chlorophyll_mg_m3**power * _column("phytoplankton", "relative", wavelength)
    return _pure(wavelength, temperature_c) + colour + algae


def _pure(wavelength: np.ndarray, temperature_c: float) -> np.ndarray:
    per_degc = _column("water_temperature", "da_dt_per_m_per_degc", wavelength)
    warm = _column("water_pure", "a_per_m", wavelength) + per_degc * (temperature_c - PURE_WATER_T_C)
    return np.maximum(warm, 0.0)


def water_density_kg_m3(temperature_c: float) -> float:
    """Density of pure water at 101.325 kPa, 0-40 degC (Tanaka et al. 2001). [kg m-3]"""
    if not 0.0 <= temperature_c <= 40.0:
        raise DataError(
            f"got {temperature_c} degC, expected a water temperature of 0-40 degC.", where="water"
        )
    a1, a2, a3, a4, a5 = _TANAKA
    t = temperature_c
    return a5 * (1.0 - (t + a1) ** 2 * (t + a2) / (a3 * (t + a4)))


def water_index(wavelength_nm: np.ndarray, temperature_c: float = 25.0) -> np.ndarray:
    """Refractive index of water relative to air.

    Parameters
    ----------
    wavelength_nm : array_like, shape (n,)
        In vacuum, 200-1100 nm. [nm]
    temperature_c : float
        0-40. [degC]

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    Release IAPWS R9-97 (Harvey, Gallagher & Levelt Sengers 1998, J. Phys. Chem. Ref. Data 27:761) gives n
    relative to vacuum; it is divided by the index of air, `N_AIR`.
    """
    a0, a1, a2, a3, a4, a5, a6, a7 = _R9_97
    rho = water_density_kg_m3(temperature_c) / 1000.0
    t = (temperature_c + 273.15) / 273.15
    l2 = (np.asarray(wavelength_nm, dtype=float) / 589.0) ** 2
    resonances = a5 / (l2 - _R9_97_UV**2) + a6 / (l2 - _R9_97_IR**2)
    lorentz_lorenz = rho * (a0 + a1 * rho + a2 * t + a3 * l2 * t + a4 / l2 + resonances + a7 * rho**2)
    return np.sqrt((1.0 + 2.0 * lorentz_lorenz) / (1.0 - lorentz_lorenz)) / N_AIR


def _inside(wavelength_nm: np.ndarray) -> np.ndarray:
    wavelength = np.atleast_1d(np.asarray(wavelength_nm, dtype=float))
    if wavelength.min() < 380.0 or wavelength.max() > 780.0:
        raise DataError("water absorption is known here for 380-780 nm only.", where="water")
    return wavelength


def _column(table: str, column: str, wavelength_nm: np.ndarray) -> np.ndarray:
    data = shipped(table)
    return np.interp(wavelength_nm, data.numbers("wavelength_nm"), data.numbers(column))
