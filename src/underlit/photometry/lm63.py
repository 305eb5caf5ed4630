"""ANSI/IES LM-63 files (.ies) of 1986, 1991, 1995, 2002 and 2019.

After lines of words up to `TILT=`, the file is a stream of numbers, however it is broken into lines:

    lamps, lumens per lamp (-1: absolute), multiplier, vertical angles, azimuths, type (1 = C, 2 = B, 3 = A),
    units (1 = feet, 2 = metres), width, length, height of the opening,
    ballast factor, a second factor, watts,
    vertical angles ..., azimuths ..., intensities ..., plane by plane.

Order, ranges and first lines after public descriptions of the 1991 and 1995 forms; those of 2002 and 2019 keep them.
That azimuths count anticlockwise is in the text of the 2002 form. That the length of the opening lies along azimuth 0
and its width along 90 is common practice in North America, where the form comes from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from underlit.errors import DataError
from underlit.photometry.distribution import LARGEST_GRID, Distribution, Opening, checked, rising, unfold

_FEET_M = 0.3048
_TYPES = {2: "B", 3: "A"}
# First lines; a file of 1986 has none. Up to 1991 the second factor multiplies the intensities too.
_EDITIONS = {
    "IESNA91": "1991",
    "IESNA:LM-63-1995": "1995",
    "IESNA:LM-63-2002": "2002",
    "IES:LM-63-2019": "2019",
}
_SECOND_FACTOR_COUNTS = ("1986", "1991")


def parse_lm63(text: str, where: str) -> Distribution:
    """A distribution from the text of an LM-63 file.

    Parameters
    ----------
    text : str
    where : str
        File, for errors.

    Returns
    -------
    Distribution
        In candela, multiplier and ballast factor applied.

    Raises
    ------
    DataError
        Type A or B, TILT other than NONE, numbers that are missing, too many, or no numbers.
    """
    lines = text.replace("\x1a", "").splitlines()
    edition = _edition(lines)
    words, begin = _words(lines, where)
    stream = _Stream(lines[begin:], begin + 1, where)
    head = _read_head(stream, where)
    vertical = stream.numbers(head.n_vertical, "vertical angles")
    azimuth = stream.numbers(head.n_azimuth, "azimuths")
    intensity = stream.numbers(head.n_vertical * head.n_azimuth, "intensities")
    stream.end()
    rising(vertical, "vertical angles", 0.0, 180.0, where)
    rising(azimuth, "azimuths", 0.0, 360.0, where)
    factor = head.multiplier * head.ballast
    if edition in _SECOND_FACTOR_COUNTS:
        factor *= head.second
    with np.errstate(over="ignore"):  # `checked` refuses what is no number
        candela = factor * intensity.reshape(head.n_azimuth, head.n_vertical)
    azimuth, candela, notes = unfold(azimuth, candela, where)
    return checked(
        Distribution(
            vertical_deg=vertical,
            azimuth_deg=azimuth,
            intensity=candela,
            opening=head.opening,
            watts=head.watts if head.watts > 0.0 else math.nan,
            rated_lumens=head.lamps * head.lumens if head.lumens > 0.0 else math.nan,
            name=words.get("LUMINAIRE", words.get("LUMCAT", "")),
            notes=notes,
        ),
        where,
    )


def _edition(lines: list[str]) -> str:
    first = lines[0].strip().upper() if lines else ""
    return next((year for start, year in _EDITIONS.items() if first.startswith(start)), "1986")


def _words(lines: list[str], where: str) -> tuple[dict[str, str], int]:
    """What the lines of words say by keyword, and the number of the line after `TILT=`."""
    words: dict[str, str] = {}
    for i, line in enumerate(lines):
        text = line.strip()
        if text.upper().replace(" ", "").startswith("TILT="):
            _check_tilt(text.split("=", 1)[1].strip(), f"{where}:{i + 1}")
            return words, i + 1
        if text.startswith("[") and "]" in text:
            key, value = text[1:].split("]", 1)
            words.setdefault(key.strip().upper(), value.strip())
    raise DataError("there is no line `TILT=`; this is no LM-63 file.", where=where)


def _check_tilt(tilt: str, where: str) -> None:
    if tilt.upper() != "NONE":
        raise DataError(
            f"got TILT={tilt}, expected TILT=NONE.",
            where=where,
            hint="The light of this lamp depends on how it is tilted, which is not modelled. "
            "Ask its maker for a file with TILT=NONE.",
        )


class _Stream:
    """Numbers of the file one after the other, each with its line."""

    def __init__(self, lines: list[str], first_line: int, where: str) -> None:
        self._tokens = [
            (token, first_line + i)
            for i, line in enumerate(lines)
            for token in line.replace(",", " ").split()
        ]
        self._next, self._where = 0, where

    def number(self, what: str) -> float:
        """The next one."""
        return float(self.numbers(1, what)[0])

    def count(self, what: str) -> int:
        """The next one, which must be whole and positive."""
        value = self.number(what)
        if value < 1 or value != int(value) or value > LARGEST_GRID:
            raise DataError(
                f"got {value:g} for the {what}, expected a whole number above zero.", where=self._here()
            )
        return int(value)

    def numbers(self, n: int, what: str) -> np.ndarray:
        """The next `n`, shape (n,)."""
        tokens = self._tokens[self._next : self._next + n]
        if len(tokens) < n:
            raise DataError(
                f"the file ends early: got {len(tokens)} of {n} {what}.",
                where=self._where,
                hint="It was cut off, or one of its counts is wrong.",
            )
        self._next += n
        return np.array([self._value(token, line, what) for token, line in tokens])

    def end(self) -> None:
        """Nothing may follow: what does shows that a count is wrong."""
        left = len(self._tokens) - self._next
        if left:
            raise DataError(
                f"{left} more numbers or words follow the last intensity.",
                where=f"{self._where}:{self._tokens[self._next][1]}",
                hint="One of the counts of angles is wrong, or something was added to the file.",
            )

    def _value(self, token: str, line: int, what: str) -> float:
        try:
            value = float(token)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise DataError(
                f"got `{token[:40]}` among the {what}, expected a number.", where=f"{self._where}:{line}"
            )
        return value

    def _here(self) -> str:
        return f"{self._where}:{self._tokens[max(self._next - 1, 0)][1]}"


@dataclass(frozen=True)
class _Head:
    """The thirteen numbers before the angles."""

    lamps: float
    lumens: float
    multiplier: float
    n_vertical: int
    n_azimuth: int
    opening: Opening
    ballast: float
    second: float
    watts: float


def _read_head(stream: _Stream, where: str) -> _Head:
    lamps, lumens = stream.number("number of lamps"), stream.number("lumens per lamp")
    multiplier = stream.number("multiplier")
    n_vertical = stream.count("number of vertical angles")
    n_azimuth = stream.count("number of azimuths")
    kind = stream.number("photometric type")
    if kind != 1:
        letter = _TYPES.get(int(kind)) if kind in _TYPES else None
        raise DataError(
            f"the photometry is of Type {letter}, expected Type C."
            if letter
            else f"got {kind:g} for the photometric type, expected 1 (Type C).",
            where=where,
            hint="Types A and B, for headlamps and floodlights, count their angles otherwise and are not read.",
        )
    metres = {1.0: _FEET_M, 2.0: 1.0}.get(stream.number("units"))
    if metres is None:
        raise DataError("the units are neither 1 (feet) nor 2 (metres).", where=where)
    width, length, height = (
        metres * stream.number(f"{side} of the opening") for side in ("width", "length", "height")
    )
    ballast, second, watts = (stream.number(what) for what in ("ballast factor", "second factor", "watts"))
    for value, what in ((multiplier, "multiplier"), (ballast, "ballast factor"), (second, "second factor")):
        if value <= 0.0:
            raise DataError(f"got {value:g} for the {what}, expected more than zero.", where=where)
    opening = _opening(width, length, height)
    return _Head(lamps, lumens, multiplier, n_vertical, n_azimuth, opening, ballast, second, watts)


def _opening(width: float, length: float, height: float) -> Opening:
    """The luminous opening; negative sizes tell round ones."""
    if width == length == height == 0.0:
        return Opening()
    if height != 0.0:
        return Opening("other")
    if width > 0.0 and length > 0.0:
        return Opening("rectangle", along_m=length, across_m=width)
    if width < 0.0 and length <= 0.0:
        return Opening("disc", along_m=-(length or width), across_m=-width)
    return Opening("other")
