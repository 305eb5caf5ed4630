"""Intensities over angles: what is common to all photometric files.

Angles are those of C-plane (Type C) photometry. The vertical angle counts from straight down, 0, over the horizon, 90,
to straight up, 180. The azimuth of a plane counts anticlockwise as seen from above.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from underlit.errors import DataError

_ANGLE_DIGITS = 6  # two planes closer than 1e-6 deg are one
_SAME_PLANE = 2e-3  # of the peak: how far the planes at 0 and 360 may differ unmentioned
LARGEST_GRID = 4_000_000


@dataclass(frozen=True)
class Opening:
    """The face that a lamp glows over.

    Parameters
    ----------
    shape : {"point", "rectangle", "disc", "other"}
        A disc may be an ellipse. "other" has luminous sides or is no flat face: its sizes are left at 0.
    along_m, across_m : float
        Extent along the plane of azimuths 0 and 180, and along that of 90 and 270. [m]
    """

    shape: Literal["point", "rectangle", "disc", "other"] = "point"
    along_m: float = 0.0
    across_m: float = 0.0


@dataclass(frozen=True, eq=False)
class Distribution:
    """How a lamp spreads its light, as measured.

    Only the shape is of use for photons: luminous intensities are weighted for the eye.

    Parameters
    ----------
    vertical_deg : ndarray, shape (n_vertical,)
        Angles from straight down, rising within 0 to 180; nothing is sent out beyond them. [deg]
    azimuth_deg : ndarray, shape (n_azimuth,)
        Of the planes, rising from 0 or above to below 360; one plane stands for all. [deg]
    intensity : ndarray, shape (n_azimuth, n_vertical)
        Linear in both angles between the values. [`unit`]
    unit : {"cd", "W/sr", "umol/s/sr"}
    opening : Opening
    watts : float
        Electrical power; NaN where the file does not say. [W]
    rated_lumens : float
        Of the bare lamps; NaN for absolute photometry. [lm]
    name : str
        Of the luminaire, as the file says it.
    notes : tuple of str
        What a reader should know of how the file was taken.
    """

    vertical_deg: np.ndarray
    azimuth_deg: np.ndarray
    intensity: np.ndarray
    unit: str = "cd"
    opening: Opening = Opening()
    watts: float = float("nan")
    rated_lumens: float = float("nan")
    name: str = ""
    notes: tuple[str, ...] = ()

    @property
    def flux(self) -> float:
        """All light sent out: lm for cd, W for W/sr, umol/s for umol/s/sr. The exact integral of the linear rule."""
        return float(self._over_azimuth(plane_light(self.vertical_deg, self.intensity)))

    @property
    def downward_share(self) -> float:
        """Share of the light that goes below the horizon."""
        below = self.vertical_deg < 90.0
        if below.all() or not below.any():
            return float(below.all())
        cut = np.append(self.vertical_deg[below], 90.0)
        rows = np.array([np.interp(cut, self.vertical_deg, row) for row in self.intensity])
        return float(self._over_azimuth(plane_light(cut, rows))) / self.flux

    def turned(self, angle_deg: float) -> Distribution:
        """The same lamp turned anticlockwise about the vertical, as seen from above.

        Parameters
        ----------
        angle_deg : float
            [deg]
        """
        azimuth = np.round((self.azimuth_deg + angle_deg) % 360.0, _ANGLE_DIGITS) % 360.0
        order = np.argsort(azimuth)
        return replace(self, azimuth_deg=azimuth[order], intensity=self.intensity[order])

    def at(self, vertical_deg, azimuth_deg) -> np.ndarray:
        """Intensity in given directions, by the linear rule.

        Parameters
        ----------
        vertical_deg, azimuth_deg : array_like
            Of one shape. [deg]

        Returns
        -------
        ndarray
            Of that shape. [`unit`]
        """
        vertical, azimuth = np.broadcast_arrays(
            np.asarray(vertical_deg, float), np.asarray(azimuth_deg, float)
        )
        rows = np.array(
            [np.interp(vertical, self.vertical_deg, row, left=0.0, right=0.0) for row in self.intensity]
        )
        start = np.append(self.azimuth_deg, self.azimuth_deg[0] + 360.0)
        turn = (azimuth - start[0]) % 360.0 + start[0]
        k = np.clip(np.searchsorted(start, turn, "right") - 1, 0, len(rows) - 1)
        weight = (turn - start[k]) / (start[k + 1] - start[k])
        low = np.take_along_axis(rows, k[None], axis=0)[0]
        high = np.take_along_axis(rows, ((k + 1) % len(rows))[None], axis=0)[0]
        return (1.0 - weight) * low + weight * high

    def _over_azimuth(self, light: np.ndarray) -> np.ndarray:
        """Sum over a full turn of a quantity that is linear in azimuth between the planes."""
        gap = np.radians(np.diff(self.azimuth_deg, append=self.azimuth_deg[0] + 360.0))
        return np.sum(0.5 * gap * (light + np.roll(light, -1)))


def plane_light(vertical_deg: np.ndarray, intensity: np.ndarray) -> np.ndarray:
    """Light in a plane per radian of azimuth: the integral of I sin(theta), I linear between the angles.

    Parameters
    ----------
    vertical_deg : ndarray, shape (n_vertical,)
        [deg]
    intensity : ndarray, shape (..., n_vertical)

    Returns
    -------
    ndarray, shape (...,)
    """
    theta = np.radians(vertical_deg)
    low, high = intensity[..., :-1], intensity[..., 1:]
    slope = (high - low) / np.diff(theta)
    cos, sin = np.cos(theta), np.sin(theta)
    return np.sum(low * cos[:-1] - high * cos[1:] + slope * np.diff(sin), axis=-1)


def mirrored(
    azimuth_deg: np.ndarray, intensity: np.ndarray, plane_deg: float
) -> tuple[np.ndarray, np.ndarray]:
    """Planes together with their images in the mirror plane at an azimuth.

    Parameters
    ----------
    azimuth_deg : ndarray, shape (n,)
        [deg]
    intensity : ndarray, shape (n, n_vertical)
    plane_deg : float
        [deg]

    Returns
    -------
    azimuth_deg : ndarray, shape (m,)
        Rising, below 360. [deg]
    intensity : ndarray, shape (m, n_vertical)
    """
    both = np.concatenate([azimuth_deg, 2.0 * plane_deg - azimuth_deg])
    return distinct_planes(both, np.concatenate([intensity, intensity]))


def distinct_planes(azimuth_deg: np.ndarray, intensity: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Planes in rising order within 0 to below 360; of several at one azimuth, the first."""
    turn = np.round(azimuth_deg % 360.0, _ANGLE_DIGITS) % 360.0
    azimuth, first = np.unique(turn, return_index=True)
    return azimuth, intensity[first]


