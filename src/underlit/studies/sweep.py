"""Moving values of a scene step by step: what each step does to the light, more sharply than any step alone."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from underlit.errors import SceneError, StudyError
from underlit.metrics.estimate import Estimate
from underlit.metrics.summary import Summary, Table, Value
from underlit.results.result import Result
from underlit.scene.document import Document
from underlit.scene.edit import change, find
from underlit.scene.faults import written
from underlit.scene.model import Scene
from underlit.studies.measures import Measure, difference, is_sure, measures
from underlit.studies.ranges import LEFT_OUT, Axis, grid
from underlit.studies.store import PHOTONS, Job, Store, light_key, plain, relit, run_all, write_text

_CHANGES = ("median", "P10", "spill", "power")
_BRIEF = (" median", " P10", "spill")

Runner = Callable[[list[Job], Store], Iterable[tuple[Job, Result]]]


@dataclass(frozen=True, eq=False)
class Sweep:
    """What a sweep found.

    Parameters
    ----------
    axes : tuple of Axis
    points : list of dict
        Values by path, one dict for each scene.
    measures : list of dict of str to Measure
        For each scene.
    marked : int
        The point that the others are held against: that of the scene as it is, or else the first.
    is_present : bool
        Whether the marked point is the scene as it is.
    traces : int
        How many scenes had to be traced or were on file; the others differ in the lamps' light alone.
    photons, seed : int
        Of each trace.
    """

    axes: tuple[Axis, ...]
    points: list[dict[str, Any]]
    measures: list[dict[str, Measure]]
    marked: int
    is_present: bool
    traces: int
    photons: int
    seed: int

    def change(self, key: str, point: int) -> Estimate:
        """How much a number of one point differs from that of the marked one."""
        return difference(self.measures[self.marked][key].value, self.measures[point][key].value)

    def tables(self) -> Summary:
        """Tables `sweep` (every number of every point) and `differences` (from the marked point)."""
        return Summary([self._values(self._names()), self._differences(_CHANGES)])

    def brief(self) -> Summary:
        """The same with what matters most, narrow enough for a terminal."""
        names = [name for name in self._names() if name.endswith(_BRIEF) and "/" not in name]
        if any(name != "soil median" and name.endswith(" median") for name in names):
            names = [name for name in names if not name.startswith("soil ")]
        return Summary([self._values(names), self._changes(names)])

    def write_csv(self, path: Path) -> None:
        """Write a spreadsheet: one row for each point, each number with its standard error."""
        names = self._names()
        head = [axis.path for axis in self.axes]
        for name in names:
            unit = next(each[name].unit for each in self.measures if name in each)
            head += [f"{name} [{unit}]" if unit else name, f"{name} std_err"]
        rows = [
            [*map(_shown, point.values()), *(number for name in names for number in _pair(found.get(name)))]
            for point, found in zip(self.points, self.measures, strict=True)
        ]
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows([head, *rows])
        write_text(path, text.getvalue())

    def _names(self) -> list[str]:
        return list(dict.fromkeys(key for each in self.measures for key in each))

    def _values(self, names: list[str]) -> Table:
        columns = {axis.path: "" for axis in self.axes}
        rows: list[dict[str, Value]] = []
        for point, found in zip(self.points, self.measures, strict=True):
            row: dict[str, Value] = {path: _shown(value) for path, value in point.items()}
            rows.append(row | {key: found[key].value for key in names if key in found})
        units = {key: one.unit for found in self.measures for key, one in found.items()}
        traces = "1 trace" if self.traces == 1 else f"{self.traces} traces"
        note = f"{traces} of {self.photons:,} photons, seed {self.seed}."
        return Table("sweep", "Sweep", columns | {key: units[key] for key in names}, rows, note)

    def _changes(self, names: list[str]) -> Table:
        """Differences of some numbers from the marked point, one row for each point."""
        columns = {axis.path: "" for axis in self.axes} | dict.fromkeys(names, "")
        base, rows = self.measures[self.marked], []
        for i, (point, found) in enumerate(zip(self.points, self.measures, strict=True)):
            row: dict[str, Value] = {path: _shown(value) for path, value in point.items()}
            for key in () if i == self.marked else names:
                if key in base and key in found:
                    row[key] = self.change(key, i)
            rows.append(row)
        return Table("changes", "What changes", columns, rows, self._held())

    def _differences(self, kinds: tuple[str, ...]) -> Table:
        columns = {axis.path: "" for axis in self.axes} | {
            "quantity": "",
            "difference": "",
            "in": "",
            "sure": "",
        }
        rows: list[dict[str, Value]] = []
        base = self.measures[self.marked]
        for i, (point, found) in enumerate(zip(self.points, self.measures, strict=True)):
            for key in () if i == self.marked else found:
                if key in base and key.endswith(kinds):
                    by = self.change(key, i)
                    row: dict[str, Value] = {path: _shown(value) for path, value in point.items()}
                    sure = "yes" if is_sure(by) else "no"
                    rows.append(
                        row | {"quantity": key, "difference": by, "in": found[key].unit, "sure": sure}
                    )
        return Table("differences", "Differences", columns, rows, self._held())

    def _held(self) -> str:
        held = ", ".join(f"{path} = {_shown(value)}" for path, value in self.points[self.marked].items())
        return f"Less {'the scene as it is' if self.is_present else 'the first point'}: {held}."


def sweep(
    scene: Scene,
    axes: Sequence[Axis],
    folder: Path,
    *,
    photons: int | None = None,
    seed: int | None = None,
    run: Runner = run_all,
    done: Callable[[int, int], None] | None = None,
) -> Sweep:
    """Set values of a scene to every combination of their ranges.

    Parameters
    ----------
    scene : Scene
    axes : sequence of Axis
        From `ranges.read_axis`.
    folder : Path
        Where the traces are kept. A sweep that was cut short goes on from there.
    photons : int, optional
        Of each trace; default `run.photons`, or else 4 million.
    seed : int, optional
        Of every trace: common random numbers; default `run.seed`.
    run : callable, optional
        What traces the jobs: `store.run_all`, or `spread.Cluster.run_all` on many machines.
    done : callable, optional
        Called with the number of traces made, and of all.

    Returns
    -------
    Sweep

    Raises
    ------
    StudyError
        A range that leads to no scene, with the faults of that scene.

    Notes
    -----
    Scenes that differ in colour and amount of the lamps' light alone share one trace, that of the first of them.
    """
    points = grid(axes)
    scenes = [_changed(scene, point) for point in points]
    photons, seed = photons or scene.run.photons or PHOTONS, scene.run.seed if seed is None else seed
    groups: dict[str, list[int]] = {}
    for i, each in enumerate(scenes):
        groups.setdefault(light_key(each), []).append(i)
    jobs = [Job(scenes[members[0]], photons, seed) for members in groups.values()]
    members_of = {job.key: members for job, members in zip(jobs, groups.values(), strict=True)}
    found: list[dict[str, Measure]] = [{} for _ in points]
    for number, (job, result) in enumerate(run(jobs, Store(folder)), start=1):
        for i in members_of[job.key]:
            found[i] = measures(relit(result, scenes[i]))
        if done is not None:
            done(number, len(jobs))
    present = [i for i, each in enumerate(scenes) if plain(each) == plain(scene)]
    marked = present[0] if present else 0
    return Sweep(tuple(axes), points, found, marked, bool(present), len(jobs), photons, seed)


def _changed(scene: Scene, point: dict[str, Any]) -> Scene:
    document = Document(scene.text, scene.name)
    for path, value in point.items():
        if value == LEFT_OUT and document.value(find(document, path)) is not None:
            raise StudyError(
                f"`{path}` cannot be left out: the scene has it.", hint="Take it out of the scene file first."
            )
    try:
        return change(scene, {path: value for path, value in point.items() if value != LEFT_OUT})
    except SceneError as error:
        held = ", ".join(f"{path} = {written(value)}" for path, value in point.items())
        raise StudyError(f"with {held} the scene has faults:\n{error}") from error


def _pair(one: Measure | None) -> tuple[float | str, float | str]:
    return ("", "") if one is None else (float(one.value.value), float(one.value.std_err))


def _shown(value: Any) -> str:
    return value if isinstance(value, str) else written(value)
