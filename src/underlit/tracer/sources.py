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
from underlit.photometry import Distribution, read_distribution
from underlit.results.result import Channel
from underlit.scene import lamps
from underlit.scene.model import Scene
from underlit.tracer.beams import cosine_exponent, distribution_table, gaussian_table
from underlit.tracer.faces import channel_face, fixture_axes
from underlit.tracer.reading import flux_from_reading


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
        _add_window(scene, scene.window, built)
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
        spectrum=unit * _flux_umol_s(scene, fixture, channel, unit, source),
        power_w=channel.power,
        dim=channel.dim,
        price=float("nan") if fixture.price is None else fixture.price,
        l70_hours=float("nan") if fixture.l70_hours is None else fixture.l70_hours,
    )


def _flux_umol_s(scene: Scene, fixture, channel, unit_spectrum: np.ndarray, source: SourceArrays) -> float:
    """Photons per second of a channel at full setting, however its output is given. [umol s-1]"""
    if channel.flux is not None:
        return channel.flux
    if channel.efficacy is not None:
        return channel.efficacy * channel.power
    if channel.lumens is not None:
        return channel.lumens / float(unit_spectrum @ spectra.weighting("photopic"))
    return flux_from_reading(scene, fixture, channel, unit_spectrum, source)


_WINDOW_FACING: dict[str, tuple[float, float, float]] = {
    "left": (1.0, 0.0, 0.0),
    "right": (-1.0, 0.0, 0.0),
    "front": (0.0, 1.0, 0.0),
    "back": (0.0, -1.0, 0.0),
}


def _add_window(scene: Scene, window: lamps.Window, built: Lamps) -> None:
    """A window of the room: an upright diffuse rectangle that faces a pane."""
    width, height = window.size
    built.sources.append(
        SourceArrays(
            layout=EVEN_RECTANGLE,
            beam=COSINE_POWER,
            centre_m=_window_centre(scene, window),
            axes=_window_axes(window),
            size_m=np.array([width, height]),
            leds_m=np.zeros((0, 2)),
            power_m=1.0,
            table=NO_TABLE,
        )
    )
    built.names.append("window")
    spectrum = _spectrum(window.spectrum, scene) * window.exitance * width * height
    built.channels.append(Channel("daylight", "window", len(built.sources) - 1, spectrum, power_w=0.0))


def _window_axes(window: lamps.Window) -> np.ndarray:
    """Along the window, up, and the way it faces, as rows."""
    facing = np.array(_WINDOW_FACING[window.side])
    return np.array([np.cross(facing, [0.0, 0.0, 1.0]), [0.0, 0.0, 1.0], facing])


def _window_centre(scene: Scene, window: lamps.Window) -> np.ndarray:
    tank = scene.tank
    along, up, facing = _window_axes(window)
    inside = 0.5 * np.array([tank.length, tank.width, 0.0])
    away = inside @ abs(facing) + tank.thickness + window.distance
    return inside - away * facing + window.offset * abs(along) + (window.sill + 0.5 * window.size[1]) * up
