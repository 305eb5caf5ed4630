"""From light traced at a few wavelengths to light at every nanometre.

Transport is traced at nodes. Between them it is taken as straight lines, which makes a flux the plain sum
over nodes of `hat_weights` x transport. Straight lines cannot follow exp(-a L) in deep coloured water; there
a `transport_guide` carries the known absorption curves, and only the ratio to the guide is taken as straight.
Either way the flux stays linear in the transport.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from underlit.errors import DataError
from underlit.spectra.spectrum import GRID_NM, Spectrum

NODES_NM = np.array(
    [380, 405, 425, 447, 464, 483, 502, 525, 553, 589, 619, 650, 695, 723, 738, 780], dtype=float
)
"""Default wavelengths at which light is traced, shape (16,). [nm]

Placed by annealing so that straight lines err least over the tanks, lamps and cells of
`tests/validation/test_wavelength_nodes.py`: white light first, single colours next.
"""
NODES_NM.flags.writeable = False

# Paths a guide is mixed from: any light in a tank is a sum of such. Lengths go up by 1.2, close enough for
# the mixture to follow exp(-a L) from clear water to black.
_LENGTHS_M = (np.append(0.0, np.geomspace(0.1, 4.0, 20)), np.array([0.0, 0.02, 0.06, 0.15]))
_BOUNCES = (1, 2)


def hat_matrix(nodes_nm: np.ndarray) -> np.ndarray:
    """Straight-line interpolation from nodes to `GRID_NM`, constant beyond the outer nodes.

    Parameters
    ----------
    nodes_nm : array_like, shape (n_node,)
        Strictly increasing. [nm]

    Returns
    -------
    ndarray, shape (401, n_node)
        Row i holds the weights of the nodes at grid wavelength i; each row adds up to 1.
    """
    return _hat_matrix(tuple(float(node) for node in nodes_nm))


@lru_cache(maxsize=16)
def _hat_matrix(nodes_nm: tuple[float, ...]) -> np.ndarray:
    nodes = np.array(nodes_nm)
    if nodes.size < 1 or np.any(np.diff(nodes) <= 0):
        raise DataError("wavelength nodes must be strictly increasing.")
    matrix = np.stack([np.interp(GRID_NM, nodes, unit) for unit in np.eye(nodes.size)], axis=1)
    matrix.flags.writeable = False
    return matrix


def hat_weights(
    nodes_nm: np.ndarray, spectrum: Spectrum | np.ndarray, guide: np.ndarray | None = None
) -> np.ndarray:
    """Fold a spectrum onto transport nodes.

    Parameters
    ----------
    nodes_nm : array_like, shape (n_node,)
        Strictly increasing. [nm]
    spectrum : Spectrum, or ndarray of shape (..., 401)
        On `GRID_NM`; already multiplied by a weighting if one is wanted. [umol s-1 nm-1]
    guide : ndarray, shape (..., 401), optional
        From `transport_guide`; without one, transport is straight between nodes.

    Returns
    -------
    ndarray, shape (..., n_node)
        The flux that arrives is the sum over nodes of weight x transport. Unit of the spectrum times nm.
    """
    value = spectrum.on_grid().photons().value if isinstance(spectrum, Spectrum) else np.asarray(spectrum)
    if guide is None:
        return value @ hat_matrix(nodes_nm)
    return (value * guide) @ hat_matrix(nodes_nm) / _at_nodes(guide, nodes_nm)


def transport_guide(
    nodes_nm: np.ndarray,
    transport: np.ndarray,
    water_absorption_per_m: np.ndarray,
    glass_absorption_per_m: np.ndarray,
    reflectances: Sequence[np.ndarray] = (),
) -> np.ndarray:
    """A smooth curve with the known absorption lines of a scene, close to transport at the nodes.

    Parameters
    ----------
    nodes_nm : array_like, shape (n_node,)
        [nm]
    transport : ndarray, shape (..., n_node)
        Zero or more; its scale does not matter.
    water_absorption_per_m, glass_absorption_per_m : ndarray, shape (401,)
        On `GRID_NM`. [m-1]
    reflectances : sequence of ndarray, shape (401,)
        Of the surfaces that send much light on, on `GRID_NM`.

    Returns
    -------
    ndarray, shape (..., 401)
        Positive; 1 throughout where there is no transport.

    Notes
    -----
    Light at a place is a sum over paths, each exp(-a_water L - a_glass l) times reflectances. The guide is
    the mixture, with no negative shares, of a fixed set of such paths that fits the nodes best (non-negative
    least squares of relative errors). About 0.3 ms per row.
    """
    paths = _paths(water_absorption_per_m, glass_absorption_per_m, reflectances)
    rows = np.asarray(transport, dtype=float)
    flat = rows.reshape(-1, rows.shape[-1])
    paths_at_nodes = _at_nodes(paths, nodes_nm)
    guides = np.stack([_fit(row, paths, paths_at_nodes) for row in flat])
    return guides.reshape(*rows.shape[:-1], GRID_NM.size)


def _paths(water: np.ndarray, glass: np.ndarray, reflectances: Sequence[np.ndarray]) -> np.ndarray:
    """Transport along every path of the set, shape (n_path, 401)."""
    colours = [np.ones(GRID_NM.size)]
    for reflectance in reflectances:
        colours += [(reflectance / reflectance.max()) ** bounces for bounces in _BOUNCES]
    in_water, in_glass = (
        np.exp(-np.outer(lengths, a)) for lengths, a in zip(_LENGTHS_M, (water, glass), strict=True)
    )
    paths = np.array(colours)[:, None, None] * in_water[None, :, None] * in_glass[None, None]
    return paths.reshape(-1, GRID_NM.size)


def _fit(transport: np.ndarray, paths: np.ndarray, paths_at_nodes: np.ndarray) -> np.ndarray:
    from scipy.optimize import nnls

    top = transport.max()
    if not top > 0.0:
        return np.ones(GRID_NM.size)
    scale = 1.0 / np.maximum(transport, 1e-3 * top)
    shares, _ = nnls((paths_at_nodes * scale).T, transport * scale)
    guide = shares @ paths
    return np.maximum(guide, 1e-9 * guide.max())


def _at_nodes(curves: np.ndarray, nodes_nm: np.ndarray) -> np.ndarray:
    """Curves on the grid, read at the nodes: (..., 401) -> (..., n_node)."""
    nodes = np.asarray(nodes_nm, dtype=float)
    if np.array_equal(nodes, np.round(nodes)) and nodes.min() >= GRID_NM[0] and nodes.max() <= GRID_NM[-1]:
        return curves[..., nodes.astype(int) - GRID_NM[0]]
    raise DataError("a guide needs nodes at whole nanometres within 380-780 nm.")
