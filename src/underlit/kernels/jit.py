"""The one way kernels are compiled.

`contract` and `nsz` are the only relaxations: `fastmath=True` would let the compiler assume that nothing is ever
infinite or NaN, and breaks `isfinite`.
"""

from __future__ import annotations

import numba

_OPTIONS = {"cache": True, "nogil": True, "error_model": "numpy"}
_RELAXED = {"contract", "nsz"}

# `_nrt=False`: kernels own no memory. With numba's reference counts each touch of an array of the scene would cost
# an atomic operation, nine tenths of the run time; scratch arrays come from the caller instead.
kernel = numba.njit(**_OPTIONS, fastmath=_RELAXED, _nrt=False)

# For sums in any order, which vector instructions need.
summing_kernel = numba.njit(**_OPTIONS, fastmath=_RELAXED | {"reassoc"}, _nrt=False)

outlined_kernel = kernel  # where a target has code that is called from many places once

# For kernels that take the whole scene. They are never called from Python, which saves compiling a way in. A call
# copies some hundred words of array headers onto the stack, so what runs at every event is inlined, and compiled
# again wherever it is; what runs rarely or for long is called.
_NO_WAY_IN = {"_nrt": False, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}
_INLINED = {**_NO_WAY_IN, "forceinline": True}
inlined_kernel = numba.njit(**_OPTIONS, **_INLINED, fastmath=_RELAXED)
called_kernel = numba.njit(**_OPTIONS, **_NO_WAY_IN, fastmath=_RELAXED)

# For a large kernel with one caller: merged into it before it is compiled, so that it is compiled once.
merged_kernel = numba.njit(**_OPTIONS, fastmath=_RELAXED, _nrt=False, inline="always")

# Where watertightness rests on the same rounding in neighbouring triangles: nothing fused.
# Said outright, as numba lets a kernel inherit from its caller what it leaves open.
exact_kernel = numba.njit(**_OPTIONS, fastmath=False, _nrt=False)
inlined_exact_kernel = numba.njit(**_OPTIONS, **_INLINED, fastmath=False)

# For preparation, which makes arrays.
builder = numba.njit(**_OPTIONS)
