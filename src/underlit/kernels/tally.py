"""Booking light to the cells of the flat grids it comes through or lands on."""

from __future__ import annotations

import numpy as np

from underlit.kernels.arrays import BOTTOM, FIRST_PANE_GRID, FIRST_PLANE_GRID, FRONT, SOIL_GRID, SURFACE_GRID
from underlit.kernels.bands import deposit, deposit_along
from underlit.kernels.jit import inlined_kernel, kernel
from underlit.kernels.reach import MESH, SOIL, WALL

NO_CELL = np.int64(-1)


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
def pane_cell(grid, face, px, py, pz):
    """Tally cell of a place at the inside of a pane."""
    if face < FRONT:
        return grid_cell(grid, FIRST_PANE_GRID + face, py, pz)
    if face < BOTTOM:
        return grid_cell(grid, FIRST_PANE_GRID + face, px, pz)
    return grid_cell(grid, FIRST_PANE_GRID + face, px, py)


@inlined_kernel
def land(scene, event, face, wet, surface, px, py, pz, dx, dy, dz, nx, ny, nz, v, cells):
    """Book light that arrives at the soil, at a mesh, at the inside of a pane, or from above at the water surface.

    The soil's map is one of a horizontal plane: a meter held level sees a ray by |dz|, the soil by |d.n|, and their
    ratio turns what lands into what the meter would read. A mesh is booked by its own surface.
    """
    cell, again, share = NO_CELL, NO_CELL, 1.0
    if event == SOIL:
        if dz < 0.0:
            share = -dz * nz / max(-(dx * nx + dy * ny + dz * nz), 1e-3)
            cell = grid_cell(scene.grid, SOIL_GRID, px, py)
    elif event == MESH:
        cell = np.int64(scene.mesh.cell[face])
    elif surface:
        if not wet:
            cell = grid_cell(scene.grid, SURFACE_GRID, px, py)
    elif event == WALL:
        cell = pane_cell(scene.grid, face, px, py, pz)
        if face == BOTTOM:  # light that reaches it meets no soil: the soil's map goes on there
            again = grid_cell(scene.grid, SOIL_GRID, px, py)
    while cell >= 0:
        deposit(v, share, cells, cell)
        cell, again = again, NO_CELL


@kernel
def add_to(total, part, scale):
    """Add a float tally to a fixed-point one; integer addition has no order, so no number of threads shows in it."""
    for i in range(total.shape[0]):
        for b in range(total.shape[1]):
            total[i, b] += np.int64(np.rint(part[i, b] * scale))
