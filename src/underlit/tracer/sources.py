"""Lamps as the tracer sees them: sources (one emitting geometry each) and the channels that use them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from underlit import spectra
from underlit.kernels.arrays import (
    BEAM_TABLE,
    COSINE_POWER,
    EVEN_RECTANGLE,
    NO_TABLE,
    BeamTable,
    SourceArrays,
)
from underlit.kernels.emit import axial_irradiance
from underlit.photometry import Distribution, read_distribution
from underlit.results.result import Channel
from underlit.scene import lamps
from underlit.scene.model import Scene
from underlit.tracer.beams import cosine_exponent, distribution_table, gaussian_table
from underlit.tracer.faces import channel_face


@dataclass(frozen=True, eq=False)
class Lamps:
    """All that shines on a scene.

    Parameters
    ----------
    names : list of str
        Of the sources.
    sources : list of SourceArrays
    channels : list of Channel
        Several may share a source: same place, same beam.
    """

    names: list[str]
    sources: list[SourceArrays]
    channels: list[Channel]

    def flux_umol_s(self) -> np.ndarray:
        """Photons that each source sends out with all channels at their usual setting, shape (S,). [umol s-1]"""
        flux = np.zeros(len(self.sources))
        for channel in self.channels:
            flux[channel.source] += channel.dim * channel.spectrum.sum()
        return flux


def build_lamps(scene: Scene) -> Lamps:
    """Sources and channels of a scene.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    Lamps

    Raises
    ------
    DataError
        A spectrum, beam or LED file that cannot be used.
    """
    built = Lamps([], [], [])
    known: dict[tuple, int] = {}
    for fixture, channel, number in _numbered_channels(scene):
        source = _source(scene, fixture, channel, number)
        index = known.setdefault(_fingerprint(source), len(built.sources))
        if index == len(built.sources):
            built.sources.append(source)
            built.names.append(f"{fixture.name} / {channel.name}")
        elif not built.names[index].endswith(f" + {channel.name}"):
            built.names[index] += f" + {channel.name}"
        built.channels.append(_channel(scene, fixture, channel, index, source))
    if scene.window is not None:
        _add_window(scene, built)
    return built


def _numbered_channels(scene: Scene) -> Iterator[tuple[lamps.Fixture, lamps.Channel, tuple[int, int]]]:
    for fixture in scene.fixture:
        for number, channel in enumerate(fixture.channel):
            yield fixture, channel, (number, len(fixture.channel))


def _fingerprint(part):
    """Equal for sources that send out the same photons."""
    if isinstance(part, tuple):
        return tuple(_fingerprint(one) for one in part)
    return (part.shape, part.tobytes()) if isinstance(part, np.ndarray) else part


def _source(scene: Scene, fixture, channel, number: tuple[int, int]) -> SourceArrays:
    file = beam_file(scene, channel)
    turn = fixture.turn
    if file is not None and channel.beam.face == "file":
        turn += channel.beam.turn  # the opening turns with its beam
    elif file is not None:
        file = file.turned(math.degrees(channel.beam.turn))
    face = channel_face(scene, fixture, channel, number, file)
    beam, power, table = _beam(channel, file)
    x, y = fixture.position
    return SourceArrays(
        layout=face.layout,
        beam=beam,
        centre_m=np.array([x, y, scene.emitter_height(fixture)], float),
        axes=fixture_axes(turn, fixture.tilt, fixture.tilt_to),
        size_m=face.size_m,
        leds_m=face.leds_m,
        power_m=power,
        table=table,
    )


def fixture_axes(turn_rad: float, tilt_rad: float, tilt_to_rad: float) -> np.ndarray:
    """Axes of a fixture, as rows: its x, its y, and the way it faces.

    Parameters
    ----------
    turn_rad : float
        About the vertical, before it is tilted. [rad]
    tilt_rad, tilt_to_rad : float
        Away from facing straight down, and the azimuth it then faces (0 right, pi/2 back). [rad]

    Returns
    -------
    ndarray, shape (3, 3)
    """
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    axes = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, -1.0]])
    to = np.array([math.cos(tilt_to_rad), math.sin(tilt_to_rad), 0.0])
    # Turn about the horizontal axis that carries straight down over towards `to`.
    axis = np.cross([0.0, 0.0, -1.0], to)
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    rotation = np.eye(3) + math.sin(tilt_rad) * k + (1.0 - math.cos(tilt_rad)) * k @ k
    return axes @ rotation.T


def _beam(channel, file: Distribution | None) -> tuple[int, float, BeamTable]:
    """Kind, exponent and table of a channel's beam."""
    beam = channel.beam
    if file is not None:
        return BEAM_TABLE, 0.0, distribution_table(file)
    if beam.lens == "gaussian":
        return BEAM_TABLE, 0.0, gaussian_table(beam.fwhm)
    return COSINE_POWER, cosine_exponent(beam.fwhm), NO_TABLE


