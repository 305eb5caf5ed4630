"""Physical constants and named tolerances."""

from __future__ import annotations

# Photons per joule at one wavelength: lambda / (h c N_A) = UMOL_PER_J_NM * lambda[nm]  [umol J-1 nm-1].
# From the exact SI values of h, c and N_A (SI brochure, 9th edition, 2019).
PLANCK_J_S = 6.62607015e-34
LIGHT_SPEED_M_S = 299_792_458.0
AVOGADRO_PER_MOL = 6.02214076e23
UMOL_PER_J_NM = 1e6 * 1e-9 / (PLANCK_J_S * LIGHT_SPEED_M_S * AVOGADRO_PER_MOL)

# Luminous efficacy of 540 THz radiation (SI brochure) times the CIE's maximum of V(lambda) near 555 nm.
KM_LM_PER_W = 683.002

# Refractive index of air relative to vacuum, standard air near 550 nm (Edlén 1966, Metrologia 2:71).
N_AIR = 1.00027

# Geometry: lengths are metres, a tank is of the order of 1 m, the BVH holds float32.
SURFACE_OFFSET_M = 2e-6  # how far a path leaves a mesh or the soil along the normal before it goes on
