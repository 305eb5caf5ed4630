"""Values worked out from others when the file leaves them out, all in one place.

Each is filled into the scene and listed in `scene.derived` with its reason, so that `underlit check` can show
what was assumed. An assumption that users should know of is a warning besides.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from underlit import spectra, units
from underlit.scene.fields import Table
from underlit.scene.lamps import Fixture
from underlit.scene.use import clock_h, rising_hours

if TYPE_CHECKING:
    from underlit.scene.ground import Substrate
    from underlit.scene.model import Scene
    from underlit.scene.plants import Plant

# Coefficient of a hobby's plate formula by length over height, and its design stress: 19.2 MPa over a safety
# factor of 3.8 (a hobby article of 2001, widely reproduced). Good for an optical guess; never structural
# advice.
_PLATE_RATIO = (0.5, 0.67, 1.0, 1.5, 2.0, 2.5, 3.0)
_PLATE_BETA = (0.085, 0.116, 0.16, 0.26, 0.32, 0.35, 0.37)
_PLATE_STRESS_MPA = 19.2 / 3.8
_SOLD_MM = (
    4,
    5,
    6,
    8,
    10,
    12,
    15,
    19,
    25,
)  # thicknesses in which float glass is sold (common practice, no source)

BELOW_RIM_M = 0.03  # water stops 2-4 cm below the rim (common practice, no source)
SOIL_FRONT_M, SOIL_BACK_M = 0.03, 0.06  # soil is 2-5 cm in front, 6-15 cm behind (common practice, no source)


def fill(scene: Scene) -> None:
    """Fill in what the file left out, and note it in `scene.derived` and `scene.warnings`."""
    _tank(scene)
    _water(scene)
    _soil(scene)
    _plants(scene)
    _lamps(scene)
    _meters(scene)
    _day(scene)


def plate_thickness(length: float, height: float) -> float:
    """Glass thickness that a hobby's plate formula gives, for optics only.

    Parameters
    ----------
    length, height : float
        Of the pane. [m]

    Returns
    -------
    float
        Not rounded to thicknesses sold. [m]
    """
    ratio = min(max(length / height, _PLATE_RATIO[0]), _PLATE_RATIO[-1])
    i = next(i for i in range(1, len(_PLATE_RATIO)) if ratio <= _PLATE_RATIO[i])
    share = (ratio - _PLATE_RATIO[i - 1]) / (_PLATE_RATIO[i] - _PLATE_RATIO[i - 1])
    beta = _PLATE_BETA[i - 1] + share * (_PLATE_BETA[i] - _PLATE_BETA[i - 1])
    return 1e-3 * math.sqrt(beta * (1e3 * height) ** 3 * 1e-5 / _PLATE_STRESS_MPA)


def sold_thickness(length: float, height: float) -> float:
    """The plate formula's thickness rounded up to one that is sold. [m]"""
    needed = 1e3 * plate_thickness(length, height)
    return 1e-3 * next((size for size in _SOLD_MM if size >= needed), _SOLD_MM[-1])


def _settle(scene: Scene, table: Table, key: str, value: Any, path: str, shown: str, why: str) -> None:
    """Give a key the value it was left without. The models are frozen for everyone else."""
    table.__dict__[key] = value
    if path:
        scene.derived[path] = f"{shown}, {why}" if why else shown


def _length(scene: Scene, table: Table, key: str, value: float, path: str, why: str) -> None:
    if getattr(table, key) is None:
        _settle(scene, table, key, value, path, units.show(value, "length"), why)


def _tank(scene: Scene) -> None:
    tank = scene.tank
    if tank.thickness is None:
        sold = sold_thickness(tank.length, tank.height)
        _length(scene, tank, "thickness", sold, "tank.thickness", "usual for this size")
        scene.warnings.append(
            f"tank.thickness is not given: {units.show(sold, 'length')} is assumed, a guess for the optics "
            f"alone. "
            "It is no structural advice."
        )
    _length(scene, tank, "bottom_thickness", tank.thickness, "tank.bottom_thickness", "as the sides")
    for side in ("front", "back", "left", "right", "bottom"):
        pane = getattr(tank.panes, side)
        if pane.colour is None and pane.state != "clean":
            _settle(scene, pane, "colour", "black", f"tank.panes.{side}.colour", "black", "")
    if tank.lid:
        wall = tank.thickness
        corners = {"from_": (-wall, -wall), "to": (tank.length + wall, tank.width + wall)}
        for key, corner in corners.items():
            if getattr(tank.lid, key) is None:
                _settle(scene, tank.lid, key, corner, "", "", "")


def _water(scene: Scene) -> None:
    water = scene.water
    level = max(scene.tank.height - BELOW_RIM_M, 0.5 * scene.tank.height)
    _length(scene, water, "level", level, "water.level", "3 cm below the rim")
    preset = spectra.water_types().get(water.type)
    for key, field, unit in _WATER_KEYS:
        if preset is not None and getattr(water, key) is None:
            value = float(getattr(preset, field))
            _settle(scene, water, key, value, f"water.{key}", f"{value:g}{unit}", f'of type "{water.type}"')


