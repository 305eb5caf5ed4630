"""How the tank is used and what is to be computed: hours, meter points, precision."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from underlit.scene.fields import Amount, Coordinate, Entries, Height, Share, Spot, Table, Text, derived
from underlit.scene.values import Number, Quantity, Whole, fault

Hours = Annotated[float, Number(0.0, 24.0, share=False)]
Ramp = Annotated[float, Quantity("time", "0 min", "12 h", example="30 min")]
Moment = Annotated[tuple[Text, Share], Entries(2)]
Cell = Annotated[float, Quantity("length", "0.5 mm", "1 m", example="1 cm")]


class Schedule(Table):
    """The light's day, and what it costs."""

    hours: Hours = Field(
        8.0, description="per day from the first light to the last, ramps included", examples=[8]
    )
    ramp: Ramp = Field(0.0, description="of rise, and as long of fall", examples=["30 min"])
    start: Text = Field("10:00", description="time of day of the first light", examples=["10:00"])
    course: Annotated[tuple[Moment, ...], Entries(100, least=2)] | None = Field(
        None,
        description="in place of `hours`, `ramp` and `start`: times of the day, and to what share of their settings "
        "all channels are dimmed at each; straight in between, dark outside, on past midnight",
        examples=[[["09:00", 0], ["11:00", "60 %"], ["15:00", 1], ["20:00", 0]]],
    )
    tariff: Amount | None = Field(None, description="price of a kWh", examples=[0.30])
    currency: Text = Field(
        "", description="of all prices of the scene, as it is to be printed", examples=["EUR"]
    )

    def corners(self, hours_h: float | None = None) -> tuple[list[float], list[float]]:
        """The day as points joined by straight lines, dark outside.

        Parameters
        ----------
        hours_h : float, optional
            Of a longer or shorter day: a course is stretched, ramps stay as long as they fit. [h]

        Returns
        -------
        time_h : list of float
            Rising; past midnight beyond 24. [h]
        share : list of float
            Of the settings of the channels, 0-1.
        """
        start = clock_h(self.start) or 0.0
        hours = self.hours if hours_h is None else hours_h
        if self.course is None:
            ramp = min(self.ramp, hours / 2)
            return [start, start + ramp, start + hours - ramp, start + hours], [0.0, 1.0, 1.0, 0.0]
        times = rising_hours([text for text, _ in self.course])
        stretched = [start + (time - times[0]) * hours / self.hours for time in times]
        return stretched, [share for _, share in self.course]


def clock_h(text: str) -> float | None:
    """Hours after midnight of a time of day such as 10:30; None of any other text."""
    if not re.fullmatch(r"([01]?\d|2[0-3]):[0-5]\d", text):
        return None
    hour, minute = text.split(":")
    return int(hour) + int(minute) / 60


def rising_hours(times: Sequence[str]) -> list[float]:
    """Hours of times of day, each less than the one before it put on the next day."""
    found: list[float] = []
    for text in times:
        hour = clock_h(text) or 0.0
        days = int(found[-1] // 24) if found else 0
        hour += 24 * days
        found.append(hour + 24 if found and hour < found[-1] else hour)
    return found


def _as_list(value: Any) -> Any:
    return value if isinstance(value, list | tuple) else [value]


Heights = Annotated[
    tuple[Height, ...],
    Entries(60, least=1),
    BeforeValidator(_as_list, json_schema_input_type=Height | list[Height]),
]


class MeterGrid(Table):
    """Points spread evenly over the ground of the tank, each in the middle of its cell."""

    nx: Annotated[int, Whole(1, 100)] = Field(description="points from left to right", examples=[3])
    ny: Annotated[int, Whole(1, 100)] = Field(description="points from front to back", examples=[3])
    z: Heights = Field(description="height above the bottom, or several", examples=[["8 cm", "15 cm"]])


class Meter(Table):
    """Spots where a light meter is held."""

    name: Text = derived("unique name; default its number", ["floor"])
    points: Annotated[tuple[Spot, ...], Entries(10_000, least=1)] = derived(
        "x, y, z of each spot", [[["10 cm", "10 cm", "6 cm"]]]
    )
    grid: MeterGrid | None = Field(None, description="an even grid of spots, in place of `points`")


def _planes(value: Any) -> Any:
    """`auto` is what leaving the key out means."""
    if value == "auto":
        return None
    if isinstance(value, str) or not isinstance(value, list | tuple):
        raise fault('"auto" or a list of heights above the bottom, such as ["10 cm", "20 cm"]')
    return value


_PlaneList = Annotated[tuple[Coordinate, ...], Entries(200, least=0)]
Planes = Annotated[
    _PlaneList | None, BeforeValidator(_planes, json_schema_input_type=list[Height] | Literal["auto"])
]


class Run(Table):
    """What to compute, and how precisely."""

    seed: Annotated[int, Whole(0, 2**31 - 1)] = Field(1, description="of the random numbers", examples=[1])
    precision: Annotated[float, Number(1e-4, 1.0)] = Field(
        0.03,
        description="standard error asked for, relative, in the median soil cell; "
        "a third of it on hardscape with plants",
        examples=[0.03],
    )
    photons: Annotated[int, Whole(1, 10**13)] | None = Field(
        None, description="number of photons in all, in place of a precision", examples=[10_000_000]
    )
    cell: Cell = Field(0.01, description="size of the cells of the soil", examples=["1 cm"])
    planes: Planes = Field(
        None,
        description="heights of horizontal planes to map, above the bottom; default `auto`: every few cm, "
        "and where "
        "plants and meters are read",
        examples=[["10 cm", "20 cm"]],
    )
    plane_cell: Cell = Field(
        0.02, description="size of the cells of planes, panes and water surface", examples=["2 cm"]
    )
    replicates: Annotated[int, Whole(2, 64)] = Field(
        16, description="independent repetitions, from which the errors come", examples=[16]
    )
