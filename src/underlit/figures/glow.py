"""What the surfaces of a tank send towards the viewer: colour at every vertex, through any length of water."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from underlit import spectra
from underlit.figures.reading import Reading
from underlit.figures.screen import photon_weights
from underlit.metrics import maps
from underlit.results.result import Surface

N_PATHS = 9  # lengths of water tabled; between them the logarithm of X, Y, Z is straight
_LEAST = 1e-12  # of light, so that it has a logarithm [cd m-2]
_NEAREST = 8  # patches that a vertex of hardscape takes its light from
_TURN = 0.7  # how many patches' width two patches are apart for facing 1 rad away from each other


@dataclass(frozen=True)
class Waters:
    """Lengths of water between a surface and the front pane, and what is left of light after each.

    Attributes
    ----------
    path_m : ndarray, shape (P,)
        Rising from 0. [m]
    clear : ndarray, shape (P, 401)
        Transmittance.
    """

    path_m: np.ndarray
    clear: np.ndarray

    @classmethod
    def of(cls, absorption_per_m: np.ndarray, longest_m: float) -> Waters:
        """Lengths closer together where they are short."""
        path_m = longest_m * np.linspace(0.0, 1.0, N_PATHS) ** 1.5
        return cls(path_m, np.exp(-np.outer(path_m, absorption_per_m)))


@dataclass(frozen=True)
class Glow:
    """Light that a mesh sends out, through water.

    Attributes
    ----------
    log_xyz : ndarray, shape (V, P, 3 n), float32
        Logarithm of X, Y, Z at each vertex after each length of water, for each of n lights. [ln cd m-2]
    path_m : ndarray, shape (P,)
        [m]
    """

    log_xyz: np.ndarray
    path_m: np.ndarray

    def seen(self, vertex: np.ndarray, share: np.ndarray, path_m: np.ndarray) -> np.ndarray:
        """X, Y, Z of points that lie between vertices, after lengths of water.

        Parameters
        ----------
        vertex : ndarray of int, shape (n, k)
        share : ndarray, shape (n, k)
            Weight of each vertex; they add up to 1.
        path_m : ndarray, shape (n,)
            [m]

        Returns
        -------
        ndarray, shape (n, 3) or as many as `log_xyz` has
            [cd m-2]
        """
        i = np.clip(np.searchsorted(self.path_m, path_m, side="right") - 1, 0, len(self.path_m) - 2)
        u = (path_m - self.path_m[i]) / (self.path_m[i + 1] - self.path_m[i])
        share = np.asarray(share, np.float32)
        near, far = (np.einsum("nk,nkj->nj", share, self.log_xyz[vertex, at[:, None]]) for at in (i, i + 1))
        return np.exp(near + u[:, None] * (far - near))


def side_by_side(glows: Sequence[Glow]) -> Glow:
    """One mesh in several lights."""
    return Glow(np.concatenate([glow.log_xyz for glow in glows], axis=-1), glows[0].path_m)


def grid_glow(read: Reading, name: str, reflectance: np.ndarray, share: np.ndarray, waters: Waters) -> Glow:
    """Glow of a grid: at a vertex, the mean of the open parts of the cells around it.

    Parameters
    ----------
    read : Reading
    name : str
        Surface of the result.
    reflectance : ndarray, shape (401,)
    share : ndarray, shape (C,)
        Share of each cell that is open to light.
    waters : Waters
    """
    surface = read.res.surface(name)
    assert surface.shape is not None
    landed = _landed(read, name, reflectance, waters)
    landed = _corner_sums(landed.reshape(*surface.shape, -1))
    area = _corner_sums((surface.cell_area_m2 * share).reshape(*surface.shape, 1))
    least = 0.02 * area.max()
    mean = landed / np.maximum(area, least)
    return _glow(mean.reshape(-1, len(waters.path_m), 3), waters)


def mesh_glow(read: Reading, name: str, reflectance: np.ndarray, waters: Waters) -> Glow:
    """Glow of hardscape: at a vertex, a mean of the patches that are near and face the same way.

    Only the part of a patch that is out of the soil counts as its area.
    """
    surface = read.res.surface(name)
    area, cell, share = read.once(("near", name), lambda: _near_open(read, surface))
    landed = _landed(read, name, reflectance, waters)
    mean = landed / np.maximum(area, 0.1 * surface.cell_area_m2)[:, None]
    at_vertex = np.einsum("vk,vkp->vp", share, mean[cell])
    return _glow(at_vertex.reshape(-1, len(waters.path_m), 3), waters)


def _near_open(read: Reading, surface: Surface) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Area of each patch that is out of the soil [m2]; patches near each vertex, and their weights."""
    area = np.bincount(surface.cell_of_face, _open_areas(read, surface), surface.n_cells)
    return area, *_near_patches(surface, area)


