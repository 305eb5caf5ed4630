"""What if: the same trace with other spectra, outputs or prices of its lamps.

Light is stored per photon emitted, so lamps may change in all but their places and beams, and every answer
follows from the same file. The new result has its own lamps and shares all else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from underlit import spectra
from underlit.errors import StudyError
from underlit.metrics.maps import channels_called
from underlit.results.result import Channel, Result


def with_spectrum(
    res: Result, name: str, spectrum: str | spectra.Spectrum, flux_umol_s: float | None = None
) -> Result:
    """A result whose channel has another spectrum.

    Parameters
    ----------
    res : Result
    name : str
        `fixture`, for all its channels, or `fixture / channel`.
    spectrum : str or Spectrum
        A lamp by name (see `spectra.lamp_names`) or a spectrum of any scale.
    flux_umol_s : float, optional
        Photons of 380-780 nm; default as many as before. [umol s-1]

    Returns
    -------
    Result
    """
    unit = _unit_spectrum(spectrum)
    wanted = set(channels_called(res, name))

    def changed(channel: Channel) -> Channel:
        flux = float(channel.spectrum.sum()) if flux_umol_s is None else flux_umol_s
        return replace(channel, spectrum=flux * unit)

    return res.with_channels([changed(c) if m in wanted else c for m, c in enumerate(res.channels)])


def with_output(res: Result, factors: Mapping[str, float]) -> Result:
    """A result whose lamps give more or fewer photons from the same watts.

    Parameters
    ----------
    res : Result
    factors : mapping of str to float
        Light left, by `fixture` or `fixture / channel`; 1 changes nothing, 0.7 is the end of an LED's rated life.

    Returns
    -------
    Result

    Raises
    ------
    StudyError
        Unknown name, or a factor that is no number from 0 up.
    """
    scale = np.ones(len(res.channels))
    for name, factor in factors.items():
        if not (np.isfinite(factor) and factor >= 0):
            raise StudyError(f"`{name}`: got an output of {factor:g}, expected 0 or more.")
        scale[channels_called(res, name)] *= factor
    pairs = zip(res.channels, scale, strict=True)
    return res.with_channels([replace(c, spectrum=c.spectrum * s) for c, s in pairs])


def _unit_spectrum(spectrum: str | spectra.Spectrum) -> np.ndarray:
    return (spectra.lamp(spectrum) if isinstance(spectrum, str) else spectrum).normalised().value
