"""The output of a channel from one meter reading."""

from __future__ import annotations

import numpy as np

from underlit import spectra
from underlit.errors import DataError
from underlit.kernels.arrays import SourceArrays
from underlit.kernels.bvh import build_bvh, new_stack
from underlit.kernels.draws import RNG_WORDS
from underlit.kernels.held import Held
from underlit.kernels.reading import housing_irradiance, straight_irradiance
from underlit.kernels.rng import SOBOL_DIMENSIONS, sobol_directions
from underlit.scene.lamps import Channel, Fixture
from underlit.scene.model import Scene
from underlit.spectra import Spectrum
from underlit.tracer.housings import housing_mesh

_POINTS = 2**14
_PHOTONS = 2**17  # for what a housing adds: some 0.1 % of the reading is left to chance
_SEED = 1


def flux_from_reading(
    scene: Scene, fixture: Fixture, channel: Channel, unit_spectrum: np.ndarray, source: SourceArrays
) -> float:
    """Photons per second that make a meter show what it showed. [umol s-1]

    Parameters
    ----------
    scene : Scene
    fixture : Fixture
    channel : Channel
        With a reading.
    unit_spectrum : ndarray, shape (401,)
        Its spectrum, 1 umol s-1 in all.
    source : SourceArrays

    Raises
    ------
    DataError
        The lamp sends no photosynthetic light to the meter, or would have to give more than physics allows.
    """
    reading = channel.reading
    assert reading is not None
    where = f"fixture `{fixture.name}`, channel `{channel.name}`: reading"
    irradiance = irradiance_below(source, reading.distance) + _by_housing(
        scene, fixture, reading.distance, source
    )
    seen = irradiance * float(unit_spectrum @ spectra.weighting("PAR"))
    if seen <= 0.0:
        raise DataError(
            "none of this channel's light of 400-700 nm goes straight down to the meter.", where=where
        )
    flux = reading.ppfd / seen
    most = spectra.max_efficacy_umol_per_J(Spectrum(spectra.GRID_NM, unit_spectrum, "photons"))
    if flux > most * channel.power:
        raise DataError(
            f"that makes {flux / channel.power:.3g} umol per joule, but light of this spectrum has only {most:.3g}.",
            where=where,
            hint="Check the distance, the beam, and whether other lamps or walls lit the meter too.",
        )
    return flux


def irradiance_below(source: SourceArrays, distance_m: float) -> float:
    """Irradiance in air on the axis of a source, square to it, per photon flux sent out. [m-2]

    Parameters
    ----------
    source : SourceArrays
    distance_m : float
        From its middle. [m]
    """
    point = np.zeros(SOBOL_DIMENSIONS, np.uint32)
    return float(straight_irradiance(Held(source), distance_m, sobol_directions(), _POINTS, point))


def _by_housing(scene: Scene, fixture: Fixture, distance_m: float, source: SourceArrays) -> float:
    """What the inside of the shade adds. [m-2]"""
    if fixture.shade is None or fixture.shade.reflectance == 0.0:
        return 0.0
    mesh = housing_mesh(scene, fixture)
    return float(
        housing_irradiance(
            Held(source),
            distance_m,
            Held(build_bvh(mesh.vertices_m, mesh.faces)),
            mesh.face_normals,
            fixture.shade.reflectance,
            sobol_directions(),
            _PHOTONS,
            np.zeros(SOBOL_DIMENSIONS, np.uint32),
            np.zeros(RNG_WORDS, np.uint32),
            np.uint64(_SEED),
            new_stack(),
        )
    )
