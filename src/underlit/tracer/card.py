"""A CUDA card as the place where photons are traced.

The card runs the kernels of the CPU from the same source (see `kernels.cuda`). All light is carried by photons there:
first light on the soil is not solved for as on the CPU, where a photon costs so much more.
"""

from __future__ import annotations

import functools
import math
import re
from typing import Any

import numpy as np

from underlit.errors import UnderlitError
from underlit.kernels.arrays import AIR_GAP, BEAM_TABLE, BONDED, EVEN_DISC, LED_LIST, TUBE, SceneArrays
from underlit.kernels.rng import sobol_directions
from underlit.tracer.tally import SCALE, Tally

THREADS = 256  # of a block, or fewer where its shared memory has no room for so many
_REGISTERS = 64  # of a thread, so that a processor of the card holds 1024
_RESERVE = 1 << 29  # room left on the card for the program and its stacks [bytes]

# Rough speeds by which `auto` judges: photons per second of a core and of a card, and seconds to compile.
CORE_PHOTONS_S, CARD_PHOTONS_S, COMPILING_S = 5e6, 1e9, 15.0


class NoCardError(Exception):
    """Why no card can be used, as a clause."""


def wants_card(device: str, photons: int | None, threads: int) -> bool:
    """Whether to try a card: `device` is "cpu", "gpu", or "auto" to judge by the number of photons."""
    if device not in ("cpu", "gpu", "auto"):
        raise UnderlitError(f"no device {device!r}.", where="device", hint="Devices are cpu, gpu and auto.")
    if device != "auto":
        return device == "gpu"
    return photons is not None and photons >= photons_that_pay(threads)


def photons_that_pay(threads: int) -> float:
    """Photons from which on a card is done before so many threads of a CPU are."""
    gain_s = 1.0 / (CORE_PHOTONS_S * threads) - 1.0 / CARD_PHOTONS_S
    return COMPILING_S / gain_s if gain_s > 0.0 else math.inf


def cuda_of_card():
    """numba's CUDA module, with a card that it can use.

    Raises
    ------
    NoCardError
    """
    try:
        cuda = cuda_module()
    except ImportError as error:
        raise NoCardError("numba-cuda is not installed (pip install underlit[cuda])") from error
    except Exception as error:  # a broken CUDA installation fails in many ways, all outside this program
        raise NoCardError(f"numba-cuda does not load: {_first_line(error)}") from error
    try:
        cuda.current_context()
    except Exception as error:  # no driver, an old one, no card: each has its own class, by version
        raise NoCardError(f"no CUDA card can be used: {_first_line(error)}") from error
    return cuda


def cuda_module():
    """numba's CUDA module, as numba-cuda has it."""
    if not hasattr(np, "row_stack"):  # gone in numpy 2.5, asked for by numba-cuda 0.30
        np.row_stack = np.vstack  # type: ignore[attr-defined]  # noqa: NPY201
    import numba
    import numba_cuda  # noqa: F401
    from numba import cuda

    numba.config.CUDA_LOW_OCCUPANCY_WARNINGS = 0  # type: ignore[attr-defined]  # few photons need few threads
    return cuda


def _first_line(error: Exception) -> str:
    """What an error says, in one line."""
    lines = [
        re.sub("^error at driver init:?", "", line.strip(), flags=re.I).strip(" :.")
        for line in str(error).splitlines()
    ]
    said = [line for line in lines if line]
    return said[0] if said else type(error).__name__


