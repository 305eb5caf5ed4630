"""Tank, water and substrate."""

from __future__ import annotations

from itertools import combinations, pairwise

from underlit import spectra
from underlit.scene.check.checker import CLOSE_M, Checker, cm
from underlit.scene.defaults import plate_thickness
from underlit.scene.tank import SIDES

_TABLES = (".csv", ".txt", ".tsv")
_MAP_LARGEST = 50_000_000  # bytes
Rectangle = tuple[float, float, float, float]


def check(checker: Checker) -> None:
    """Faults of tank, water and substrate."""
    _glass(checker)
    _panes(checker)
    _opening(checker)
    _water(checker)
    _soil(checker)


def surface(checker: Checker, path: tuple[str | int, ...], material: object) -> None:
    """A surface material must be known."""
    checker.known(path, material, spectra.surface_names(), "surface", _TABLES, spectra.surface_reflectance)


def sheet(checker: Checker, path: tuple[str | int, ...], material: str) -> None:
    """A sheet of glass or acrylic must be known."""
    checker.known(path, material, spectra.glass_names(), "glass", _TABLES, spectra.glass)


def _glass(checker: Checker) -> None:
    tank = checker.scene.tank
    sheet(checker, ("tank", "glass"), tank.glass)
    needed = plate_thickness(max(tank.length, tank.width), tank.height)
    if tank.thickness < 0.5 * needed:
        checker.warn(
            ("tank", "thickness"), f"{cm(tank.thickness)} is thin for a tank of this size. Is it right?"
        )
    if tank.thickness > 0.2 * min(tank.length, tank.width):
        checker.warn(
            ("tank", "thickness"), f"{cm(tank.thickness)} is thick for a tank of this size. Is it right?"
        )


def _panes(checker: Checker) -> None:
    for side in (*SIDES, "bottom"):
        pane = getattr(checker.scene.tank.panes, side)
        path = ("tank", "panes", side)
        if pane.state == "clean" and pane.colour is not None:
            hint = 'Add state = "dry film" or "bonded film", or leave the colour out.'
            checker.fault((*path, "colour"), "a clean pane has no film to be coloured.", hint)
        if pane.state != "clean" and pane.behind is not None:
            checker.fault((*path, "behind"), "a filmed pane shows nothing behind it.", "Leave out `behind`.")
        if pane.colour == "frosted" and pane.state == "dry film":
            hint = 'Write state = "bonded film".'
            checker.wrong((*path, "colour"), "another colour, since frosted film is bonded", hint)
        surface(checker, (*path, "colour"), pane.colour)
        surface(checker, (*path, "behind"), pane.behind)


def _opening(checker: Checker) -> None:
    """Rim, braces and lid over the opening."""
    tank = checker.scene.tank
    shorter = min(tank.length, tank.width)
    if tank.rim and tank.rim.width >= 0.5 * shorter:
        expected = f"less than half of the opening's shorter side, {cm(0.5 * shorter)}"
        checker.wrong(("tank", "rim", "width"), expected, "A rim is usually 1 to 5 cm wide.")
    for i, brace in enumerate(tank.brace):
        if _rectangle(checker, ("tank", "brace", i), brace.rectangle):
            _inside(checker, ("tank", "brace", i), brace.rectangle)
    for (i, one), (j, other) in combinations(enumerate(tank.brace), 2):
        if _overlap(one.rectangle, other.rectangle):
            what = f"this brace lies over brace {i + 1}, so light would be stopped twice."
            checker.fault(("tank", "brace", j), what, "Move or shorten one of them.")
    if tank.lid:
        _rectangle(checker, ("tank", "lid"), tank.lid.rectangle)
        sheet(checker, ("tank", "lid", "material"), tank.lid.material)


def _rectangle(checker: Checker, path: tuple[str | int, ...], rectangle: Rectangle) -> bool:
    """`from` must be the corner with the smaller coordinates, and the rectangle have an area."""
    x0, y0, x1, y1 = rectangle
    if x0 < x1 and y0 < y1:
        return True
    axis = "x" if x0 >= x1 else "y"
    what = f"the rectangle has no area: `to` must have a greater {axis} than `from`."
    key = "to" if checker.given((*path, "to")) else "from"
    checker.fault((*path, key), what, "Write `from` with the smaller and `to` with the greater x and y.")
    return False


def _inside(checker: Checker, path: tuple[str | int, ...], rectangle: Rectangle) -> None:
    tank = checker.scene.tank
    x0, y0, x1, y1 = rectangle
    wall = tank.thickness + CLOSE_M
    if x0 < -wall or y0 < -wall or x1 > tank.length + wall or y1 > tank.width + wall:
        what = f"it reaches beyond the tank, which is {cm(tank.length)} by {cm(tank.width)} inside."
        checker.fault(path, what, "Count x from the left pane and y from the front pane.")


