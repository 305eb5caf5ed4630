"""Branching driftwood from a seed: a root crown, limbs that fork, and their skin."""

from __future__ import annotations

import math

import numpy as np

from underlit.errors import MeshError
from underlit.geometry import topology
from underlit.geometry.growth import Limb, grow
from underlit.geometry.mesh import Mesh, make_mesh
from underlit.geometry.noise import fractal_noise, ridged_noise
from underlit.geometry.surface import surface
from underlit.kernels.limb import RUN, grow_together, nearest_points

TRIANGLES = (1000, 500_000)
FINEST = 1.3  # radius of the thinnest twig in grid steps that still comes out whole
OUTSIDE = 0.7  # share of the surface of all limbs that does not lie inside another limb
MAX_CELLS = 120_000_000  # of the grid: about 1 GB while it is worked on


def wood(
    reach: float,
    *,
    radius_base: float = 0.025,
    radius_tip: float = 0.004,
    branches: int = 6,
    depth: int = 3,
    spread: float = math.radians(150.0),
    rise: float = math.radians(25.0),
    gnarl: float = 0.5,
    seed: int = 1,
    triangles: int = 60_000,
    name: str = "wood",
) -> Mesh:
    """A piece of branching driftwood that stands on its root crown and reaches to the right.

    Parameters
    ----------
    reach : float
        From the middle of the crown to the farthest tip, along x. [m]
    radius_base, radius_tip : float
        Of the crown, and of the finest twigs. [m]
    branches : int
        Main limbs that leave the crown, 1 to 30.
    depth : int
        How often limbs fork: 1 leaves the main limbs bare, at most 6.
    spread : float
        Angle of the fan of main limbs, seen from above; 2 pi is all round. [rad]
    rise : float
        Mean slope of the main limbs. [rad]
    gnarl : float
        0 is straight, 0.5 ordinary, 1 wild.
    seed : int
        Same seed, same wood.
    triangles : int
        About this many, 1000 to 500 000.

    Returns
    -------
    Mesh
        One closed skin; the origin is under the middle of the crown, at the lowest point. Twigs too thin
        for the number of triangles are thickened, and the report says so.

    Raises
    ------
    MeshError
        A value out of its range.
    """
    _check(reach, radius_base, radius_tip, branches, depth, gnarl, triangles)
    rng = np.random.default_rng(seed)
    limbs = grow(rng, reach, radius_base, radius_tip, branches, depth, spread, rise, gnarl)
    step = _grid_step(limbs, triangles)
    thinnest = FINEST * step
    notes = []
    if radius_tip < thinnest:
        notes.append(f"twigs are at least {2e3 * thinnest:.1f} mm thick: ask for more triangles to thin them")
        limbs = [limb.at_least(thinnest) for limb in limbs]
    vertices, faces = _skin(limbs, step)
    vertices, faces = _largest_piece(vertices, faces)
    vertices += _grain(vertices, faces, limbs, step, gnarl, seed)
    vertices *= reach / vertices[:, 0].max()
    vertices[:, 2] -= vertices[:, 2].min()
    return make_mesh(name, vertices, faces, notes)


def _check(reach, radius_base, radius_tip, branches, depth, gnarl, triangles) -> None:
    fewest, most = TRIANGLES
    faults = {
        f"reach {reach} m: must be above twice radius_base.": reach > 2.0 * radius_base,
        f"radius_base {radius_base} m, radius_tip {radius_tip} m: write 0 < tip <= base.": (
            0.0 < radius_tip <= radius_base
        ),
        f"branches {branches}: give 1 to 30.": 1 <= branches <= 30,
        f"depth {depth}: give 1 to 6.": 1 <= depth <= 6,
        f"gnarl {gnarl}: give a value from 0 to 1.": 0.0 <= gnarl <= 1.0,
        f"{triangles} triangles: give {fewest} to {most}.": fewest <= triangles <= most,
    }
    for what, fine in faults.items():
        if not fine:
            raise MeshError(what, where="wood")