def _landed(read: Reading, name: str, reflectance: np.ndarray, waters: Waters) -> np.ndarray:
    """Radiance sent back times area, per cell, through each length of water: (C, P * 3). [cd]"""
    by_channel = read.once(
        ("sent back", name, reflectance.tobytes()), lambda: _sent_back(read, name, reflectance, waters)
    )
    transport = read.res.transport(name).mean(axis=0)
    weights = np.zeros((transport.shape[0], *by_channel.shape[1:]))
    for channel, dim, row in zip(read.res.channels, read.dims, by_channel, strict=True):
        weights[channel.source] += dim * row
    lit = weights.any(axis=(1, 2))
    return np.einsum("scb,sbq->cq", transport[lit], weights[lit], optimize=True)


def _sent_back(read: Reading, name: str, reflectance: np.ndarray, waters: Waters) -> np.ndarray:
    """What photons of each channel are worth in X, Y, Z through each length of water: (M, B, P * 3)."""
    colours = photon_weights() * reflectance / np.pi
    rows = [
        maps.channel_weights(read.res, colour * clear, name) for clear in waters.clear for colour in colours
    ]
    return np.stack(rows, axis=-1)


def _glow(xyz: np.ndarray, waters: Waters) -> Glow:
    return Glow(np.log(np.maximum(xyz, _LEAST)).astype(np.float32), waters.path_m)


def _corner_sums(cells: np.ndarray) -> np.ndarray:
    """Sums over the cells that meet at each corner: (ny, nx, k) to (ny + 1, nx + 1, k)."""
    padded = np.pad(cells, [(1, 1), (1, 1), (0, 0)])
    rows = padded[:-1] + padded[1:]
    return rows[:, :-1] + rows[:, 1:]


def _open_areas(read: Reading, surface: Surface) -> np.ndarray:
    """Area of each face that stands out of the soil, (F,). [m2]"""
    corners = surface.vertices_m[surface.faces]
    doubled = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    above = corners[..., 2] > read.soil_height((corners[..., 1], corners[..., 0]))
    return 0.5 * np.linalg.norm(doubled, axis=1) * above.mean(axis=1)


def _near_patches(surface: Surface, area_m2: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Patches that each vertex takes its light from, and their weights: (V, k) both."""
    lit = np.flatnonzero(area_m2 > 0.1 * surface.cell_area_m2)
    if not len(lit):
        lit = np.arange(surface.n_cells)
    width = np.sqrt(np.median(surface.cell_area_m2))
    patches = np.hstack([surface.cell_centre_m / width, _TURN * surface.cell_normal])[lit]
    vertices = np.hstack([surface.vertices_m / width, _TURN * vertex_normals(surface)])
    apart, near = cKDTree(patches).query(vertices, k=min(_NEAREST, len(lit)))
    apart, near = apart.reshape(len(vertices), -1), near.reshape(len(vertices), -1)
    closeness = np.exp(-2.0 * (apart**2 - apart[:, :1] ** 2)) * area_m2[lit][near]
    total = closeness.sum(axis=1, keepdims=True)
    share = np.divide(closeness, total, out=np.full(closeness.shape, 1.0 / near.shape[1]), where=total > 0)
    return lit[near], share


def vertex_normals(surface: Surface) -> np.ndarray:
    """Unit normals of a mesh at its vertices, by area, (V, 3)."""
    corners = surface.vertices_m[surface.faces]
    doubled = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal = np.stack(
        [
            sum(np.bincount(surface.faces[:, k], doubled[:, j], len(surface.vertices_m)) for k in range(3))
            for j in range(3)
        ],
        axis=1,
    )
    return normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)


def reflectances(read: Reading) -> dict[str, np.ndarray]:
    """Reflectance of the soil and of each piece of hardscape by its surface's name, (401,) each.

    As the trace kept them, so that a material from a file needs no file any more.
    """
    scene, kept = read.scene, read.res.optics.reflectances if read.res.optics else {}
    materials = {"soil": scene.substrate.material} | {piece.name: piece.material for piece in scene.hardscape}
    same = {str(materials[name]): curve for name, curve in kept.items() if name in materials}
    found = {}
    for name, material in materials.items():
        curve = same.get(str(material))
        if curve is None:
            curve = spectra.surface_reflectance(material, spectra.GRID_NM, scene.folder)
        found["soil" if name == "soil" else f"hardscape {name}"] = curve
    return {name: curve for name, curve in found.items() if name in read.res.surfaces}
