"""Light of a result as the page needs it: each channel by itself, so that any mix is a sum."""

from __future__ import annotations

from typing import Any

import numpy as np

from underlit import spectra
from underlit.figures.reading import LEAST_OPEN_SHARE, Reading
from underlit.journal.parcel import Parcel
from underlit.journal.rendering import photon_weights
from underlit.metrics import maps
from underlit.metrics.estimate import Estimate
from underlit.results.result import Surface
from underlit.spectra.observer import planckian, tristimulus

SPECTRUM_STEP_NM = 10  # of what reaches a part of a surface, by wavelength; it changes slowly
MOST_PARTS = 48  # of a surface whose light has a spectrum of its own
MOST_PARTS_ASIDE = 12  # the same, for planes and panes
SOIL_WEIGHTINGS = ("PAR", "ePAR", "photopic", "blue", "green", "red", "far red")
OPEN_STEPS = 250  # a multiple of the 25 points of a lattice cell, so that their shares are kept exactly


def grouped(by_channel: Estimate, replicates: int) -> np.ndarray:
    """Samples (K, M, C) averaged in groups to fewer replicates, which keeps value and error."""
    samples = by_channel.samples
    return samples.reshape(replicates, len(samples) // replicates, *samples.shape[1:]).mean(axis=1)


def surface_light(read: Reading, name: str, parcel: Parcel, replicates: int) -> dict[str, Any]:
    """PPFD that each channel gives at full setting, per cell, with what its error needs.

    Parameters
    ----------
    read : Reading
    name : str
        Name of the surface.
    parcel : Parcel
        Takes in the arrays.
    replicates : int
        How many replicates to keep for the errors of every mix; 0 for the error at the traced setting alone.
    """
    by_channel = maps.ppfd_by_channel(read.res, name)
    found: dict[str, Any] = {"light": parcel.steps(by_channel.value)}
    if replicates:
        samples = grouped(by_channel, replicates)
        noise = samples - samples.mean(axis=0)
        found["noise"] = parcel.signed_steps(noise.reshape(-1, noise.shape[2]))
        found["replicates"] = replicates
    else:
        error = maps.mix(by_channel, read.dims).rel_err
        found["rel_err"] = parcel.add(np.round(np.clip(np.nan_to_num(error, nan=1.0) * 250, 0, 255)), "u1")
    return found | spectra_of_parts(read, name, parcel)


def spectra_of_parts(read: Reading, name: str, parcel: Parcel) -> dict[str, Any]:
    """How much of each wavelength reaches each part of a surface, per photon of each source."""
    surface = read.res.surface(name)
    most = MOST_PARTS if name == "soil" or surface.kind == "mesh" else MOST_PARTS_ASIDE
    part = parts_of(surface, most)
    share = (np.arange(part.max() + 1)[:, None] == part).astype(float)
    transfer = maps.transfer(read.res, name, share)[:, :, ::SPECTRUM_STEP_NM]
    return {
        "part": parcel.add(part, "u1"),
        "parts": int(part.max() + 1),
        "transfer": parcel.steps(transfer.reshape(1, -1)),
    }


def parts_of(surface: Surface, most: int) -> np.ndarray:
    """Part of each cell, (C,): cubes of one size, as small as keeps their number within `most`."""
    low = surface.cell_centre_m.min(axis=0)
    side = float(np.sqrt(surface.cell_area_m2.sum() / most))
    while True:
        cube = np.floor((surface.cell_centre_m - low) / side).astype(np.int64)
        _, part = np.unique(cube, axis=0, return_inverse=True)
        if part.max() < most:
            return part.ravel()
        side *= 1.1


def open_steps(read: Reading, surface: Surface) -> np.ndarray | None:
    """Open share of each cell in `OPEN_STEPS`, (C,); None where all is open, as on hardscape."""
    if surface.kind != "grid":
        return None
    if surface.plane == "horizontal":
        share = read.open_share(surface)
    else:
        share = _above_soil(read, surface)
    return np.round(share * OPEN_STEPS)


def _above_soil(read: Reading, surface: Surface) -> np.ndarray:
    """Share of each cell of a pane that stands above the soil."""
    assert surface.x_edges_m is not None and surface.y_edges_m is not None and surface.shape is not None
    x, y = surface.cell_centre_m[: surface.shape[1], :2].T
    soil = read.soil_height((y, x))
    low, high = surface.y_edges_m[:-1, None], surface.y_edges_m[1:, None]
    return np.clip((high - soil) / (high - low), 0.0, 1.0).ravel()


def soil_quantities(read: Reading, parcel: Parcel, replicates: int) -> dict[str, Any]:
    """Mean light on the open soil from each channel under several weightings, and its colour.

    The colour is kept as CIE 1931 X, Y, Z of a white sheet and of the test colours of CIE 13.3, which add up as light
    does; only their ratios count.
    """
    surface = read.res.surface("soil")
    share = read.open_share(surface)
    taken = share >= LEAST_OPEN_SHARE
    weights = {name: spectra.weighting(name) for name in SOIL_WEIGHTINGS} | photon_weights()
    area = taken * surface.cell_area_m2
    rows = [
        grouped(maps.ppfd_by_channel(read.res, "soil", weight), replicates) @ area / (area @ share)
        for weight in weights.values()
    ]
    return {"names": list(weights), "replicates": replicates, "samples": parcel.add(np.array(rows), "f4")}


def planckian_locus() -> dict[str, list[float]]:
    """CIE 1960 u, v of black bodies, evenly spaced in 1e6 K over the temperature."""
    mired = np.arange(40.0, 1000.0, 8.0)
    uv = []
    for temperature in 1e6 / mired:
        x, y, z = tristimulus(planckian(temperature))
        uv.append((4.0 * x / (x + 15.0 * y + 3.0 * z), 6.0 * y / (x + 15.0 * y + 3.0 * z)))
    u, v = np.round(np.array(uv).T, 7)
    return {"mired": mired.tolist(), "u": u.tolist(), "v": v.tolist()}