def features_of(arrays: SceneArrays, sources) -> dict[str, bool]:
    """Which of `kernels.features` a scene has; the rest is left out of its kernels."""
    tank, cover = arrays.tank, arrays.cover
    return {
        "MESHES": arrays.mesh.n_faces > 0,
        "HOUSINGS": bool(arrays.mesh.top_m > tank.lz_m),
        "HILLS": not arrays.soil.is_plane,
        "SCATTERING": tank.scattering_per_m > 0.0,
        "CANOPIES": arrays.canopy.n > 0,
        "RIPPLE": tank.slope_rms > 0.0,
        "LID": bool(cover.has_lid),
        "STRIPS": cover.strips_clear.size > 0,
        "FLOATERS": cover.floater_cover > 0.0,
        "FILMS": bool((tank.backing == AIR_GAP).any()),
        "BONDED_FILMS": bool((tank.backing == BONDED).any()),
        "DIRT": bool((tank.clear < 1.0).any()),
        "PLANES": arrays.grid.plane_z_m.size > 0,
        "TABLES": any(source.beam == BEAM_TABLE for source in sources),
        "DISCS": any(source.layout == EVEN_DISC for source in sources),
        "LEDS": any(source.layout == LED_LIST for source in sources),
        "TUBES": any(source.layout == TUBE for source in sources),
        "GATHERING": False,
    }


class Program:
    """Kernels for scenes with the same features, bands and entries of the light budget.

    Parameters
    ----------
    features : tuple of (str, bool)
    threads : int
        Of a block.
    n_bands, n_sinks : int
    """

    def __init__(self, features: tuple, threads: int, n_bands: int, n_sinks: int) -> None:
        from underlit.kernels.cuda.twin import Twins

        self.threads = threads
        self._twins = Twins(dict(features), {"THREADS": threads, "N_BANDS": n_bands, "N_SINKS": n_sinks})
        self.shared_bytes = 4 * self._twins.module("cuda.sizes").END

    @functools.cached_property
    def kernel(self):
        """The dispatcher of `kernels.cuda.loop.trace_on_card`."""
        return self._twins.module("cuda.loop").compiled(_REGISTERS)

    def bvh(self, scalar):
        """A `ScalarBvh` as the card's kernels take it."""
        return self._twins.module("bvh").card_layout(scalar)


program = functools.cache(Program)


def fitting_program(features: dict[str, bool], n_bands: int, n_sinks: int, block_bytes: int) -> Program:
    """The program with as many threads to a block as its shared memory has room for.

    Raises
    ------
    NoCardError
    """
    threads = THREADS
    while threads >= 32:
        made = program(tuple(features.items()), threads, n_bands, n_sinks)
        if made.shared_bytes <= block_bytes:
            return made
        threads //= 2
    raise NoCardError(f"the card has too little shared memory for {n_bands} bands")


