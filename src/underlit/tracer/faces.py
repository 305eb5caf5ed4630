"""Where a fixture looks, and the face that a channel glows over: its shape, its size, where its LEDs sit."""

from __future__ import annotations

import csv
import math
from typing import NamedTuple

import numpy as np

from underlit.errors import DataError
from underlit.kernels.arrays import EVEN_DISC, EVEN_RECTANGLE, LED_LIST, TUBE
from underlit.photometry import Distribution
from underlit.scene.lamps import Channel, Fixture
from underlit.scene.model import Scene

_GOLDEN_ANGLE = math.pi * (3.0 - math.sqrt(5.0))
_ROUND = ("disc", "pendant")
_SLACK_M = 1e-3  # how far an LED may sit beyond the stated size


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


class Face(NamedTuple):
    """Where a source's photons start, as the kernels take it."""

    layout: int
    size_m: np.ndarray  # (2,)
    leds_m: np.ndarray  # (n, 2)


def channel_face(
    scene: Scene,
    fixture: Fixture,
    channel: Channel,
    number: tuple[int, int],
    beam: Distribution | None = None,
) -> Face:
    """Glowing face of a channel.

    Parameters
    ----------
    scene : Scene
    fixture : Fixture
    channel : Channel
    number : (int, int)
        Which channel of how many: LEDs of several are interleaved.
    beam : Distribution, optional
        The file that gives the channel's beam.

    Raises
    ------
    DataError
        A file of LED places that cannot be used, or a beam file without the opening that it is to give.
    """
    if beam is not None and channel.beam.face == "file":
        return opening_face(beam, channel.beam.file or "")
    if channel.positions is not None:
        leds = read_led_places(scene.file(channel.positions))
        _check_within(leds, fixture, channel.positions)
    elif channel.leds > 0:
        leds = led_places(channel.leds, fixture.size, fixture.shape in _ROUND, number)
    else:
        return _face(_even_layout(fixture, beam), fixture.size)
    return _face(LED_LIST, (channel.led_size, channel.led_size), leds)


def _face(layout: int, size_m, leds_m=()) -> Face:
    return Face(layout, np.array(size_m, float), np.array(leds_m, float).reshape(-1, 2))


def _check_within(leds_m: np.ndarray, fixture: Fixture, file: str) -> None:
    """LEDs sit on their fixture; one that does not betrays a slip of the unit."""
    out = np.abs(leds_m) > 0.5 * np.array(fixture.size) + _SLACK_M
    if out.any():
        x, y = 1e3 * leds_m[int(np.argmax(out.any(axis=1)))]
        raise DataError(
            f"the LED at x = {x:g} mm, y = {y:g} mm is outside the fixture `{fixture.name}`, which is "
            f"{1e3 * fixture.size[0]:g} by {1e3 * fixture.size[1]:g} mm.",
            where=file,
            hint="Places count from the middle of the fixture, in mm.",
        )


def _even_layout(fixture: Fixture, beam: Distribution | None) -> int:
    """A file gives the beam of a whole lamp, so a tube that has one is seen from below, as a strip."""
    if fixture.shape == "tube":
        return TUBE if beam is None else EVEN_RECTANGLE
    return EVEN_DISC if fixture.shape in _ROUND else EVEN_RECTANGLE


def opening_face(beam: Distribution, file: str) -> Face:
    """The luminous opening that a beam file states.

    Raises
    ------
    DataError
        It states none that is flat.
    """
    opening = beam.opening
    if opening.shape not in ("rectangle", "disc"):
        raise DataError(
            f"the file `{file}` states no flat luminous opening.",
            where="beam.face",
            hint="Leave out `face`: the light then comes from the size of the fixture.",
        )
    return _face(
        EVEN_RECTANGLE if opening.shape == "rectangle" else EVEN_DISC, (opening.along_m, opening.across_m)
    )


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
        with open(path, newline="", encoding="utf-8-sig") as file:
            rows = list(csv.DictReader(line for line in file if line.strip() and not line.startswith("#")))
        places = np.array([[float(row["x_mm"]), float(row["y_mm"])] for row in rows]).reshape(-1, 2)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
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
