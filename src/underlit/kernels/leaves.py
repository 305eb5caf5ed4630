"""Leaves as a turbid volume: which way a leaf faces, and how light leaves it."""

from __future__ import annotations

import math

from underlit.kernels.draws import uniform
from underlit.kernels.jit import kernel
from underlit.kernels.sampling import TWO_PI

# Rules of leaf inclination (0 = leaf lies flat): de Wit 1965, Photosynthesis of leaf canopies, Agric. Res. Rep. 663.
SPHERICAL, PLANOPHILE, ERECTOPHILE, PLAGIOPHILE, HORIZONTAL, VERTICAL = range(6)
ANGLE_RULES = ("spherical", "planophile", "erectophile", "plagiophile", "horizontal", "vertical")


@kernel
def relative_frequency(rule, inclination):
    """Frequency of a leaf inclination relative to its greatest value, for de Wit's trigonometric rules."""
    if rule == PLANOPHILE:
        return 0.5 * (1.0 + math.cos(2.0 * inclination))
    if rule == ERECTOPHILE:
        return 0.5 * (1.0 - math.cos(2.0 * inclination))
    return 0.5 * (1.0 - math.cos(4.0 * inclination))  # PLAGIOPHILE


@kernel
def leaf_normal(rule, rng, seed):
    """Upward unit normal of a random leaf."""
    if rule == SPHERICAL:
        nz = uniform(rng, seed)
    elif rule == HORIZONTAL:
        nz = 1.0
    elif rule == VERTICAL:
        nz = 0.0
    else:
        inclination = 0.5 * math.pi * uniform(rng, seed)
        while uniform(rng, seed) > relative_frequency(rule, inclination):
            inclination = 0.5 * math.pi * uniform(rng, seed)
        nz = math.cos(inclination)
    phi = TWO_PI * uniform(rng, seed)
    s = math.sqrt(max(0.0, 1.0 - nz * nz))
    return s * math.cos(phi), s * math.sin(phi), nz
