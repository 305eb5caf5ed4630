"""Schedule, meters and run."""

from __future__ import annotations

from underlit.scene.check.checker import CLOSE_M, Checker, cm
from underlit.scene.use import clock_h, rising_hours

_N_BANDS = 16
_BYTES = 8
_MOST_BYTES = 4e9  # of tallies; more would not fit the memory of a usual computer


def check(checker: Checker) -> None:
    """Faults of schedule, meters and run."""
    _schedule(checker)
    meters = checker.scene.meter
    checker.unique("meter", (one.name for one in meters), lambda i: ("meter", i, "name"))
    for i in range(len(meters)):
        _meter(checker, i)
    _run(checker)


def _schedule(checker: Checker) -> None:
    schedule = checker.scene.schedule
    if schedule.course is not None:
        _course(checker, [text for text, _ in schedule.course])
        return
    if 2 * schedule.ramp > schedule.hours:
        expected = f"at most half of the {schedule.hours:g} hours of light, since it is both rise and fall"
        checker.wrong(("schedule", "ramp"), expected)
    if clock_h(schedule.start) is None:
        checker.wrong(("schedule", "start"), "a time of day such as 10:00", 'Write `start = "10:00"`.')


def _course(checker: Checker, times: list[str]) -> None:
    path = ("schedule", "course")
    for key in ("hours", "ramp", "start"):
        if checker.given(("schedule", key)):
            checker.fault(
                ("schedule", key),
                f"got `{key}` and `course`, expected one of them: a course is the whole day.",
                "Keep one of them.",
            )
    for k, text in enumerate(times):
        if clock_h(text) is None:
            checker.wrong((*path, k), 'a time of day and a share, such as ["10:00", 0.6]')
    hours = rising_hours(times)
    if all(clock_h(text) is not None for text in times) and not 0 < hours[-1] - hours[0] <= 24:
        checker.fault(
            path,
            f"got {' '.join(times)}, expected times that rise within one day.",
            "A time below the one before it counts as past midnight.",
        )


def _meter(checker: Checker, i: int) -> None:
    meter, tank, path = checker.scene.meter[i], checker.scene.tank, ("meter", i)
    way = checker.one_of(path, ("points", "grid"), "where the meter is held")
    for k, (x, y, z) in enumerate(meter.points or ()):
        if 0 <= x <= tank.length and 0 <= y <= tank.width and 0 <= z <= tank.height + CLOSE_M:
            continue
        where = (*path, "points", k) if way == "points" else (*path, "grid")
        what = (
            f"a point at x = {cm(x)}, y = {cm(y)}, z = {cm(z)} is outside the tank, "
            f"which is {cm(tank.length)} by {cm(tank.width)} by {cm(tank.height)} inside."
        )
        checker.fault(where, what, "Count z from the inside of the bottom.")
        return


def _run(checker: Checker) -> None:
    run, tank = checker.scene.run, checker.scene.tank
    checker.one_of(("run",), ("precision", "photons"), "how long to trace", needed=False)
    for i, z in enumerate(run.planes or ()):
        if not 0 < z < tank.height:
            expected = f"between the bottom and the rim, 0 cm and {cm(tank.height)}"
            checker.wrong(("run", "planes", i), expected, "Planes count from the inside of the bottom.")
    size = tally_bytes(checker)
    if size > _MOST_BYTES:
        cell = "cell" if checker.given(("run", "cell")) else "plane_cell"
        most = f"{_MOST_BYTES / 1e9:.0f} GB"
        what = f"maps this fine would take {size / 1e9:,.0f} GB of memory, expected at most {most}."
        hint = "Make `cell` and `plane_cell` larger, or give fewer planes or channels."
        checker.fault(("run", cell), what, hint)


def tally_bytes(checker: Checker) -> float:
    """About how much memory the maps of the scene take."""
    scene, tank, run = checker.scene, checker.scene.tank, checker.scene.run
    floor = tank.length * tank.width
    panes = 2 * (tank.length + tank.width) * tank.height + 2 * floor
    planes = len(run.planes) if run.planes is not None else 8
    cells = floor / run.cell**2 + (panes + planes * floor) / run.plane_cell**2
    cells += sum(6 * _extent(piece) ** 2 / piece.patch**2 for piece in scene.hardscape)
    sources = max(1, len(scene.channels)) + (scene.window is not None)
    return cells * sources * _N_BANDS * run.replicates * _BYTES


def _extent(piece: object) -> float:
    """Side of a cube about as large as a piece. [m]"""
    size = getattr(piece, "size", None)
    return (size[0] * size[1] * size[2]) ** (1 / 3) if size else 0.1