def _grid_step(limbs: list[Limb], triangles: int) -> float:
    """Step that gives about so many triangles: a surface has 3 / step² per area, over all its slants. [m]"""
    points = np.concatenate([limb.points for limb in limbs])
    coarsest = float(np.prod(np.ptp(points, axis=0) + 0.05) / MAX_CELLS) ** (1 / 3)
    step = coarsest
    for _ in range(8):  # a coarser step thickens twigs, which adds area, which asks for a coarser step
        area = OUTSIDE * sum(limb.at_least(FINEST * step).area_m2 for limb in limbs)
        step = max(math.sqrt(3.0 * area / triangles), coarsest)
    return step


def _skin(limbs: list[Limb], step: float) -> tuple[np.ndarray, np.ndarray]:
    """Surface of all limbs, grown together where they meet. [m]"""
    widest = max(limb.radii.max() for limb in limbs)
    points = np.concatenate([limb.points for limb in limbs])
    low = points.min(axis=0) - 1.5 * widest - 3.0 * step
    shape = np.ceil((points.max(axis=0) + 1.5 * widest + 3.0 * step - low) / step).astype(int) + 1
    field = np.full(shape, np.inf, np.float32)
    for limb in limbs:
        _grow_together(field, limb, low, step)
    field[[0, -1]] = field[:, [0, -1]] = field[:, :, [0, -1]] = np.inf
    np.minimum(field, 1.0, out=field)
    vertices, faces = surface(field)
    return low + vertices * step, faces


def _grow_together(field: np.ndarray, limb: Limb, low: np.ndarray, step: float) -> None:
    """Take in one limb, with a fillet of about k where it meets others."""
    k = 0.9 * float(limb.radii[0])
    margin = k + 3.0 * step
    reach = limb.radii.max() * 1.3 + margin
    first = np.maximum(np.floor((limb.points.min(axis=0) - reach - low) / step).astype(int), 0)
    last = np.minimum(np.ceil((limb.points.max(axis=0) + reach - low) / step).astype(int) + 1, field.shape)
    own = np.full(last - first, np.inf, np.float32)
    limb.lower(own, low + first * step, step, margin)
    grow_together(field, tuple(first.tolist()), own, np.float32(k))


def _largest_piece(vertices: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    n, piece = topology.pieces(faces[:, [0, 1, 1, 2]].reshape(-1, 2), len(vertices))
    keep = piece == np.argmax(np.bincount(piece, minlength=n))
    number = np.cumsum(keep) - 1
    return vertices[keep], number[faces[keep[faces[:, 0]]]]


def _grain(vertices, faces, limbs: list[Limb], step: float, gnarl: float, seed: int) -> np.ndarray:
    """Displacement of each vertex along its normal: fibres that wind along the limbs, and bumps. [m]"""
    limbs = [limb.finer(4) for limb in limbs]
    axis = np.concatenate([limb.points for limb in limbs])
    radius = np.concatenate([limb.radii for limb in limbs])
    u, v = (np.concatenate([getattr(limb, key) for limb in limbs]) for key in ("u", "v"))
    along = np.concatenate([limb.along for limb in limbs])
    i, n_runs = np.empty(len(vertices), np.int64), -(-len(axis) // RUN)
    nearest_points(vertices, axis, np.empty((n_runs, 3)), np.empty(n_runs), i)
    offset = vertices - axis[i]
    r = radius[i]
    cross = np.stack([np.einsum("ij,ij->i", offset, w[i]) for w in (u, v)], axis=1) / r[:, None]
    tangent = np.cross(u[i], v[i])
    s = along[i] + np.einsum("ij,ij->i", offset, tangent)
    fibre = np.column_stack([cross * 2.2, s / r * 0.22])
    relief = 0.13 * (ridged_noise(fibre, seed + 5, octaves=3, cell=2.2 * step / r) - 0.9)
    bumps = fractal_noise(vertices / r[:, None] * 0.45, seed + 6, octaves=4, cell=0.45 * step / r)
    relief += (0.10 + 0.16 * gnarl) * bumps
    normal, area = topology.face_normals_areas(vertices, faces)
    columns = [np.bincount(faces.ravel(), np.repeat(area * n, 3), len(vertices)) for n in normal.T]
    outward = np.stack(columns, axis=1)
    length = np.maximum(np.linalg.norm(outward, axis=1), 1e-30)
    return (np.minimum(r, 0.03) * relief / length)[:, None] * outward
