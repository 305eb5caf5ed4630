"""Russian roulette: faint paths end by chance, and the rest carry their weight."""

from __future__ import annotations

from underlit.kernels.arrays import ROULETTE
from underlit.kernels.bands import book, mean, scale
from underlit.kernels.draws import uniform
from underlit.kernels.jit import kernel

# Below this mean weight a path plays Russian roulette; 0.1 costs a third of the figure of merit, 1 is analog.
ROULETTE_BELOW = 0.6


@kernel
def survives(v, n_bands, sinks, rng, seed):
    """Russian roulette: end a faint packet, or raise it to mean weight 1. What it wins or loses is booked."""
    weight = mean(v, n_bands)
    if weight >= ROULETTE_BELOW:
        return True
    if uniform(rng, seed) < weight:
        scale(v, 1.0 / weight, sinks, ROULETTE)
        return True
    book(v, sinks, ROULETTE)
    return False
