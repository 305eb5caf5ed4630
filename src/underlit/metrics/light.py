"""All figures of one light: what plants, algae and eyes make of a spectrum, each with its error."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from underlit.errors import StudyError
from underlit.metrics import colour, photons
from underlit.metrics.estimate import Estimate

WEIGHTING = "leaf"  # of PUR, where none is named: absorptance of a thin submersed leaf
_BANDS = ("blue", "green", "red", "far red")


@dataclass(frozen=True, eq=False)
class Light:
    """Figures of a spectrum, per area (at a spot) or in all (of a lamp).

    Parameters
    ----------
    par : Estimate
        Photons of 400-700 nm: PPFD [umol m-2 s-1], or PPF of a lamp [umol s-1].
    epar, ypf, pur : Estimate
        Of 400-750 nm; weighted by McCree's yield; weighted by the absorption named `weighting`. [as `par`]
    pur_share : Estimate
        `pur` over `par`, 0-1.
    weighting : str
    luminous : Estimate
        Illuminance [lx], or luminous flux of a lamp [lm].
    blue, green, red, far_red : Estimate
        Photons of 400-500, 500-600, 600-700, 700-780 nm over `par`; the first three add up to 1.
    red_far_red : Estimate
        Photons of 655-665 over those of 725-735 nm; infinite without far red.
    cct_k, duv, ra : Estimate or None
        Colour temperature [K], its distance from the black-body line, colour rendering; None where they have no
        meaning.
    colour_note : str
        Why one of them is None.
    """

    par: Estimate
    epar: Estimate
    ypf: Estimate
    pur: Estimate
    pur_share: Estimate
    weighting: str
    luminous: Estimate
    blue: Estimate
    green: Estimate
    red: Estimate
    far_red: Estimate
    red_far_red: Estimate
    cct_k: Estimate | None
    duv: Estimate | None
    ra: Estimate | None
    colour_note: str = ""

    def dli(self, full_hours_h: float) -> Estimate:
        """Daily light integral of a light held for so many full hours; see `photons.equivalent_full_hours`.

        [mol m-2 d-1]
        """
        return self.par * (full_hours_h * photons.MOL_PER_UMOL_HOUR)

    def as_dict(self) -> dict[str, Estimate]:
        """The figures that there are, by name."""
        pairs = ((field.name, getattr(self, field.name)) for field in fields(self))
        return {name: value for name, value in pairs if isinstance(value, Estimate)}


def describe(spectrum: Estimate, weighting: str = WEIGHTING) -> Light:
    """All figures of a light.

    Parameters
    ----------
    spectrum : Estimate, samples of shape (K, 401)
        Photons on the 1 nm grid. [umol m-2 s-1 nm-1, or umol s-1 nm-1]
    weighting : str
        Absorption that PUR is weighted by: a name of `spectra.ACTIONS`, or a CSV file.

    Returns
    -------
    Light
    """

    def pur_share(light: np.ndarray) -> np.ndarray:
        return photons.pur(light, weighting).share

    split = Estimate.of(_split, spectrum)
    cct_k, duv, ra, note = _colours(spectrum)
    return Light(
        par=weighed(spectrum, "PAR"),
        epar=weighed(spectrum, "ePAR"),
        ypf=weighed(spectrum, "YPF"),
        pur=Estimate(photons.pur(spectrum.samples, weighting).flux),
        pur_share=Estimate.of(pur_share, spectrum),
        weighting=weighting,
        luminous=weighed(spectrum, "photopic"),
        blue=split[0],
        green=split[1],
        red=split[2],
        far_red=split[3],
        red_far_red=Estimate.of(photons.red_far_red, spectrum),
        cct_k=cct_k,
        duv=duv,
        ra=ra,
        colour_note=note,
    )


def weighed(spectrum: Estimate, weighting: str) -> Estimate:
    """Photons under a named weighting, which is linear in the light."""
    return Estimate(photons.weighted(spectrum.samples, weighting))


def _split(light: np.ndarray) -> np.ndarray:
    shares = photons.colour_split(light)
    return np.array([shares[band] for band in _BANDS])


def _colours(spectrum: Estimate) -> tuple[Estimate | None, Estimate | None, Estimate | None, str]:
    """Temperature, Duv and Ra where they have a meaning, and else the reason."""
    try:
        shown = colour.describe(np.maximum(spectrum.value, 0.0))
        shades = Estimate.of(lambda light: np.array(colour.cct_duv(light)), spectrum)
    except StudyError as error:
        return None, None, None, error.what
    if shown.ra is None:
        return shades[0], shades[1], None, shown.ra_note
    ra = Estimate.of(lambda light: colour.cri_ra(light, duv_limit=np.inf), spectrum)
    return shades[0], shades[1], ra, ""