_WATER_KEYS = (
    ("colour_a440", "a440_per_m", " 1/m"),
    ("colour_slope", "slope_per_nm", " 1/nm"),
    ("chlorophyll", "chlorophyll_mg_m3", " mg/m^3"),
    ("scattering", "scattering_per_m", " 1/m"),
    ("asymmetry", "asymmetry", ""),
)


def _soil(scene: Scene) -> None:
    soil = scene.substrate
    if soil.profile is not None or soil.height_map is not None:
        return
    if soil.depth is not None:
        front, back, why = soil.depth, soil.depth, "as the depth"
    elif soil.left is not None or soil.right is not None:
        front, back, why = _with_sides(soil)
    elif soil.front is None and soil.back is None:
        front, back, why = SOIL_FRONT_M, SOIL_BACK_M, "usual"
    else:
        front = back = soil.front if soil.back is None else soil.back
        why = "flat"
    _length(scene, soil, "front", front, "substrate.front", why)
    _length(scene, soil, "back", back, "substrate.back", why)


def _with_sides(soil: Substrate) -> tuple[float, float, str]:
    """Depths in front and behind of the plane that the sides tilt."""
    sides = [side for side in (soil.left, soil.right) if side is not None]
    middle = sum(sides) / len(sides)
    front = middle if soil.back is None else 2 * middle - soil.back
    back = middle if soil.front is None else 2 * middle - soil.front
    return front, back, "on one plane with the sides"


def _plants(scene: Scene) -> None:
    for number, plant in enumerate(scene.plant, 1):
        if plant.outline is None and plant.from_ and plant.to:
            (x0, y0), (x1, y1) = plant.from_, plant.to
            _settle(scene, plant, "outline", ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), "", "", "")
        named = spectra.plant_bands().get(plant.demand or "medium")
        if named is not None:
            _light(scene, plant, named, f"plant[{number}]")


def _light(scene: Scene, plant: Plant, named: spectra.PlantBand, path: str) -> None:
    """Band, target and ceiling of one plant; a band of its own is also its ceiling."""
    of_demand = f'of demand "{named.name}"'
    own = plant.band is not None and plant.demand is None
    if plant.band is None:
        _settle(
            scene,
            plant,
            "band",
            (named.low, named.high),
            f"{path}.band",
            f"{named.low:g}-{named.high:g}",
            of_demand,
        )
    if plant.target is None:
        middle = 0.5 * sum(plant.band)
        _settle(scene, plant, "target", middle, f"{path}.target", f"{middle:g}", "middle of the band")
    if plant.ceiling is None:
        top = plant.band[1] if own else max(plant.band[1], named.ceiling_without_co2 or 0.0)
        _settle(
            scene,
            plant,
            "ceiling",
            top,
            f"{path}.ceiling",
            f"{top:g}",
            "top of the band" if own else of_demand,
        )


def _lamps(scene: Scene) -> None:
    middle = (0.5 * scene.tank.length, 0.5 * scene.tank.width)
    for number, fixture in enumerate(scene.fixture, 1):
        if fixture.name is None:
            name = "lamp" if len(scene.fixture) == 1 else f"lamp {number}"
            _settle(scene, fixture, "name", name, f"fixture[{number}].name", f'"{name}"', "")
        if fixture.position is None:
            _settle(
                scene,
                fixture,
                "position",
                middle,
                f"fixture[{number}].position",
                "the middle of the tank",
                "",
            )
        _channels(scene, fixture)


def _channels(scene: Scene, fixture: Fixture) -> None:
    for number, channel in enumerate(fixture.channel, 1):
        if channel.name is None:
            _settle(scene, channel, "name", _channel_name(channel.spectrum, number), "", "", "")
        if channel.beam.fwhm is None:
            _settle(scene, channel.beam, "fwhm", math.radians(120), "", "", "")


def _channel_name(spectrum: Any, number: int) -> str:
    """A name for a channel from its spectrum."""
    if isinstance(spectrum, str):
        return spectrum
    if "peak" in spectrum:
        return f"{spectrum['peak']:g} nm"
    return f"white {spectrum['cct']:g} K" if "cct" in spectrum else f"channel {number}"


def _day(scene: Scene) -> None:
    """Hours and start of a course; one that is no course is told by the checks."""
    day = scene.schedule
    if day.course is None or any(clock_h(text) is None for text, _ in day.course):
        return
    times = rising_hours([text for text, _ in day.course])
    if times[-1] > times[0]:
        hours = times[-1] - times[0]
        _settle(
            scene, day, "hours", hours, "schedule.hours", f"{hours:.4g}", "from first to last of the course"
        )
        _settle(scene, day, "start", day.course[0][0], "", "", "")


def _meters(scene: Scene) -> None:
    for number, meter in enumerate(scene.meter, 1):
        if meter.name is None:
            name = "meter" if len(scene.meter) == 1 else f"meter {number}"
            _settle(scene, meter, "name", name, "", "", "")
        if meter.points is None and meter.grid is not None:
            grid = meter.grid
            xs = [scene.tank.length * (i + 0.5) / grid.nx for i in range(grid.nx)]
            ys = [scene.tank.width * (j + 0.5) / grid.ny for j in range(grid.ny)]
            points = tuple((x, y, z) for z in grid.z for y in ys for x in xs)
            _settle(scene, meter, "points", points, "", "", "")
