"""The one way kernels are compiled.

`contract` and `nsz` are the only relaxations: `fastmath=True` would let the compiler assume that nothing is ever
infinite or NaN, and breaks `isfinite`.
"""

from __future__ import annotations

import numba

kernel = numba.njit(cache=True, nogil=True, fastmath={"contract", "nsz"}, error_model="numpy")

# Where watertightness rests on the same rounding in neighbouring triangles: nothing fused.
exact_kernel = numba.njit(cache=True, nogil=True, error_model="numpy")