class Card:
    """A card that traces into a tally, layer by layer.

    Parameters
    ----------
    tally : Tally
        Of a scene packed with the scalar layout of its BVH, and nothing gathered.

    Raises
    ------
    NoCardError
        There is no card, or it has too little memory.
    """

    first_batch, largest_batch = 2**16, 2**22  # photons of a stream in one layer
    each = map

    def __init__(self, tally: Tally) -> None:
        self._cuda = cuda = cuda_of_card()
        from underlit.kernels.cuda.twin import single

        self.tally, arrays, sources = tally, tally.packed.arrays, tally.lamps.sources
        device = cuda.get_current_device()
        self.name = device.name.decode() if isinstance(device.name, bytes) else device.name
        self._check_memory(tally.cells.nbytes + tally.sinks.nbytes)
        self._program = fitting_program(
            features_of(arrays, sources),
            arrays.n_bands,
            -(-len(tally.packed.sinks) // 8) * 8,  # so that scenes that differ by a stone share a program
            device.MAX_SHARED_MEMORY_PER_BLOCK_OPTIN,
        )
        self._scene = self._sent(single(arrays))
        self._bvh = self._sent(self._program.bvh(tally.packed.bvh))
        self._sources = [self._sent(single(source)) for source in sources]
        self._directions = cuda.to_device(sobol_directions())
        # Light, packets of weight 1, and light budget of each source, see `trace_on_card`.
        self._sums = [
            [
                cuda.to_device(np.ascontiguousarray(part))
                for part in (cells, np.zeros(cells.shape[:2], np.int64), sinks)
            ]
            for cells, sinks in zip(tally.cells.swapaxes(0, 1), tally.sinks.swapaxes(0, 1), strict=True)
        ]
        self._fetched, self._none_fetched = (
            cuda.to_device(np.zeros(tally.replicates, np.int32)) for _ in range(2)
        )
        self._kernel: Any = None
        self._processors = device.MULTIPROCESSOR_COUNT
        self.blocks = 0  # of a launch; 0 for as many as the card holds

    def _check_memory(self, tally_bytes: int) -> None:
        free, _ = self._cuda.current_context().get_memory_info()
        if self.tally.cells[:, 0, :, 0].size >= 2**31:
            raise NoCardError("this scene has more cells than a card's kernels can number")
        if tally_bytes + _RESERVE > free:
            raise NoCardError(
                f"the card has {free / 2**30:.1f} GiB free, this scene's tallies want"
                f" {(tally_bytes + _RESERVE) / 2**30:.1f} GiB"
            )

    def __enter__(self) -> Card:
        return self

    def __exit__(self, *_) -> None:
        del self._scene, self._bvh, self._sources, self._directions, self._sums

    def _sent(self, value: Any):
        """A tuple with its arrays on the card."""
        if isinstance(value, np.ndarray):
            # A card takes no array of length 0; nothing reads the stand-in.
            full = value if value.size else np.zeros([max(n, 1) for n in value.shape], value.dtype)
            return self._cuda.to_device(np.ascontiguousarray(full))
        if isinstance(value, tuple):
            return type(value)(*(self._sent(item) for item in value))
        return value

    def start(self, source: int, first: int, count: int) -> None:
        """Start tracing photons `first` to `first + count` of a source in every replicate."""
        arguments = (
            self._scene, self._bvh, self._sources[source], self._directions, self.tally.seed, source,
            len(self._sources), first, count, self._fetched, *self._sums[source],
        )  # fmt: skip
        if self._kernel is None:
            self._kernel = self._program.kernel.specialize(*arguments)
            at_once = self._blocks_at_once()
            self.blocks = self.blocks or self._processors * at_once
        self._fetched.copy_to_device(self._none_fetched)
        self._kernel[self.blocks, self._program.threads, 0, self._program.shared_bytes](*arguments)

    def _blocks_at_once(self) -> int:
        """Blocks that a processor of the card holds, once it may give each its shared memory."""
        from numba.cuda.cudadrv.driver import binding, driver

        (compiled,) = self._kernel.overloads.values()
        function, shared = compiled._codelibrary.get_cufunc(), self._program.shared_bytes
        # More than the 48 KiB that any kernel may have: a driver asks to be told so.
        attribute = binding.CUfunction_attribute.CU_FUNC_ATTRIBUTE_MAX_DYNAMIC_SHARED_SIZE_BYTES
        driver.cuKernelSetAttribute(attribute, shared, function.handle, function.device.id)
        context = self._cuda.current_context()
        return context.get_active_blocks_per_multiprocessor(function, self._program.threads, shared)

    def layer(self, counts: np.ndarray) -> bool:
        """Trace so many photons of each source in every replicate.

        Parameters
        ----------
        counts : ndarray of int, shape (n_sources,)

        Returns
        -------
        bool
            Whether Ctrl-C came meanwhile; a second Ctrl-C is passed on.
        """
        interrupted = False
        for source, count in enumerate(counts):
            self.start(source, int(self.tally.done[source]), int(count))
        try:
            self._cuda.synchronize()
        except KeyboardInterrupt:
            interrupted = True
            self._cuda.synchronize()
        self.read()
        self.tally.done += counts
        return interrupted

    def read(self) -> None:
        """Copy the sums to the tally."""
        for source, sums in enumerate(self._sums):
            light, white, sinks = (part.copy_to_host() for part in sums)
            self.tally.cells[:, source] = light + white[..., None] * np.int64(SCALE)
            self.tally.sinks[:, source] = sinks
