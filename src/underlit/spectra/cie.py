"""CIE illuminants and daylight, read from colour-science only when one is asked for."""

from __future__ import annotations

import numpy as np

from underlit.errors import DataError
from underlit.spectra.spectrum import Spectrum

CIE_NAMES = (
    "A", "D50", "D55", "D65", "D75", *(f"FL{i}" for i in range(1, 13)), *(f"HP{i}" for i in range(1, 6)),
    *(f"LED-B{i}" for i in range(1, 6)), "LED-BH1", "LED-RGB1", "LED-V1", "LED-V2",
)  # fmt: skip
"""Illuminants of CIE 015:2018 that can be named as lamps."""


def illuminant(name: str) -> Spectrum:
    """A CIE illuminant at its published steps, in relative power per nm."""
    from colour import SDS_ILLUMINANTS

    data = SDS_ILLUMINANTS[name]
    source = f"CIE 015:2018, illuminant {name}, through colour-science"
    return Spectrum(data.wavelengths, data.values, "watts", name, source)


def daylight(cct_k: float) -> Spectrum:
    """CIE daylight of a correlated colour temperature, in relative power per nm, 5 nm steps.

    Parameters
    ----------
    cct_k : float
        4000-25000. [K]

    Notes
    -----
    CIE 015:2018, the formulas of the D series. `D65` is this at 6504 K: the named illuminants were fixed
    before the radiation constant changed.
    """
    if not 4000.0 <= cct_k <= 25000.0:
        raise DataError(f"got daylight of {cct_k:g} K; the CIE formula holds for 4000-25000 K.")
    from colour.colorimetry import SDS_BASIS_FUNCTIONS_CIE_ILLUMINANT_D_SERIES as basis

    x, y = daylight_xy(cct_k)
    m = 0.0241 + 0.2562 * x - 0.7341 * y
    m1, m2 = (-1.3515 - 1.7703 * x + 5.9114 * y) / m, (0.0300 - 31.4424 * x + 30.0717 * y) / m
    value = basis["S0"].values + m1 * basis["S1"].values + m2 * basis["S2"].values
    source = "CIE 015:2018, D series, basis functions through colour-science"
    return Spectrum(basis["S0"].wavelengths, np.maximum(value, 0.0), "watts", f"daylight {cct_k:g} K", source)


def daylight_xy(cct_k: float) -> tuple[float, float]:
    """Chromaticity of CIE daylight (CIE 015:2018)."""
    t = 1000.0 / cct_k
    if cct_k <= 7000.0:
        x = -4.6070 * t**3 + 2.9678 * t**2 + 0.09911 * t + 0.244063
    else:
        x = -2.0064 * t**3 + 1.9018 * t**2 + 0.24748 * t + 0.237040
    return x, -3.000 * x**2 + 2.870 * x - 0.275