def unfold(
    azimuth_deg: np.ndarray, intensity: np.ndarray, where: str
) -> tuple[np.ndarray, np.ndarray, tuple[str, ...]]:
    """All planes of a full turn from those that a file lists, the symmetry being told by its last azimuth.

    0 alone: all planes alike; 0 to 90: four quadrants alike; 0 to 180: two halves alike; 90 to 270: the same about
    the other plane; 0 to more than 180: no symmetry.

    Parameters
    ----------
    azimuth_deg : ndarray, shape (n,)
        Rising. [deg]
    intensity : ndarray, shape (n, n_vertical)
    where : str
        File, for the error.

    Returns
    -------
    azimuth_deg, intensity, notes

    Raises
    ------
    DataError
        Azimuths of no such range.
    """
    first, last = float(azimuth_deg[0]), float(azimuth_deg[-1])
    if (first, last) == (90.0, 270.0):
        return *mirrored(azimuth_deg, intensity, 90.0), ()
    if first != 0.0 or last > 360.0 or (0.0 < last < 180.0 and last != 90.0):
        raise DataError(
            f"the planes go from azimuth {first:g} to {last:g} deg, expected 0 alone, or 0 to 90, 180 or 360.",
            where=where,
            hint="These ranges tell the symmetry of the lamp; another one leaves part of its light open.",
        )
    if last == 90.0:
        azimuth_deg, intensity = mirrored(azimuth_deg, intensity, 90.0)
    if last in (90.0, 180.0):
        return *mirrored(azimuth_deg, intensity, 0.0), ()
    notes = _seam(azimuth_deg, intensity) if last > 0.0 else ()
    return *distinct_planes(azimuth_deg, intensity), notes


def _seam(azimuth_deg: np.ndarray, intensity: np.ndarray) -> tuple[str, ...]:
    """What there is to say of the end of a full turn."""
    if azimuth_deg[-1] == 360.0:
        apart = np.abs(intensity[0] - intensity[-1]).max()
        if apart > _SAME_PLANE * intensity.max():
            return ("The planes at 0 and 360 deg differ; that at 0 was taken.",)
        return ()
    gap = 360.0 - azimuth_deg[-1]
    if gap > 1.5 * np.diff(azimuth_deg).max():
        return (f"The planes end at {azimuth_deg[-1]:g} deg; from there to 360 the light is interpolated.",)
    return ()


def checked(distribution: Distribution, where: str) -> Distribution:
    """A distribution that can be traced.

    Parameters
    ----------
    distribution : Distribution
    where : str
        File, for the error.

    Raises
    ------
    DataError
        Angles that do not rise or leave their range, intensities below zero, no light at all.
    """
    rising(distribution.vertical_deg, "vertical angles", 0.0, 180.0, where)
    rising(distribution.azimuth_deg, "azimuths", 0.0, 360.0, where)
    intensity = distribution.intensity
    if len(distribution.vertical_deg) < 2:
        raise DataError("there is one vertical angle, expected at least two.", where=where)
    if intensity.min() < 0.0:
        raise DataError(f"an intensity is {intensity.min():g}, expected none below zero.", where=where)
    with np.errstate(over="ignore", invalid="ignore"):
        flux = distribution.flux
    if not np.isfinite(flux) or flux <= 0.0:
        what = "all intensities are zero" if not intensity.any() else "the intensities add up to no number"
        raise DataError(f"{what}: this lamp has no beam.", where=where)
    return replace(distribution, notes=distribution.notes + _reach(distribution.vertical_deg))


def rising(angles: np.ndarray, what: str, low: float, high: float, where: str) -> None:
    """Refuse angles that do not rise, or leave their range.

    Raises
    ------
    DataError
    """
    if np.any(np.diff(angles) <= 0.0):
        at = int(np.argmax(np.diff(angles) <= 0.0))
        raise DataError(
            f"the {what} do not rise: {angles[at]:g}, then {angles[at + 1]:g} deg.",
            where=where,
            hint="A number of the file is wrong, or one before them is missing or too many.",
        )
    if angles[0] < low or angles[-1] > high:
        out = angles[0] if angles[0] < low else angles[-1]
        raise DataError(f"among the {what} is {out:g} deg, expected {low:g} to {high:g}.", where=where)


def _reach(vertical_deg: np.ndarray) -> tuple[str, ...]:
    """A word on files that leave out part of a half space."""
    first, last = vertical_deg[0], vertical_deg[-1]
    if first in (0.0, 90.0) and last in (90.0, 180.0):
        return ()
    return (f"The file has vertical angles {first:g} to {last:g} deg; beyond them it is taken as dark.",)