def _overlap(one: Rectangle, other: Rectangle) -> bool:
    return all(min(one[k + 2], other[k + 2]) - max(one[k], other[k]) > CLOSE_M for k in (0, 1))


def _water(checker: Checker) -> None:
    water, tank = checker.scene.water, checker.scene.tank
    checker.known(("water", "type"), water.type, list(spectra.water_types()), "water type")
    if water.level >= tank.height:
        hint = (
            f'Water stops below the rim. Write `level = "{cm(max(0.5 * tank.height, tank.height - 0.03))}"`.'
        )
        checker.wrong(("water", "level"), f"less than the height of the tank, {cm(tank.height)}", hint)
    if water.level == 0 and water.surface_slope_rms > 0:
        checker.fault(("water", "surface_slope_rms"), "there is no water that could ripple.", "Leave it out.")
    if checker.scene.floaters and water.level == 0:
        checker.fault(
            ("floaters",), "there is no water to float on.", "Leave out the floaters or give a water level."
        )


def _soil(checker: Checker) -> None:
    soil, path = checker.scene.substrate, ("substrate",)
    surface(checker, (*path, "material"), soil.material)
    sides = [key for key in ("front", "back", "left", "right") if checker.given((*path, key))]
    ways = ("depth", "profile", "height_map", sides[0] if sides else "front")
    checker.one_of(path, ways, "how the soil runs", needed=False)
    if checker.given((*path, "along")) and soil.profile is None:
        checker.fault((*path, "along"), "only a `profile` runs along something.", "Leave out `along`.")
    if soil.profile is not None:
        _profile(checker)
    elif soil.height_map is not None:
        checker.file((*path, "height_map"), soil.height_map, _TABLES, _MAP_LARGEST)
    else:
        _slopes(checker, sides)


def _slopes(checker: Checker, sides: list[str]) -> None:
    soil, path = checker.scene.substrate, ("substrate",)
    left = soil.front + soil.back - soil.right if soil.left is None and soil.right is not None else soil.left
    middle = 0.5 * (soil.front + soil.back)
    tilt = abs(middle - left) if left is not None else 0.0
    if (
        soil.left is not None
        and soil.right is not None
        and abs(soil.left + soil.right - 2 * middle) > CLOSE_M
    ):
        hint = "Make left + right equal to front + back, or leave one of the four out, or give a profile."
        checker.fault((*path, "right"), "the four depths do not lie on one plane.", hint)
        return
    low = min(soil.front, soil.back) - tilt
    high = max(soil.front, soil.back) + tilt
    deepest = max(sides, key=lambda side: getattr(soil, side), default="back")
    key = "depth" if soil.depth is not None else deepest
    if low < -CLOSE_M:
        what = f"the slope that these depths make goes down to {cm(low)} in a corner, below the bottom."
        checker.fault((*path, key), what, "Make the slope gentler or the soil deeper.")
    _height(checker, key, high, low)


def _height(checker: Checker, key: str, high: float, low: float) -> None:
    """Soil may rise out of the water but not out of the tank."""
    tank, level = checker.scene.tank, checker.scene.water.level
    if high >= tank.height:
        what = f"the soil rises to {cm(high)}, expected less than the height of the tank, {cm(tank.height)}."
        checker.fault(("substrate", key), what, "Depths count from the inside of the bottom.")
    elif level > 0 and low > level:
        checker.warn(("substrate", key), f"all of the soil lies above the water level, {cm(level)}.")


def _profile(checker: Checker) -> None:
    soil, path = checker.scene.substrate, ("substrate", "profile")
    points = soil.profile or ()
    for i, (early, late) in enumerate(pairwise(points), 1):
        if late[0] <= early[0]:
            what = f"got {cm(late[0])} after {cm(early[0])}, expected distances that increase."
            checker.fault((*path, i), what, "Sort the points by their distance from the pane.")
    span = checker.scene.tank.width if soil.along == "y" else checker.scene.tank.length
    for i, (distance, depth) in enumerate(points):
        if not -CLOSE_M <= distance <= span + CLOSE_M:
            what = f"got a distance of {cm(distance)}, expected 0 cm to {cm(span)}, where the tank ends."
            checker.fault((*path, i), what, f"The profile runs along {soil.along}; see `along`.")
        if depth < 0:
            checker.fault((*path, i), f"got a depth of {cm(depth)}, expected 0 cm or more.")
    depths = [depth for _, depth in points]
    _height(checker, "profile", max(depths), min(depths))
