"""The one way kernels are compiled.

A kernel is compiled to machine code where Python calls it, with all that it calls; on its way there each of those is
only translated (`library`). numba would make machine code, and ways in from Python and C, of each of them too: half
of a first start.

`contract`, `nsz` and `arcp` are the only relaxations, of which the last divides several numbers by one as one division:
`fastmath=True` would let the compiler assume that nothing is ever infinite or NaN, and breaks `isfinite`.
"""

from __future__ import annotations

from threading import Lock

import numba
from numba.core.caching import FunctionCache
from numba.core.registry import CPUDispatcher

from underlit.kernels.library import CalledPart, Part, Whole

_OPTIONS = {"nogil": True, "error_model": "numpy", "no_cfunc_wrapper": True}
_OF_PART = {**_OPTIONS, "no_cpython_wrapper": True}
_RELAXED = {"contract", "nsz", "arcp"}
_ONE_AT_A_TIME = Lock()


class _Kept(FunctionCache):
    """numba's cache, without all that numba knows loaded first: code that is kept needs none of it."""

    def load_overload(self, sig, target_context):
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)


class Kernel(CPUDispatcher):
    """A kernel for other kernels to call. Python calls its `entry`: the same compiled whole, and kept on disk."""

    options: dict
    entry = None  # until it is first called

    def __call__(self, *args, **named):
        if self.entry is None:
            with _ONE_AT_A_TIME:
                if self.entry is None:
                    entry = numba.njit(**_OPTIONS, **self.options, pipeline_class=Whole)(self.py_func)
                    entry._cache = _Kept(self.py_func)
                    self.entry = entry
        return self.entry(*args, **named)


def _kernel(*, inlined=False, called=False, **options):
    """A decorator for kernels with such options of numba."""
    part = {**_OF_PART, **options, "pipeline_class": CalledPart if called else Part}
    if inlined or called:
        part["forceinline"] = inlined

    def decorate(function):
        if numba.config.DISABLE_JIT:
            return function
        dispatcher = numba.njit(**part)(function)
        dispatcher.__class__ = Kernel
        dispatcher.options = options
        return dispatcher

    return decorate


# `_nrt=False`: kernels own no memory. With numba's reference counts each touch of an array of the scene would cost
# an atomic operation, nine tenths of the run time; scratch arrays come from the caller instead.
kernel = _kernel(fastmath=_RELAXED, _nrt=False)

# For sums in any order, which vector instructions need.
summing_kernel = _kernel(fastmath=_RELAXED | {"reassoc"}, _nrt=False)

outlined_kernel = kernel  # where a target has code that is called from many places once

# What runs at every event is inlined, what runs rarely or for long is called: a packet, its tallies and its random
# numbers are handed on as some forty words. LLVM takes longer for one long function than for several short ones.
inlined_kernel = _kernel(inlined=True, fastmath=_RELAXED, _nrt=False)
called_kernel = _kernel(called=True, fastmath=_RELAXED, _nrt=False)

# Where watertightness rests on the same rounding in neighbouring triangles: nothing fused.
# Said outright, as numba lets a kernel inherit from its caller what it leaves open.
exact_kernel = _kernel(fastmath=False, _nrt=False)
inlined_exact_kernel = _kernel(inlined=True, fastmath=False, _nrt=False)

# For what stands for several kernels, by the types of its arguments: as its caller is compiled.
OF_OVERLOAD = {**_OF_PART, "_nrt": False, "forceinline": True, "pipeline_class": Part}
