"""`underlit dim`: the best settings for all plant zones at once."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from underlit.cli.options import curve_option, form_options, opened, put_out, read_curve, result_argument
from underlit.cli.values import Setting

if TYPE_CHECKING:
    from underlit.results.result import Channel


class Kelvins(click.ParamType):
    """A range of colour temperature, written `5500-7500`."""

    name = "from-to"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float]:
        if isinstance(value, tuple):
            return value
        found = re.fullmatch(r"\s*(\d+)\s*K?\s*(?:-|–|to)\s*(\d+)\s*K?\s*", str(value))
        if not found:
            self.fail(f"got {value!r}, expected a range in kelvins such as 5500-7500.", param, ctx)
        return float(found.group(1)), float(found.group(2))


class Watts(click.ParamType):
    """A limit, written `30` or `bar=18`."""

    name = "watts"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, float]:
        if isinstance(value, tuple):
            return value
        name, _, number = str(value).rpartition("=")
        try:
            return name.strip(), float(number.strip().removesuffix("W"))
        except ValueError:
            self.fail(f"got {value!r}, expected watts such as 30 or bar=18.", param, ctx)


@click.command("dim", short_help="The best settings for all plant zones at once.")
@result_argument
@click.option(
    "--kelvin", type=Kelvins(), help="Colour temperature to keep to, such as 5500-7500; frees the channels."
)
@click.option(
    "--duv", type=float, default=0.01, help="With --kelvin: largest Duv, to either side; default 0.01."
)
@click.option("--seen", default="soil", help="With --kelvin: where, a surface or `lamp`; default soil.")
@click.option("--zone", "names", multiple=True, help="Only this plant zone, by its name; default all.")
@click.option("--free", is_flag=True, help="Set each channel by itself, whatever the colour.")
@click.option(
    "--watts", type=Watts(), multiple=True, help="Most power, such as 30, or bar=18 for one fixture."
)
@click.option("--most", type=Setting(), multiple=True, help="Highest setting, such as bar=80%.")
@curve_option
@form_options
def command(
    result: Path,
    kelvin: tuple[float, float] | None,
    duv: float,
    seen: str,
    names: tuple[str, ...],
    free: bool,
    watts: tuple[tuple[str, float], ...],
    most: tuple[tuple[str, float], ...],
    curve: Path | None,
    form: str | None,
) -> None:
    """Find what to dim to, so that every zone's median is on its target and no zone passes its ceiling.

    \b
      underlit dim tank.h5                          each fixture keeps its mix of channels
      underlit dim tank.h5 --kelvin 5500-7500       channels free, the light on the soil within that colour
      underlit dim tank.h5 --watts 20               no more than 20 W in all
      underlit dim tank.h5 --watts bar=18 --most clip=50%
      underlit dim tank.h5 --zone carpet            whatever the other plants say
      underlit dim tank.h5 --curve dimmer.csv       also what the dimmer then shows

    Of all settings that do it, those that take the fewest watts. Where it cannot be done you get the
    nearest, what stands in the way, and how far that would have to give way.
    """
    from underlit.metrics.answers import dim_answer
    from underlit.metrics.balance import balance
    from underlit.metrics.colour_window import ColourWindow
    from underlit.metrics.maps import dim_settings
    from underlit.metrics.zones import find_zones

    res = opened(result)
    window = None if kelvin is None else ColourWindow(*kelvin, duv)
    limits = dict(watts)
    if "" in limits and len(limits) > 1:
        raise click.UsageError("Give --watts for all lamps or for fixtures by name, not both.")
    highest = dim_settings(res.with_channels([_full(channel) for channel in res.channels]), dict(most))
    found = balance(
        res,
        zones=find_zones(res, names) if names else None,
        free=free,
        window=window,
        window_at=seen,
        watts=limits.get("") if "" in limits else limits or None,
        most=highest,
    )
    put_out(dim_answer(res, found, read_curve(curve)), form)


def _full(channel: Channel) -> Channel:
    """The channel fully on: what `--most` leaves out may be."""
    from dataclasses import replace

    return replace(channel, dim=1.0)
