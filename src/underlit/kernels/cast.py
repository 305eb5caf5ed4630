"""Many rays at once: what each of them meets first."""

from __future__ import annotations

from underlit.kernels.bvh import closest_hit
from underlit.kernels.jit import exact_kernel


@exact_kernel
def closest_hits(bvh, origin, direction, t_max, stack, t, face):
    """First triangle that each ray meets.

    Parameters
    ----------
    bvh : Bvh
    origin, direction : ndarray, shape (n, 3)
        [m]
    t_max : ndarray, shape (n,)
        Triangles further than this are not looked at. [length of the direction]
    stack : ndarray
        From `new_stack`.
    t : ndarray, shape (n,)
        Filled with the distance of each hit; `t_max` where there is none. [length of the direction]
    face : ndarray of int, shape (n,)
        Filled with the index of the triangle; -1 where there is none.
    """
    for i in range(len(t)):
        t[i], face[i] = closest_hit(
            bvh, origin[i, 0], origin[i, 1], origin[i, 2], direction[i, 0], direction[i, 1], direction[i, 2],
            t_max[i], -1, stack,
        )  # fmt: skip