def beam_file(scene: Scene, channel) -> Distribution | None:
    """How a channel's beam file says that it spreads its light; None without a file.

    Raises
    ------
    DataError
        A file that cannot be used.
    """
    return None if channel.beam.file is None else read_distribution(scene.file(channel.beam.file))


def _spectrum(spec, scene: Scene) -> np.ndarray:
    """Photon spectrum of a channel, 1 umol s-1 in all, shape (401,)."""
    return spectra.lamp(spec, scene.folder).value


def _channel(scene: Scene, fixture, channel, source_index: int, source: SourceArrays) -> Channel:
    unit = _spectrum(channel.spectrum, scene)
    return Channel(
        name=channel.name,
        fixture=fixture.name,
        source=source_index,
        spectrum=unit * _flux_umol_s(channel, unit, source),
        power_w=channel.power,
        dim=channel.dim,
        price=float("nan") if fixture.price is None else fixture.price,
        l70_hours=float("nan") if fixture.l70_hours is None else fixture.l70_hours,
    )


def _flux_umol_s(channel, unit_spectrum: np.ndarray, source: SourceArrays) -> float:
    """Photons per second of a channel at full setting, however its output is given. [umol s-1]"""
    if channel.flux is not None:
        return channel.flux
    if channel.efficacy is not None:
        return channel.efficacy * channel.power
    if channel.lumens is not None:
        return channel.lumens / float(unit_spectrum @ spectra.weighting("photopic"))
    par_share = float(unit_spectrum @ spectra.weighting("PAR"))
    return channel.reading.ppfd / (par_share * irradiance_below(source, channel.reading.distance))


def irradiance_below(source: SourceArrays, distance_m: float, n: int = 1 << 14) -> float:
    """Irradiance on the axis of a source in air, square to it, per photon flux sent out. [m-2]

    Plain quadrature over the face, by the first two quasi-random numbers that the tracer draws from.
    """
    from scipy.stats import qmc

    return float(axial_irradiance(source, qmc.Sobol(2, scramble=False).random(n), distance_m))


_WINDOW_FACING = {
    "left": (1.0, 0.0, 0.0),
    "right": (-1.0, 0.0, 0.0),
    "front": (0.0, 1.0, 0.0),
    "back": (0.0, -1.0, 0.0),
}


def _add_window(scene: Scene, built: Lamps) -> None:
    """A window of the room: an upright diffuse rectangle that faces a pane."""
    window, tank = scene.window, scene.tank
    facing = np.array(_WINDOW_FACING[window.side])
    along = np.cross(facing, [0.0, 0.0, 1.0])
    width, height = window.size
    away = window.distance + tank.thickness
    centre = np.array([0.5 * tank.length, 0.5 * tank.width, window.sill + 0.5 * height])
    half = 0.5 * abs(np.array([tank.length, tank.width, 0.0]) @ facing)
    centre -= facing * (half + away)
    centre += np.abs(along) * window.offset
    built.sources.append(
        SourceArrays(
            layout=EVEN_RECTANGLE,
            beam=COSINE_POWER,
            centre_m=centre,
            axes=np.array([along, [0.0, 0.0, 1.0], facing]),
            size_m=np.array([width, height]),
            leds_m=np.zeros((0, 2)),
            power_m=1.0,
            table=NO_TABLE,
        )
    )
    built.names.append("window")
    spectrum = _spectrum(window.spectrum, scene) * window.exitance * width * height
    built.channels.append(Channel("daylight", "window", len(built.sources) - 1, spectrum, power_w=0.0))
