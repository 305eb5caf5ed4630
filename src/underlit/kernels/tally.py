"""Booking light to the cells of the flat grids it comes through or lands on."""

from __future__ import annotations

import numpy as np

from underlit.kernels.arrays import BOTTOM, FIRST_PANE_GRID, FIRST_PLANE_GRID, FRONT, SOIL_GRID, SURFACE_GRID
from underlit.kernels.bands import deposit
from underlit.kernels.jit import inlined_kernel, kernel
from underlit.kernels.reach import MESH, SOIL, WALL

NO_CELL, NO_GRID = np.int64(-1), np.int64(-1)


@inlined_kernel
def grid_cell(grid, g, u, v):
    """Tally cell of grid `g` at (u, v), clamped to the grid."""
    k = np.uintp(g)  # no index from the end
    per_u, per_v, nu, nv = grid.cells[k, 0], grid.cells[k, 1], grid.cells[k, 2], grid.cells[k, 3]
    iu, iv = np.int64(min(max(u * per_u, 0.0), nu - 1.0)), np.int64(min(max(v * per_v, 0.0), nv - 1.0))
    return np.int64(grid.first[k] + iv * np.int64(nu) + iu)


@inlined_kernel
def plane_cell(grid, k, px, py, pz, dx, dy, dz, z_end):
    """Tally cell at which a downward stretch of path goes through plane `k`, or none; and how far along. [m]"""
    z = grid.plane_z_m[k]
    if z_end <= z < pz:
        s = (z - pz) / dz
        return grid_cell(grid, FIRST_PLANE_GRID + k, px + dx * s, py + dy * s), s
    return NO_CELL, 0.0


@inlined_kernel
def land(scene, event, face, wet, surface, px, py, pz, dx, dy, dz, nx, ny, nz, v, cells):
    """Book light that arrives at the soil, at a mesh, at the inside of a pane, or from above at the water surface.

    The soil's map is one of a horizontal plane: a meter held level sees a ray by |dz|, the soil by |d.n|, and their
    ratio turns what lands into what the meter would read. A mesh is booked by its own surface.
    """
    grid, cell, again, share = NO_GRID, NO_CELL, NO_CELL, 1.0
    a, b = px, py
    if event == SOIL:
        if dz < 0.0:
            share = -dz * nz / max(-(dx * nx + dy * ny + dz * nz), 1e-3)
            grid = SOIL_GRID
    elif event == MESH:
        cell = np.int64(scene.mesh.cell[face])
    elif surface:
        if not wet:
            grid = SURFACE_GRID
    elif event == WALL:
        grid = np.int64(FIRST_PANE_GRID + face)
        if face < FRONT:
            a, b = py, pz
        elif face < BOTTOM:
            b = pz
        else:  # light that reaches the bottom meets no soil: the soil's map goes on there
            again = grid_cell(scene.grid, SOIL_GRID, px, py)
    if grid != NO_GRID:
        cell = grid_cell(scene.grid, grid, a, b)
    while cell >= 0:
        deposit(v, share, cells, cell)
        cell, again = again, NO_CELL


@kernel
def clear(part):
    """Set a tally (N, B) to nothing; a loop, as numba sets a slice number by number."""
    for i in range(part.shape[0]):
        for b in range(part.shape[1]):
            part[i, b] = 0.0


@kernel
def add_to(total, part, scale):
    """Add a float tally to a fixed-point one; integer addition has no order, so no number of threads shows in it."""
    for i in range(total.shape[0]):
        for b in range(total.shape[1]):
            total[i, b] += np.int64(np.rint(part[i, b] * scale))
