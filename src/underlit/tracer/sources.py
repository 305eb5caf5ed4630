"""Lamps as the tracer sees them: sources (one emitting geometry each) and the channels that use them."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from underlit import spectra
from underlit.errors import DataError
from underlit.kernels.arrays import (
    BEAM_TABLE,
    COSINE_POWER,
    EVEN_DISC,
    EVEN_RECTANGLE,
    LED_LIST,
    TUBE,
    SourceArrays,
)
from underlit.results.result import Channel
from underlit.scene import lamps
from underlit.scene.model import Scene
from underlit.tracer.beams import beam_table, cosine_exponent, gaussian_intensity

_GOLDEN_ANGLE = math.pi * (3.0 - math.sqrt(5.0))
_ROUND = ("disc", "pendant")


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


def _fingerprint(source: SourceArrays) -> tuple:
    """Equal for sources that send out the same photons."""
    return tuple(part.tobytes() if isinstance(part, np.ndarray) else part for part in source)


def _source(scene: Scene, fixture, channel, number: tuple[int, int]) -> SourceArrays:
    layout, size, leds = _face(scene, fixture, channel, number)
    beam, power, edges, cosine = _beam(scene, channel)
    x, y = fixture.position
    return SourceArrays(
        layout=layout,
        beam=beam,
        centre_m=np.array([x, y, scene.emitter_height(fixture)], float),
        axes=fixture_axes(fixture.turn, fixture.tilt, fixture.tilt_to),
        size_m=np.array(size, float),
        leds_m=leds,
        power_m=power,
        azimuth_edges=edges,
        cosine=cosine,
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


def _face(scene: Scene, fixture, channel, number):
    """Layout, size and LED places of a channel's emitting face."""
    none = np.zeros((0, 2))
    if fixture.shape == "tube":
        return TUBE, fixture.size, none
    if channel.positions is not None:
        return LED_LIST, (channel.led_size, channel.led_size), read_led_places(scene.file(channel.positions))
    if channel.leds > 0:
        leds = led_places(channel.leds, fixture.size, fixture.shape in _ROUND, number)
        return LED_LIST, (channel.led_size, channel.led_size), leds
    return EVEN_DISC if fixture.shape in _ROUND else EVEN_RECTANGLE, fixture.size, none


def led_places(n: int, size_m, round_face: bool, number: tuple[int, int] = (0, 1)) -> np.ndarray:
    """Places of LEDs spread evenly over a fixture, interleaved with those of its other channels.

    Parameters
    ----------
    n : int
        LEDs of this channel.
    size_m : (float, float)
        Extent of the face in x and y. [m]
    round_face : bool
        A disc, else a rectangle.
    number : (int, int)
        Which channel of how many.

    Returns
    -------
    ndarray, shape (n, 2)
        From the middle of the fixture. [m]
    """
    phase = (number[0] + 0.5) / number[1]
    i = np.arange(n)
    if round_face:
        # Sunflower spiral: even density (H. Vogel 1979, Math. Biosci. 44:179).
        radius = 0.5 * np.sqrt((i + phase) / n)
        angle = i * _GOLDEN_ANGLE + 2.0 * np.pi * phase
        return np.stack([size_m[0] * radius * np.cos(angle), size_m[1] * radius * np.sin(angle)], axis=1)
    rows = int(np.clip(round(math.sqrt(n * size_m[1] / size_m[0])), 1, n))
    row = i * rows // n
    count = np.bincount(row, minlength=rows)
    place = i - np.concatenate([[0], np.cumsum(count)[:-1]])[row]
    return np.stack(
        [size_m[0] * ((place + phase) / count[row] - 0.5), size_m[1] * ((row + 0.5) / rows - 0.5)], axis=1
    )


