"""All that trace the benchmark tank. Each is built in a process of its own, see `benchmarks.worker`.

A contender has `unit` (what it counts as one), `bands`, `streams` (independent estimates that a run yields) and
`run(n, threads, seed)`, which gives light landing on each soil cell per unit light emitted, shape (streams, bands, ny,
nx).
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module


@dataclass(frozen=True)
class Entry:
    """A contender by name.

    Parameters
    ----------
    title : str
        In tables.
    module, maker : str
        Where it is made.
    arguments : tuple
        For the maker.
    first : int
        Units in the first, smallest run.
    """

    title: str
    module: str
    maker: str
    arguments: tuple = ()
    first: int = 20_000

    def build(self):
        """Import and make it; ImportError when something is missing."""
        return getattr(import_module(f"benchmarks.contenders.{self.module}"), self.maker)(*self.arguments)


ENTRIES = {
    "underlit-1": Entry("underlit, one wavelength", "engine", "Engine", (1,)),
    "underlit-16": Entry("underlit, 16 bands", "engine", "Engine", (16,)),
    "underlit-16-traced": Entry("underlit, 16 bands, no gathering", "engine", "Engine", (16, False)),
    "plain-1": Entry("plain photons, one wavelength", "plain", "Plain", (1,)),
    "plain-16": Entry("plain photons over 16 bands", "plain", "Plain", (16,)),
    "drjit-loop": Entry("Dr.Jit photon loop by hand", "drjit_loop", "PhotonLoop"),
    "mitsuba-ptracer": Entry("Mitsuba 3 `ptracer`", "mitsuba_ready", "ParticleTracer"),
    "mitsuba-path": Entry("Mitsuba 3 `path`, irradiance meter", "mitsuba_ready", "IrradianceMeter"),
    "raysect": Entry("raysect, mesh camera on the soil", "raysect_meter", "RaysectMeter"),
}

# The contender that others are divided by, and those whose every wavelength needs a run of its own.
OURS, OURS_SPECTRAL = "underlit-1", "underlit-16"
PEERS = ("drjit-loop", "mitsuba-ptracer", "mitsuba-path", "raysect")
