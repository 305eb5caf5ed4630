"""Booking light to the cells of the flat grids it comes through or lands on."""

from __future__ import annotations

import numpy as np

from underlit.kernels.arrays import BOTTOM, FIRST_PANE_GRID, FIRST_PLANE_GRID, FRONT, SOIL_GRID
from underlit.kernels.bands import deposit, deposit_along
from underlit.kernels.jit import inlined_kernel, kernel


@inlined_kernel
def grid_cell(grid, g, u, v):
    """Tally cell of grid `g` at (u, v), clamped to the grid."""
    iu = min(max(int(u * grid.per_u[g]), 0), grid.nu[g] - 1)
    iv = min(max(int(v * grid.per_v[g]), 0), grid.nv[g] - 1)
    return grid.offset[g] + iv * grid.nu[g] + iu


@inlined_kernel
def tally_planes(scene, wet, px, py, pz, dx, dy, dz, t, v, cells):
    """Book a downward stretch of path to every horizontal plane it goes through."""
    z = scene.grid.plane_z_m
    z_end = pz + dz * t
    for k in range(z.size):
        if z_end <= z[k] < pz:
            s = (z[k] - pz) / dz
            cell = grid_cell(scene.grid, FIRST_PLANE_GRID + k, px + dx * s, py + dy * s)
            if wet:
                deposit_along(v, scene.tank.a_water_per_m, s, cells, cell)
            else:
                deposit(v, 1.0, cells, cell)


@inlined_kernel
def tally_pane(grid, face, px, py, pz, v, cells):
    """Book light that arrives at the inside of a pane."""
    if face < FRONT:
        deposit(v, 1.0, cells, grid_cell(grid, FIRST_PANE_GRID + face, py, pz))
    elif face < BOTTOM:
        deposit(v, 1.0, cells, grid_cell(grid, FIRST_PANE_GRID + face, px, pz))
    else:
        deposit(v, 1.0, cells, grid_cell(grid, FIRST_PANE_GRID + face, px, py))
        # A bottom that light reaches is a floor without soil: its map is the soil's.
        deposit(v, 1.0, cells, grid_cell(grid, SOIL_GRID, px, py))


@kernel
def add_to(total, part, scale):
    """Add a float tally to a fixed-point one; integer addition has no order, so no number of threads shows in it."""
    for i in range(total.shape[0]):
        for b in range(total.shape[1]):
            total[i, b] += np.int64(np.rint(part[i, b] * scale))
