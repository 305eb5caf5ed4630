"""EULUMDAT files (.ldt): one value a line, in a fixed order.

Order after public descriptions of the format (A. W. Stockmar 1990, Licht '90, pp. 641-644, of which the text was not
at hand). They do not say how a lamp lies in its planes. Common practice in Europe: C0 looks across a long lamp, C90
along it; the length of the opening is taken along C90, its width along C0.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from underlit.errors import DataError
from underlit.photometry.distribution import Distribution, Opening, checked, distinct_planes, mirrored, rising

_LINES_BEFORE_LAMPS = 26
_LINES_PER_LAMP_SET = 6
_DIRECT_RATIOS = 10
_MOST_PLANES, _MOST_ANGLES, _MOST_LAMP_SETS = 1441, 1801, 20
_STATED_PERCENT = 2.0  # how far stated flux shares may be off before they are mentioned


def parse_eulumdat(text: str, where: str) -> Distribution:
    """A distribution from the text of a EULUMDAT file.

    Parameters
    ----------
    text : str
    where : str
        File, for errors.

    Returns
    -------
    Distribution
        In candela, of all lamps of the first lamp set.

    Raises
    ------
    DataError
        A line that is missing, too many, or not what stands there by the format.
    """
    lines = _Lines(text, where)
    symmetry = lines.whole(3, "symmetry", 0, 4)
    n_azimuth = lines.whole(4, "number of C planes", 1, _MOST_PLANES)
    n_vertical = lines.whole(6, "number of angles per plane", 2, _MOST_ANGLES)
    sets = lines.whole(26, "number of lamp sets", 1, _MOST_LAMP_SETS)
    at = _LINES_BEFORE_LAMPS + _LINES_PER_LAMP_SET * sets + _DIRECT_RATIOS + 1
    azimuth = lines.block(at, n_azimuth, "C planes")
    vertical = lines.block(at + n_azimuth, n_vertical, "angles")
    rising(azimuth, "C planes", 0.0, 360.0, where)
    rising(vertical, "vertical angles", 0.0, 180.0, where)
    stored = _stored(symmetry, azimuth, where)
    at += n_azimuth + n_vertical
    values = lines.block(at, len(stored) * n_vertical, "intensities")
    lines.end(at + len(stored) * n_vertical)
    kilolumens = 1e-3 * _lamp_lumens(lines)
    with np.errstate(over="ignore"):  # `checked` refuses what is no number
        values *= kilolumens or 1.0
    planes, intensity = _unfold(symmetry, stored, values.reshape(len(stored), n_vertical))
    read = checked(
        Distribution(
            vertical_deg=vertical,
            azimuth_deg=planes,
            intensity=intensity,
            opening=_opening(lines),
            watts=lines.number(_LINES_BEFORE_LAMPS + 6, "watts") or math.nan,
            rated_lumens=1e3 * kilolumens if kilolumens and not _is_absolute(lines) else math.nan,
            name=lines.text(9),
        ),
        where,
    )
    return replace(read, notes=read.notes + _remarks(read, lines, sets, kilolumens))


class _Lines:
    """Lines of the file by their number, from 1."""

    def __init__(self, text: str, where: str) -> None:
        self._lines = [line.strip() for line in text.replace("\x1a", "").splitlines()]
        while self._lines and not self._lines[-1]:
            self._lines.pop()
        self._where = where
        if self._lines and any(line.upper().startswith("TILT=") for line in self._lines):
            raise DataError("this is an LM-63 file.", where=where, hint="Give it a name that ends in .ies.")

    def text(self, number: int) -> str:
        """A line as it stands."""
        if number > len(self._lines):
            raise DataError(
                f"the file has {len(self._lines)} lines, expected at least {number}.",
                where=self._where,
                hint="It was cut off, or one of its counts is wrong.",
            )
        return self._lines[number - 1]

    def wrong(self, number: int, what: str) -> DataError:
        """An error with the place of a line."""
        return DataError(what, where=f"{self._where}:{number}")

    def number(self, number: int, what: str) -> float:
        """A finite number; an empty line counts as 0, a decimal comma as a point."""
        text = self.text(number)
        try:
            value = float(text.replace(",", ".") or 0.0)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise self.wrong(number, f"got `{text[:40]}` for the {what}, expected a number.")
        return value

    def whole(self, number: int, what: str, low: int, high: int) -> int:
        """A whole number within bounds."""
        value = self.number(number, what)
        if value != int(value) or not low <= value <= high:
            raise self.wrong(
                number, f"got {value:g} for the {what}, expected a whole number from {low} to {high}."
            )
        return int(value)

    def block(self, first: int, n: int, what: str) -> np.ndarray:
        """Numbers of `n` lines, none of them empty, shape (n,)."""
        self.text(first + n - 1)
        for number in range(first, first + n):
            if not self._lines[number - 1]:
                raise self.wrong(number, f"an empty line among the {what}.")
        return np.array([self.number(number, what) for number in range(first, first + n)])

    def end(self, number: int) -> None:
        """Nothing may stand from this line on: what does shows that a count is wrong."""
        left = len(self._lines) - number + 1
        if left > 0:
            raise DataError(
                f"{left} more lines follow the last intensity.",
                where=f"{self._where}:{number}",
                hint="The number of planes, of angles or of lamp sets is wrong, or something was added.",
            )


def _stored(symmetry: int, azimuth: np.ndarray, where: str) -> np.ndarray:
    """Azimuths of the planes whose intensities the file holds, in its order."""
    n = len(azimuth)
    if symmetry == 1:
        return np.zeros(1)
    begin, count, ends = {
        0: (0, n, None),
        2: (0, n // 2 + 1, (0.0, 180.0)),
        3: (3 * n // 4, n // 2 + 1, (270.0, 90.0)),
        4: (0, n // 4 + 1, (0.0, 90.0)),
    }[symmetry]
    stored = azimuth[(begin + np.arange(count)) % n]
    if ends is not None and (stored[0], stored[-1]) != ends:
        raise DataError(
            f"with symmetry {symmetry} the planes held go from {stored[0]:g} to {stored[-1]:g} deg, "
            f"expected {ends[0]:g} to {ends[1]:g}.",
            where=where,
            hint="The list of C planes and their number must cover the full turn evenly.",
        )
    return stored


def _unfold(symmetry: int, azimuth: np.ndarray, intensity: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """All planes of a full turn."""
    if symmetry in (3, 4):
        azimuth, intensity = mirrored(azimuth, intensity, 90.0)
    if symmetry in (2, 4):
        azimuth, intensity = mirrored(azimuth, intensity, 0.0)
    return distinct_planes(azimuth, intensity)


def _lamp_lumens(lines: _Lines) -> float:
    """Flux that the intensities refer to, of the first lamp set; 0 where the file leaves it open. [lm]"""
    number = _LINES_BEFORE_LAMPS + 3
    lumens = lines.number(number, "flux of the lamps")
    if lumens < 0.0:
        raise lines.wrong(number, f"got {lumens:g} for the flux of the lamps, expected lumens.")
    return lumens


def _is_absolute(lines: _Lines) -> bool:
    """A negative number of lamps says that this flux is that of the whole luminaire."""
    return lines.number(_LINES_BEFORE_LAMPS + 1, "number of lamps") < 0.0


def _opening(lines: _Lines) -> Opening:
    """The luminous area; a width of 0 tells a round one."""
    length = 1e-3 * lines.number(16, "length of the luminous area")
    width = 1e-3 * lines.number(17, "width of the luminous area")
    sides = [lines.number(number, "height of the luminous area") for number in range(18, 22)]
    if length == width == 0.0:
        return Opening()
    if any(sides) or length <= 0.0 or width < 0.0:
        return Opening("other")
    if width == 0.0:
        return Opening("disc", length, length)
    return Opening("rectangle", along_m=width, across_m=length)


def _remarks(read: Distribution, lines: _Lines, sets: int, kilolumens: float) -> tuple[str, ...]:
    """What the file states otherwise than its intensities do, and what was not used."""
    notes = []
    if not kilolumens:
        notes.append("The flux of the lamps is not given; intensities are for 1000 lm.")
    if sets > 1:
        notes.append(f"Of {sets} lamp sets the first was taken for flux and watts.")
    if lines.number(24, "conversion factor") not in (0.0, 1.0):
        notes.append(
            "The conversion factor of the intensities was not applied; it leaves the shape as it is."
        )
    tilt = lines.number(25, "tilt")
    if tilt:
        notes.append(f"The lamp was measured tilted by {tilt:g} deg; its angles are taken as they stand.")
    shares = (
        (22, "downward share", 100.0 * read.downward_share),
        (23, "light output ratio", 0.1 * read.flux / (kilolumens or 1.0)),
    )
    for number, what, own in shares:
        stated = lines.number(number, what)
        if stated and abs(stated - own) > _STATED_PERCENT:
            notes.append(f"The file states a {what} of {stated:g} %, its intensities give {own:.1f} %.")
    return tuple(notes)
