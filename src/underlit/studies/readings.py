"""Readings of a light meter: the sheet that is taken to the tank, and what comes back on it."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from underlit.errors import StudyError
from underlit.spectra import lamp, weighting

COLUMNS = ("x_cm", "y_cm", "z_cm", "reading", "lamp_pct", "in_water", "immersion_applied")
LAMPS = "lamps"  # optional column: the one fixture or `fixture / channel` that was on; empty for all
MOST_ROWS = 10_000


@dataclass(frozen=True)
class Spot:
    """One place of the meter's head, facing up, and what it showed there.

    Parameters
    ----------
    place_m : (float, float, float)
        From the left, from the front, above the inside bottom. [m]
    reading : float
        What the meter showed; NaN where nothing has been read yet. [umol m-2 s-1]
    setting : float
        Of the lamps that were on, 0-1; NaN for the settings of the scene.
    in_water : bool
        Whether the head was under water.
    immersion_applied : bool
        Whether the reading has been put right for that already.
    lamps : str
        The fixture or channel that was on alone; empty for all.
    row : int
        Line of the sheet.
    """

    place_m: tuple[float, float, float]
    reading: float = math.nan
    setting: float = math.nan
    in_water: bool = True
    immersion_applied: bool = True
    lamps: str = ""
    row: int = 0


@dataclass(frozen=True)
class Head:
    """A meter's head: it faces up and follows the cosine law.

    Parameters
    ----------
    immersion : float
        What a reading under water is to be multiplied by, as the maker states it; NaN if it is not known.
    response : str
        Spectral response to photons: a weighting by name, or a CSV file with `wavelength_nm`, `weight`.
    calibrated_under : str
        Light under which it reads PPFD right.
    """

    immersion: float = math.nan
    response: str = "PAR"
    calibrated_under: str = "D65"

    def weights(self) -> np.ndarray:
        """What one photon adds to the reading at each wavelength, (401,); 1 within PAR for a perfect head."""
        own = weighting(self.response)
        light = lamp(self.calibrated_under).value
        return own * float(light @ weighting("PAR")) / float(light @ own)

    def shown(self, spot: Spot) -> float:
        """Reading over the light that falls on the head.

        Raises
        ------
        StudyError
            Where the immersion factor is needed and not known.
        """
        if not spot.in_water or spot.immersion_applied:
            return 1.0
        if not self.immersion >= 1.0:
            raise StudyError(
                "a reading under water has no immersion factor applied, and none is given.",
                where=f"row {spot.row}" if spot.row else "",
                hint="Give the factor that the maker states: --immersion 1.25. Without it, readings are too low by "
                "8 to 40 %.",
            )
        return 1.0 / self.immersion


def read_sheet(path: Path) -> list[Spot]:
    """Readings from a CSV with the columns `COLUMNS`, and `lamps` if need be.

    Returns
    -------
    list of Spot
        Rows without a reading are left out.

    Raises
    ------
    StudyError
        All faults of the sheet together.
    """
    rows = list(_rows(path))
    spots: list[Spot] = []
    faults: list[str] = []
    for number, row in rows:
        try:
            spot = _spot(row, number)
        except ValueError as fault:
            faults.append(f"row {number}: {fault}")
        else:
            spots += [spot] if math.isfinite(spot.reading) else []
    if faults:
        more = f"\nand {len(faults) - 20} more" if len(faults) > 20 else ""
        raise StudyError("\n".join(faults[:20]) + more, where=str(path))
    if not spots:
        raise StudyError(
            "there is no reading on the sheet.", where=str(path), hint="Fill in the column `reading`."
        )
    return spots


def write_sheet(spots: Sequence[Spot], extra: dict[str, Sequence[float]]) -> str:
    """The text of a sheet, with further columns that are ignored when it is read back."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow((*COLUMNS, LAMPS, *extra))
    for i, spot in enumerate(spots):
        setting = "" if math.isnan(spot.setting) else f"{100 * spot.setting:g}"
        reading = "" if math.isnan(spot.reading) else f"{spot.reading:.4g}"
        place = [f"{100 * at:.4g}" for at in spot.place_m]
        marks = (int(spot.in_water), int(spot.immersion_applied), spot.lamps)
        writer.writerow(
            (*place, reading, setting, *marks, *(f"{column[i]:.4g}" for column in extra.values()))
        )
    return text.getvalue()


def _rows(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """Rows with their line numbers; lines that begin with # are remarks."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        reason = (getattr(fault, "strerror", None) or "not UTF-8 text").lower()
        raise StudyError(f"the sheet cannot be read: {reason}.", where=str(path)) from fault
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and line[0] != "#"]
    if not lines or len(lines) > MOST_ROWS:
        raise StudyError(f"got {len(lines):,} lines, expected 2 to {MOST_ROWS:,}.", where=str(path))
    divider = ";" if lines[0][1].count(";") > lines[0][1].count(",") else ","
    head = [word.strip() for word in next(csv.reader([lines[0][1]], delimiter=divider))]
    missing = [name for name in COLUMNS if name not in head]
    if missing:
        raise StudyError(
            f"the sheet lacks the column{'s' * (len(missing) > 1)} {', '.join(missing)}.",
            where=str(path),
            hint=f"The first line is to be {','.join(COLUMNS)}",
        )
    for number, line in lines[1:]:
        yield number, dict(zip(head, next(csv.reader([line], delimiter=divider)), strict=False))


def _spot(row: dict[str, str], number: int) -> Spot:
    x, y, z = (_number(row, f"{axis}_cm") / 100 for axis in "xyz")
    percent = _number(row, "lamp_pct", math.nan)
    if not (math.isnan(percent) or 0 < percent <= 100):
        raise ValueError(f"lamp_pct is {percent:g}, expected more than 0, up to 100.")
    reading = _number(row, "reading", math.nan)
    if reading < 0:
        raise ValueError(f"reading is {reading:g}, expected 0 or more.")
    spot = Spot((x, y, z), reading, percent / 100, row=number, lamps=(row.get(LAMPS) or "").strip())
    return replace(spot, in_water=_flag(row, "in_water"), immersion_applied=_flag(row, "immersion_applied"))


def _number(row: dict[str, str], name: str, missing: float | None = None) -> float:
    text = (row.get(name) or "").strip().replace(",", ".")
    if not text and missing is not None:
        return missing
    try:
        value = float(text)
    except ValueError:
        value = math.inf
    if not math.isfinite(value):
        raise ValueError(f"{name} is {text!r}, expected a number.")
    return value


def _flag(row: dict[str, str], name: str) -> bool:
    text = (row.get(name) or "").strip().lower()
    if text in ("1", "yes", "true", "1.0"):
        return True
    if text in ("0", "no", "false", "0.0"):
        return False
    raise ValueError(f"{name} is {text!r}, expected 1 or 0.")
