"""Light on any surface for any setting of the channels: transport folded with the lamps' spectra.

Transport is stored per source and wavelength node; a lamp's spectrum and a weighting such as PAR are
functions of wavelength known at 1 nm. Folding them onto the nodes is exact for transport that is linear
between two nodes, so a new dim setting, mix or weighting costs one product, and no new trace.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from underlit import spectra
from underlit.errors import StudyError
from underlit.metrics.estimate import Estimate
from underlit.results.result import Result, Surface

WINDOW = "window"  # what the tracer calls daylight among the fixtures

Dims = Mapping[str, float] | Sequence[float] | np.ndarray | float | None


def dim_settings(res: Result, dims: Dims = None) -> np.ndarray:
    """Settings of all channels.

    Parameters
    ----------
    res : Result
    dims : optional
        None for the settings of the scene; one number for all channels; one number per channel; or a mapping
        from `fixture` or `fixture / channel` to a number, over the settings of the scene. 1 is fully on.

    Returns
    -------
    ndarray, shape (M,)

    Raises
    ------
    StudyError
        If a name is unknown, a number negative, or their count wrong.
    """
    settings = np.array([channel.dim for channel in res.channels])
    if isinstance(dims, Mapping):
        for name, dim in dims.items():
            settings[channels_called(res, name)] = dim
    elif dims is not None:
        given = np.asarray(dims, float)
        if given.ndim and given.shape != settings.shape:
            raise StudyError(f"got {given.size} dim settings for {settings.size} channels.", hint=_known(res))
        settings[:] = given
    if not np.all(np.isfinite(settings) & (settings >= 0)):
        raise StudyError(f"dim settings must be 0 or more, got {settings.tolist()}.")
    return settings


def channel_weights(
    res: Result, weighting: str | np.ndarray = "PAR", surface: str | None = None
) -> np.ndarray:
    """Photons of each channel, folded onto the wavelength nodes.

    Parameters
    ----------
    res : Result
    weighting : str or ndarray of shape (401,)
        Name of a weighting, as `underlit.spectra.weighting_names()` lists them, or its values on the 1 nm grid.
    surface : str, optional
        Surface whose transport the weights are for; without it, transport is taken as straight between nodes.

    Returns
    -------
    ndarray, shape (M, B)
        At full setting. [umol s-1, times the unit of the weighting]

    Notes
    -----
    Where the result knows the colours of its water and glass, they guide the transport between the nodes: see
    `underlit.spectra.transport_guide`. The guide is one curve per source and surface, so the light stays
    linear in the transport.
    """
    emitted = _emitted(res) * _weight(weighting)
    guides = None if surface is None else _guides(res, surface)
    if guides is None:
        return spectra.hat_weights(res.wavelength_nm, emitted)
    rows = zip(res.channels, emitted, strict=True)
    return np.array([spectra.hat_weights(res.wavelength_nm, row, guides[c.source]) for c, row in rows])


def flux(res: Result, dims: Dims = None, weighting: str | np.ndarray = "PAR") -> float:
    """What all channels emit together. [umol s-1 for photon weightings, lm for `photopic`]"""
    return float(dim_settings(res, dims) @ (_emitted(res) @ _weight(weighting)))


def ppfd(
    res: Result,
    surface: str,
    dims: Dims = None,
    weighting: str | np.ndarray = "PAR",
    *,
    smooth: bool = False,
) -> Estimate:
    """Photon flux density in every cell of a surface, on the plane that the surface states.

    Parameters
    ----------
    res : Result
    surface : str
        Name of a surface of the result.
    dims : optional
        Settings of the channels, as `dim_settings` takes them.
    weighting : str or ndarray of shape (401,)
        `PAR` for PPFD; any other weighting gives its own density, `photopic` illuminance.
    smooth : bool
        Whether to average each cell of a grid with its neighbours (3 x 3).

    Returns
    -------
    Estimate, samples of shape (K, C)
        [umol m-2 s-1; lx for `photopic`]

    Raises
    ------
    ResultError, StudyError, DataError
        If the surface, a channel, or the weighting is unknown.
    """
    weights = dim_settings(res, dims)[:, None] * channel_weights(res, weighting, surface)
    transport = res.transport(surface)
    total = np.zeros((transport.shape[0], transport.shape[2]))
    for source in range(transport.shape[1]):
        mine = [m for m, channel in enumerate(res.channels) if channel.source == source]
        total += transport[:, source] @ weights[mine].sum(axis=0)
    found = Estimate(total / res.surface(surface).cell_area_m2)
    return smoothed(found, res.surface(surface)) if smooth else found


def ppfd_by_channel(res: Result, surface: str, weighting: str | np.ndarray = "PAR") -> Estimate:
    """Photon flux density that each channel gives at full setting.

    `dims` times this, summed over the channels, is the density of that setting: see `mix`.

    Returns
    -------
    Estimate, samples of shape (K, M, C)
        [umol m-2 s-1]
    """
    weights, transport = channel_weights(res, weighting, surface), res.transport(surface)
    each = np.empty((transport.shape[0], len(weights), transport.shape[2]))
    for m, channel in enumerate(res.channels):
        each[:, m] = transport[:, channel.source] @ weights[m]
    return Estimate(each / res.surface(surface).cell_area_m2)


def mix(by_channel: Estimate, settings: np.ndarray) -> Estimate:
    """Sum over channels at given settings, shape (M,): samples (K, M, C) to (K, C)."""
    return Estimate(np.einsum("m,kmc->kc", settings, by_channel.samples, optimize=True))


def spectrum(res: Result, surface: str, dims: Dims = None, cells: np.ndarray | None = None) -> Estimate:
    """Spectrum of the light on a surface, or on part of it.

    Parameters
    ----------
    res : Result
    surface : str
    dims : optional
        Settings of the channels.
    cells : ndarray, shape (C,), optional
        Share of each cell that counts; default all of every cell.

    Returns
    -------
    Estimate, samples of shape (K, 401)
        Photon flux density on the 1 nm grid, averaged over the area. [umol m-2 s-1 nm-1]
    """
    where = res.surface(surface)
    share = np.ones(where.n_cells) if cells is None else np.asarray(cells, float)
    landed = np.einsum("kscb,c->ksb", res.transport(surface), share, optimize=True)
    transfer = _at_every_nm(res, surface, landed / (share @ where.cell_area_m2))
    settings = dim_settings(res, dims)
    total = np.zeros((len(landed), len(spectra.GRID_NM)))
    for channel, dim in zip(res.channels, settings, strict=True):
        total += dim * transfer[:, channel.source] * channel.spectrum
    return Estimate(total)


def transfer(res: Result, surface: str, parts: np.ndarray) -> np.ndarray:
    """How much of each wavelength reaches parts of a surface, whatever the lamps' spectra and settings.

    Parameters
    ----------
    res : Result
    surface : str
    parts : ndarray, shape (N, C)
        Share of each cell that counts to each part.

    Returns
    -------
    ndarray, shape (N, S, 401)
        Density on the part, averaged over its area, per photon that the source emits at each nm. [m-2]
    """
    landed = np.einsum("kscb,nc->nsb", res.transport(surface), parts, optimize=True) / res.replicates
    area = parts @ res.surface(surface).cell_area_m2
    return _at_every_nm(res, surface, landed / area[:, None, None])


def smoothed(density: Estimate, surface: Surface, open_share: np.ndarray | None = None) -> Estimate:
    """Average of each cell of a grid with its neighbours, 3 x 3, by area.

    Parameters
    ----------
    density : Estimate, samples of shape (K, C)
    surface : Surface
        A grid.
    open_share : ndarray, shape (C,), optional
        Share of each cell that no stone stands on; the average is then that of the open area alone.

    Returns
    -------
    Estimate, samples of shape (K, C)
        NaN where there is no open area.

    Raises
    ------
    StudyError
        If the surface is no grid: patches of a mesh have no rows and columns.
    """
    if surface.shape is None:
        raise StudyError(f"`{surface.name}` is no grid, so its cells have no neighbours to average with.")
    area = surface.cell_area_m2.reshape(surface.shape)
    photons = density.samples.reshape(-1, *surface.shape) * area
    if open_share is not None:
        area = area * open_share.reshape(surface.shape)
    around = _box_sum(area)
    mean = np.divide(_box_sum(photons), around, out=np.full(photons.shape, np.nan), where=around > 0)
    return Estimate(mean.reshape(density.samples.shape))


def _at_every_nm(res: Result, surface: str, transport: np.ndarray) -> np.ndarray:
    """Transport between the nodes: (K, S, B) to (K, S, 401)."""
    guides = _guides(res, surface)
    if guides is None:
        return transport @ spectra.hat_matrix(res.wavelength_nm).T
    at_nodes = guides[:, res.wavelength_nm.astype(int) - spectra.GRID_NM[0]]
    return (transport / at_nodes) @ spectra.hat_matrix(res.wavelength_nm).T * guides


def _guides(res: Result, surface: str) -> np.ndarray | None:
    """Guide of each source on a surface, from the light of all its cells: (S, 401)."""
    if res.optics is None:
        return None
    if surface not in res.guides:
        mean = res.transport(surface).mean(axis=(0, 2))
        water, glass = res.optics.water_absorption_per_m, res.optics.glass_absorption_per_m
        reflectances = list(res.optics.reflectances.values())
        res.guides[surface] = spectra.transport_guide(res.wavelength_nm, mean, water, glass, reflectances)
    return res.guides[surface]


def _emitted(res: Result) -> np.ndarray:
    return np.array([channel.spectrum for channel in res.channels]).reshape(-1, len(spectra.GRID_NM))


def _weight(weighting: str | np.ndarray) -> np.ndarray:
    return spectra.weighting(weighting) if isinstance(weighting, str) else np.asarray(weighting, float)


def _box_sum(grid: np.ndarray) -> np.ndarray:
    """Sum over 3 x 3 cells; what lies outside counts nothing."""
    ny, nx = grid.shape[-2:]
    padded = np.pad(grid, [(0, 0)] * (grid.ndim - 2) + [(1, 1), (1, 1)])
    rows = padded[..., 0:ny, :] + padded[..., 1 : ny + 1, :] + padded[..., 2 : ny + 2, :]
    return rows[..., 0:nx] + rows[..., 1 : nx + 1] + rows[..., 2 : nx + 2]


def channels_called(res: Result, name: str) -> list[int]:
    """Indices of the channels of a `fixture`, or of the one called `fixture / channel`."""
    wanted = " / ".join(part.strip() for part in name.split("/"))
    found = [m for m, channel in enumerate(res.channels) if wanted in (channel.fixture, channel.label)]
    if not found:
        raise StudyError(f"there is no fixture or channel `{name}`.", hint=_known(res))
    return found


def _known(res: Result) -> str:
    return "Channels: " + ", ".join(f"`{channel.label}`" for channel in res.channels) + "."
