"""From a result to its spectra, zone bars and depth profile."""

from __future__ import annotations

from contextlib import suppress

import numpy as np

from underlit.errors import StudyError
from underlit.figures.profile import Profile
from underlit.figures.reading import LEAST_OPEN_SHARE, Reading
from underlit.figures.spectrum import SpectrumPanel
from underlit.figures.zones import ZoneBar
from underlit.metrics import maps, photons
from underlit.metrics.estimate import Estimate, with_error
from underlit.metrics.spread import Area
from underlit.metrics.zones import ZoneReport, find_zone, report

_LEAST_PLANE_SHARE = 0.2  # of the floor: a plane that is mostly buried says little about depth


def spectrum_panels(read: Reading) -> list[SpectrumPanel]:
    """Spectrum that the lamps send out, and the mean one on the open soil with the lamps' shape beside it."""
    lamp = read.dims @ np.array([channel.spectrum for channel in read.res.channels])
    soil = maps.spectrum(
        read.res, "soil", read.dims, (read.open_share(read.res.surface("soil")) > 0.999) * 1.0
    )
    shape = lamp * float(photons.par(soil.value) / photons.par(lamp)) if lamp.any() else lamp
    return [
        SpectrumPanel("at the lamps", "µmol s⁻¹ nm⁻¹", lamp, words=split_words(lamp)),
        SpectrumPanel(
            "on the soil, mean of its open cells",
            "µmol m⁻² s⁻¹ nm⁻¹",
            soil.value,
            soil.std_err,
            split_words(soil.value),
            shape,
        ),
    ]


def split_words(spectrum: np.ndarray) -> str:
    """Blue, green and red in PAR, and far red beside it."""
    split = {name: 100 * float(share) for name, share in photons.colour_split(spectrum).items()}
    if not np.isfinite(split["blue"]):
        return "no light of 400–700 nm"
    parts = [f"{name} {split[name]:.0f} %" for name in ("blue", "green", "red")]
    return f"{', '.join(parts)} of PAR; far red {split['far red']:.0f} % beside it"


def readable_zones(read: Reading) -> list[str]:
    """Names of the plant zones that have open cells to be read on."""
    found = []
    for plant in read.scene.plant:
        with suppress(StudyError):  # `zone_bars` says why
            find_zone(read.res, plant)
            found.append(plant.name)
    return found


def zone_bars(read: Reading) -> tuple[list[ZoneBar], list[str]]:
    """One bar for each plant zone, and what to say of zones that cannot be read."""
    reports, notes = zone_reports(read)
    return [_bar(one) for one in reports], notes


def zone_reports(read: Reading) -> tuple[list[ZoneReport], list[str]]:
    """What each plant zone gets, and what to say of zones that cannot be read."""
    reports, notes = [], []
    for plant in read.scene.plant:
        try:
            reports.append(report(read.res, find_zone(read.res, plant), read.dims))
        except StudyError as error:
            notes.append(f"Not drawn: {error.what}")
    return reports, notes


def _bar(found: ZoneReport) -> ZoneBar:
    plant = found.zone.plant
    p10, median, p90 = (float(estimate.value) for estimate in (found.p10, found.median, found.p90))
    error = float(found.median.std_err)
    verdict = found.verdict if found.sure else f"{found.verdict}, not for sure"
    low, high = plant.band
    return ZoneBar(
        name=plant.name,
        low=low,
        high=high,
        target=plant.target,
        ceiling=plant.ceiling,
        p10=p10,
        median=median,
        p90=p90,
        median_err=error,
        words=f"{verdict}: median {_unbroken(median, error)}; {_dim_words(found)}{_few_words(found)}",
    )


def _few_words(found: ZoneReport) -> str:
    """What the trace was too short for."""
    return f"; too few photons for {', '.join(found.few)}" if found.few else ""


def _dim_words(found: ZoneReport) -> str:
    """What would bring the zone to its target."""
    percent = float(found.dim_to.value)
    if not np.isfinite(percent):
        return "no setting of the lamps changes it"
    words = f"{_unbroken(percent, float(found.dim_to.std_err))}\u00a0%"
    return f"dim all to {words}" if percent <= 100 else f"wants {words} of this light"


def _unbroken(value: float, std_err: float) -> str:
    """A number with its error that no line break parts."""
    return with_error(value, std_err).replace(" ", "\u00a0")


def depth_profile(read: Reading) -> Profile:
    """Light on every horizontal plane that is mostly open, over its open part."""
    rows = sorted(_plane_row(read, name) for name in open_planes(read))
    if not rows:
        raise StudyError(
            "this result has no horizontal plane in open water.",
            hint='Write `planes = "auto"` into `[run]` and trace again.',
        )
    z, mean, p10, p90, error, blue, green, red = (np.array(column) for column in zip(*rows, strict=True))
    soil = read.res.surface("soil").cell_centre_m[:, 2]
    return Profile(
        z_m=z,
        mean=mean,
        p10=p10,
        p90=p90,
        std_err=error,
        colours={"blue": blue, "green": green, "red": red},
        soil_m=(float(soil.min()), float(soil.max())),
        water_m=read.scene.water.level,
        height_m=read.scene.tank.height,
    )


def open_planes(read: Reading) -> list[str]:
    """Horizontal planes that are not mostly buried."""
    least = _LEAST_PLANE_SHARE
    return [name for name in read.names("plane") if read.open_share(read.res.surface(name)).mean() >= least]


def _plane_row(read: Reading, name: str) -> tuple[float, ...]:
    """Height, mean, tenth and ninetieth percentile, error of the mean, and the colours of the mean."""
    surface = read.res.surface(name)
    share = read.open_share(surface)
    cells = share > LEAST_OPEN_SHARE

    def over(weighting: str) -> Area:
        samples = maps.ppfd(read.res, name, read.dims, weighting).samples[:, cells] / share[cells]
        return Area(Estimate(samples), (share * surface.cell_area_m2)[cells])

    light = over("PAR")
    mean, (p10, p90) = light.mean(), light.quantiles(0.1, 0.9).value
    colours = [float(over(colour).mean().value) for colour in ("blue", "green", "red")]
    height = float(surface.cell_centre_m[0, 2])
    return height, float(mean.value), float(p10), float(p90), float(mean.std_err), *colours
