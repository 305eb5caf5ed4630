"""Light at spots, and by depth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from underlit.metrics import depth, light, maps, zones
from underlit.metrics.estimate import Estimate
from underlit.metrics.shade import Sight
from underlit.metrics.spots import Spot
from underlit.metrics.summary import PPFD_UNIT, Summary, Table, Value
from underlit.results.result import Result

LAMP, LIGHT = "at the lamp", "light"


def spot_answer(
    res: Result,
    spots: Mapping[str, Spot],
    dims: maps.Dims = None,
    weighting: str = light.WEIGHTING,
    sights: Mapping[str, list[Sight]] | None = None,
) -> Summary:
    """All figures of the light of the lamps and at spots, whose light it is, and what stands in its way.

    Parameters
    ----------
    res : Result
    spots : mapping of str to Spot
        By what to call them.
    dims : optional
        Settings of the channels.
    weighting : str
        Absorption for PUR.
    sights : mapping of str to list of Sight, optional
        Of some of the spots, by the same names.

    Returns
    -------
    Summary
    """
    lamp = lamp_light(res, dims, weighting)
    found = {name: light.describe(spot.spectrum(res, dims), weighting) for name, spot in spots.items()}
    tables = [
        _amount_table("lamp", "Light of the lamps", {LIGHT: lamp}, "µmol s⁻¹", "lm", None),
        _amount_table("spots", "Light at the spots", found, PPFD_UNIT, "lx", zones.full_hours(res.scene)),
        _kind_table({LAMP: lamp} | found),
        _share_table(res, spots, dims),
        _sight_table(sights or {}),
    ]
    return Summary([table for table in tables if table.rows])


def lamp_light(res: Result, dims: maps.Dims = None, weighting: str = light.WEIGHTING) -> light.Light:
    """Figures of all that the lamps emit together; `par` is PPF, `luminous` lumens."""
    spectra = np.array([channel.spectrum for channel in res.channels])
    return light.describe(Estimate.exact(maps.dim_settings(res, dims) @ spectra, 2), weighting)


def _amount_table(
    name: str,
    title: str,
    found: Mapping[str, light.Light],
    unit: str,
    luminous_unit: str,
    full_hours_h: float | None,
) -> Table:
    """Photons and lumens; a column for each light."""
    if not found:
        return Table(name, title, {}, [])
    density = unit == PPFD_UNIT
    weighting = next(iter(found.values())).weighting
    rows = [
        _row("PPFD" if density else "PPF", unit, {key: one.par for key, one in found.items()}),
        _row("ePAR, 400-750 nm", unit, {key: one.epar for key, one in found.items()}),
        _row("YPF", unit, {key: one.ypf for key, one in found.items()}),
        _row(f"PUR by {weighting}", unit, {key: one.pur for key, one in found.items()}),
        _row(
            "illuminance" if density else "luminous flux",
            luminous_unit,
            {k: o.luminous for k, o in found.items()},
        ),
    ]
    if full_hours_h is not None:
        rows.insert(1, _row("DLI", "mol m⁻² d⁻¹", {k: one.dli(full_hours_h) for k, one in found.items()}))
    return Table(name, title, _columns(found), rows)


def _kind_table(found: Mapping[str, light.Light]) -> Table:
    """Colour: shares of photons, and what eyes see."""

    def column(value: str) -> dict[str, Value]:
        return {key: getattr(one, value) for key, one in found.items()}

    def percent(value: str) -> dict[str, Value]:
        return {key: 100 * getattr(one, value) for key, one in found.items()}

    weighting = next(iter(found.values())).weighting
    rows = [
        _row("blue, 400-500 nm", "% of PAR", percent("blue")),
        _row("green, 500-600 nm", "% of PAR", percent("green")),
        _row("red, 600-700 nm", "% of PAR", percent("red")),
        _row("far red, 700-780 nm", "% beside PAR", percent("far_red")),
        _row("red : far red", "", column("red_far_red")),
        _row(f"PUR by {weighting}", "% of PAR", percent("pur_share")),
        _row("colour temperature", "K", column("cct_k")),
        _row("Duv", "", column("duv")),
    ]
    if any(one.ra is not None for one in found.values()):
        rows.append(_row("Ra", "", column("ra")))
    notes = {f"{key}: {one.colour_note}" for key, one in found.items() if one.colour_note}
    note = "PUR depends on the absorption it is weighted by; do not rank lamps by it alone."
    return Table("colour", "Colour", _columns(found), rows, " ".join([note, *sorted(notes)]))


def _share_table(res: Result, spots: Mapping[str, Spot], dims: maps.Dims) -> Table:
    """What each channel adds at each spot."""
    rows: list[dict[str, Value]] = []
    for name, spot in spots.items():
        each = spot.by_channel(res, dims)
        for number, channel in enumerate(res.channels):
            share = Estimate.of(lambda values, m=number: 100 * values[m] / values.sum(), each)
            rows.append({"spot": name, "fixture": channel.fixture, "channel": channel.name,
                         "PPFD": each[number], "share": share if each.value.sum() > 0 else None})  # fmt: skip
    columns = {"spot": "", "fixture": "", "channel": "", "PPFD": PPFD_UNIT, "share": "%"}
    return Table("shares", "Whose light it is", columns, rows)


def _sight_table(sights: Mapping[str, list[Sight]]) -> Table:
    """Straight light of each fixture at each spot, and what takes it."""
    rows: list[dict[str, Value]] = []
    for name, found in sights.items():
        for sight in found:
            lit = float(sight.unshaded.value) > 0
            whole: dict[str, Value] = {
                "spot": name,
                "fixture": sight.fixture,
                "if nothing stood there": sight.unshaded,
            }
            rows.append(whole | {"meets": "the spot", "share": 100 * sight.through if lit else None})
            rows += [
                whole | {"meets": piece, "share": 100 * share} for piece, share in sight.taken_by.items()
            ]
    columns = {"spot": "", "fixture": "", "if nothing stood there": PPFD_UNIT, "meets": "", "share": "%"}
    note = (
        "Light that comes from the lamp through the water surface without being returned by a pane; "
        "`meets`: what it meets first, seen from the spot."
    )
    return Table("shade", "What shades it: straight light", columns, rows, note)


def depth_answer(res: Result, profiles: Mapping[str, depth.Profile]) -> Summary:
    """Light by depth, beside the inverse-square guess.

    Parameters
    ----------
    res : Result
    profiles : mapping of str to Profile
        By what to call them.

    Returns
    -------
    Summary
    """
    return Summary(
        [_depth_table(number, name, p) for number, (name, p) in enumerate(profiles.items(), start=1)]
    )


def _depth_table(number: int, name: str, profile: depth.Profile) -> Table:
    columns = {"depth": "cm", "PPFD": PPFD_UNIT, "of the top": "%", "inverse-square guess": PPFD_UNIT,
               "PPFD : guess": "", "read on": ""}  # fmt: skip
    top = profile.ppfd[0]
    rows: list[dict[str, Value]] = [
        {"depth": round(100 * float(profile.depth_m[i]), 1), "PPFD": profile.ppfd[i], "read on": surface,
         "of the top": 100 * (profile.ppfd[i] / top), "inverse-square guess": profile.guess[i],
         "PPFD : guess": profile.ppfd[i] / profile.guess[i]}
        for i, surface in enumerate(profile.surfaces)
    ]  # fmt: skip
    note = (
        "Below the water surface, on the horizontal. The guess starts from the light at the water surface and falls "
        "with the square of the distance to the lamp: it knows nothing of panes, of refraction, of the lamp's size."
    )
    return Table(f"depth {number}", f"Light by depth, {name}", columns, rows, note)


def _columns(names: Mapping[str, object]) -> dict[str, str]:
    return {"quantity": "", **dict.fromkeys(names, ""), "unit": ""}


def _row(quantity: str, unit: str, values: Mapping[str, Value]) -> dict[str, Value]:
    return {"quantity": quantity, **values, "unit": unit}


def name_of(place_m: Sequence[float]) -> str:
    """What to call a spot: `30, 12 cm`, or `30, 12, 15 cm` with its height."""
    return ", ".join(f"{100 * coordinate:g}" for coordinate in place_m) + " cm"