def read_led_places(path) -> np.ndarray:
    """LED places from a CSV file with columns x_mm, y_mm, from the middle of the fixture.

    Returns
    -------
    ndarray, shape (n, 2)
        [m]

    Raises
    ------
    DataError
        A missing file, a missing column, or something that is not a number.
    """
    try:
        with open(path, newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(line for line in file if line.strip() and not line.startswith("#")))
        places = np.array([[float(row["x_mm"]), float(row["y_mm"])] for row in rows]).reshape(-1, 2)
    except (OSError, UnicodeDecodeError) as error:
        raise DataError(f"cannot read the LED places: {error}.", where=str(path)) from None
    except (KeyError, TypeError, ValueError) as error:
        raise DataError(
            f"this is no list of LED places: {error}.",
            where=str(path),
            hint="First line `x_mm,y_mm`, then numbers.",
        ) from None
    if not len(places) or not np.isfinite(places).all():
        raise DataError("no LED places, or one that is not a number.", where=str(path))
    return 1e-3 * places


def _beam(scene: Scene, channel):
    """Kind, exponent and table of a channel's beam."""
    beam = channel.beam
    unused = np.zeros(2), np.zeros((1, 2))
    if beam.file is not None:
        raise DataError(
            "beams from photometric files are not traced yet.",
            where=f"channel `{channel.name}`: beam.file",
            hint='Give a full width at half maximum: beam = "90 deg".',
        )
    if beam.lens == "gaussian":
        theta = np.linspace(0.0, 0.5 * np.pi, 2001)
        return BEAM_TABLE, 0.0, *beam_table(theta, gaussian_intensity(beam.fwhm, theta))
    return COSINE_POWER, cosine_exponent(beam.fwhm), *unused


def _spectrum(spec, scene: Scene) -> np.ndarray:
    """Photon spectrum of a channel, 1 umol s-1 in all, shape (401,)."""
    if isinstance(spec, lamps.PeakSpectrum):
        spec = {"peak": spec.peak, "width": spec.width}
    elif isinstance(spec, lamps.WhiteSpectrum):
        spec = {"cct": spec.cct, "pump": spec.pump}
    elif isinstance(spec, lamps.FileSpectrum):
        spec = {"file": spec.file, "quantity": spec.quantity}
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
    return channel.reading.ppfd / (par_share * axial_irradiance(source, channel.reading.distance))


def axial_irradiance(source: SourceArrays, distance_m: float, n: int = 1 << 14) -> float:
    """Irradiance on the axis of a source in air, square to it, per photon flux sent out. [m-2]

    Mean over points of the face of I(theta) cos(theta) / r^2, with I the intensity per flux; plain quadrature
    over the first two quasi-random dimensions that the tracer draws from.
    """
    from scipy.stats import qmc

    from underlit.kernels.emit import face_point

    u = qmc.Sobol(2, scramble=False).random(n)
    points = np.array([face_point(source, float(a), float(b)) for a, b in u])
    r2 = (points**2).sum(axis=1) + distance_m**2
    mu = distance_m / np.sqrt(r2)
    return float(np.mean(_intensity(source, mu) * mu / r2))


def _intensity(source: SourceArrays, mu: np.ndarray) -> np.ndarray:
    """Intensity per photon flux at polar cosine `mu`, averaged over azimuth. [sr-1]"""
    if source.beam == COSINE_POWER:
        return (source.power_m + 1.0) / (2.0 * np.pi) * mu**source.power_m
    total = np.zeros_like(mu)
    shares = np.diff(source.azimuth_edges)
    quantile = np.linspace(0.0, 1.0, source.cosine.shape[1])
    h = 1e-3
    for share, cosine in zip(shares, source.cosine, strict=True):
        below = np.interp(-(mu - h), -cosine, quantile) - np.interp(-(mu + h), -cosine, quantile)
        total += share * below / (np.minimum(mu + h, 1.0) - (mu - h))
    return total / (2.0 * np.pi)


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
            azimuth_edges=np.zeros(2),
            cosine=np.zeros((1, 2)),
        )
    )
    built.names.append("window")
    spectrum = _spectrum(window.spectrum, scene) * window.exitance * width * height
    built.channels.append(Channel("daylight", "window", len(built.sources) - 1, spectrum, power_w=0.0))
