"""What readings say about a tank: fitted numbers, how the readings agree, and the scene put right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.errors import SceneError, StudyError
from underlit.metrics.summary import PPFD_UNIT, Table, Value, facts
from underlit.scene.edit import change
from underlit.scene.model import Scene
from underlit.studies.readings import Spot


@dataclass(frozen=True)
class Quantity:
    """A fitted number with its standard error and 95 % interval."""

    value: float
    std_err: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Fit:
    """What readings say about a tank.

    Parameters
    ----------
    spots : list of Spot
    groups : list of tuple of str
        Channels that share a factor.
    factors : list of Quantity
        Output of each group over that of the scene.
    colour_per_m : Quantity or None
        a440 of the water; None if it was not fitted. [m-1]
    before, after : ndarray, shape (n,)
        Readings by the scene as it was, and as fitted. [umol m-2 s-1]
    expected_error : ndarray, shape (n,)
        Standard error that a reading was expected to have. [umol m-2 s-1]
    outlier : ndarray of bool, shape (n,)
        Readings that were left out, as they lie too far off.
    scatter : float
        Root of the mean squared residual, in expected errors; about 1 if the expected errors are right.
    """

    spots: list[Spot]
    groups: list[tuple[str, ...]]
    factors: list[Quantity]
    colour_per_m: Quantity | None
    before: np.ndarray
    after: np.ndarray
    expected_error: np.ndarray
    outlier: np.ndarray
    scatter: float

    @property
    def residual(self) -> np.ndarray:
        """Reading less fit, in expected errors."""
        return (np.array([spot.reading for spot in self.spots]) - self.after) / self.expected_error

    def tables(self) -> list[Table]:
        """Tables `fit` and `readings`."""
        rows: list[tuple[str, Value, str]] = []
        for group, factor in zip(self.groups, self.factors, strict=True):
            rows.append((f"output of {' + '.join(group)}", _words(factor), "of the scene's"))
        if self.colour_per_m is not None:
            rows.append(("water colour a440", _words(self.colour_per_m), "m⁻¹"))
        rows.append(("readings used", int((~self.outlier).sum()), f"of {len(self.spots)}"))
        rows.append(("scatter over what was expected", self.scatter, ""))
        note = "± is the standard error, in brackets the 95 % interval."
        return [facts("fit", "What the readings say", rows, note), self._readings()]

    def _readings(self) -> Table:
        rows: list[dict[str, Value]] = []
        for i, spot in enumerate(self.spots):
            x, y, z = spot.place_m
            off = 100 * (spot.reading / self.after[i] - 1) if self.after[i] > 0 else None
            rows.append({
                "x": 100 * x, "y": 100 * y, "z": 100 * z, "reading": spot.reading, "scene": float(self.before[i]),
                "fit": float(self.after[i]), "off": off, "": "outlier" if self.outlier[i] else "",
            })  # fmt: skip
        columns = {"x": "cm", "y": "cm", "z": "cm", "reading": PPFD_UNIT, "scene": PPFD_UNIT, "fit": PPFD_UNIT,
                   "off": "%", "": ""}  # fmt: skip
        return Table("readings", "Readings", columns, rows, "Outliers were left out of the fit.")

    def corrected(self, scene: Scene) -> Scene:
        """The scene with the output of its lamps and the colour of its water put right.

        Raises
        ------
        StudyError
            If a lamp would then give more photons than its watts can make.
        """
        values: dict[str, str] = {}
        of = {label: q.value for group, q in zip(self.groups, self.factors, strict=True) for label in group}
        for i, fixture in enumerate(scene.fixture, start=1):
            for j, channel in enumerate(fixture.channel, start=1):
                factor = of.get(f"{fixture.name} / {channel.name}")
                if factor is not None:
                    word, value, unit = _output(channel)
                    values[f"fixture[{i}].channel[{j}].{word}"] = f"{value * factor:.5g} {unit}"
        if self.colour_per_m is not None:
            values["water.colour_a440"] = f"{max(self.colour_per_m.value, 0.0):.3g} 1/m"
        try:
            return change(scene, values)
        except SceneError as error:
            raise StudyError(
                f"the readings ask for lamps that cannot be:\n{error}",
                hint="Look at the immersion factor, at `lamp_pct`, and at the power of the lamps.",
            ) from error


def _output(channel) -> tuple[str, float, str]:
    """The key that states a channel's output, its value and unit."""
    if channel.reading is not None:
        return "reading.ppfd", channel.reading.ppfd, "umol/m^2/s"
    for word, unit in (("efficacy", "umol/J"), ("lumens", "lm"), ("flux", "umol/s")):
        if getattr(channel, word) is not None:
            return word, getattr(channel, word), unit
    raise AssertionError("a channel without output is refused when the scene is read")


def _words(one: Quantity) -> str:
    from underlit.metrics.estimate import rounded, with_error

    low, high = (rounded(v, one.std_err) for v in (one.low, one.high))
    return f"{with_error(one.value, one.std_err)} ({low} to {high})"
