"""The one way kernels are compiled.

`contract` and `nsz` are the only relaxations: `fastmath=True` would let the compiler assume that nothing is ever
infinite or NaN, and breaks `isfinite`.
"""

from __future__ import annotations

import numba

_OPTIONS = {"cache": True, "nogil": True, "error_model": "numpy"}
_RELAXED = {"contract", "nsz"}

kernel = numba.njit(**_OPTIONS, fastmath=_RELAXED)

# For kernels that take the whole scene: a call would copy some hundred words of array headers onto the stack.
inlined_kernel = numba.njit(**_OPTIONS, fastmath=_RELAXED, forceinline=True)

# Where watertightness rests on the same rounding in neighbouring triangles: nothing fused.
exact_kernel = numba.njit(**_OPTIONS)
