"""Results side by side: one scale for their maps, and which differences are more than noise."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from underlit.errors import StudyError
from underlit.metrics import maps
from underlit.metrics.estimate import Estimate
from underlit.metrics.summary import Summary, Table, Value
from underlit.results.result import Result
from underlit.studies.measures import SURE, Measure, difference, is_sure, measures

_COSTS = ("power", "price", "energy a year", "soil median per watt", "spill")


def compare(results: Mapping[str, Result], dims: maps.Dims = None) -> Summary:
    """Tables of two or more results: their light, their cost, and how each differs from the first.

    Parameters
    ----------
    results : mapping of str to Result
        By the name to call each.
    dims : optional
        Settings of the channels, for all; default those of each scene.

    Returns
    -------
    Summary
        Tables `light`, `cost` and `differences`. A difference of two traces of one seed has a smaller error than
        either number.

    Raises
    ------
    StudyError
        If there is but one.
    """
    if len(results) < 2:
        raise StudyError("there is nothing to compare with.", hint="Give two results or more.")
    found = {name: measures(res, dims) for name, res in results.items()}
    order = list(dict.fromkeys(key for each in found.values() for key in each))
    light = [key for key in order if key not in _COSTS]
    costs = [key for key in _COSTS if key in order]
    tables = [
        _side_by_side("light", "Light", found, light),
        _side_by_side("cost", "What it takes", found, costs),
        _differences(found, order),
    ]
    return Summary(tables)


def draw(
    results: Mapping[str, Result],
    folder: Path,
    fmt: str = "png",
    theme: str = "light",
    unit: str = "cm",
    dims: maps.Dims = None,
) -> list[Path]:
    """Soil maps of all results in one scale, and the difference of each from the first.

    Parameters
    ----------
    results : mapping of str to Result
    folder : Path
    fmt, theme, unit : str
        As for `figures.save_all`.
    dims : optional

    Returns
    -------
    list of Path
        The pictures. No difference is drawn between tanks whose soil cells are not the same.
    """
    from underlit import figures

    names, every = list(results), list(results.values())
    page = figures.compare_figure(every, names, dims=dims, theme=theme, unit=unit)
    drawn = [figures.save(page, folder / f"maps.{fmt}", theme)]
    for number, res in enumerate(every[1:], start=2):
        if _same_cells(every[0], res):
            page = figures.difference_figure(every[0], res, dims=dims, theme=theme, unit=unit)
            drawn.append(figures.save(page, folder / f"difference-{number}.{fmt}", theme))
    return drawn


def _same_cells(one: Result, other: Result) -> bool:
    def edges(res: Result) -> tuple[bytes, ...]:
        soil = res.surface("soil")
        assert soil.x_edges_m is not None and soil.y_edges_m is not None
        return soil.x_edges_m.round(9).tobytes(), soil.y_edges_m.round(9).tobytes()

    return edges(one) == edges(other)


def _side_by_side(
    name: str, title: str, found: Mapping[str, Mapping[str, Measure]], keys: list[str]
) -> Table:
    rows: list[dict[str, Value]] = []
    for key in keys:
        held = {each: measure[key] for each, measure in found.items() if key in measure}
        unit = next(iter(held.values())).unit
        rows.append({"quantity": key, **{each: one.value for each, one in held.items()}, "in": unit})
    return Table(name, title, {"quantity": "", **dict.fromkeys(found, ""), "in": ""}, rows)


def _differences(found: Mapping[str, Mapping[str, Measure]], keys: list[str]) -> Table:
    first, *others = found
    rows: list[dict[str, Value]] = []
    for name in others:
        for key in keys:
            if key in found[first] and key in found[name]:
                one, other = found[first][key], found[name][key]
                change = difference(one.value, other.value)
                rows.append(_difference_row(f"{key}, {name}", change, one.value, one.unit))
    columns = {"quantity": "", "difference": "", "in": "", "share": "%", "sure": ""}
    note = (
        f"Less that of {first}. `sure`: {SURE:g} standard errors or more; noise alone makes 5 in 100 look so."
    )
    return Table("differences", f"Differences from {first}", columns, rows, note)


def _difference_row(name: str, change: Estimate, base: Estimate, unit: str) -> dict[str, Value]:
    share = float(100 * change.value / base.value) if base.value else None
    known = "yes" if is_sure(change) else "none" if not change.samples.any() else "no"
    return {"quantity": name, "difference": change, "in": unit, "share": share, "sure": known}
