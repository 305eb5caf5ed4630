"""Hardscape, plants and floaters."""

from __future__ import annotations

from itertools import combinations

from underlit import spectra
from underlit.scene.check.checker import CLOSE_M, Checker, cm
from underlit.scene.check.tank import _rectangle, surface
from underlit.scene.document import Path
from underlit.scene.hardscape import MeshPiece, Piece
from underlit.scene.plants import Floaters, Plant, Ring

_MESHES = (".stl", ".obj", ".ply", ".glb", ".gltf")
_MOST_TRIANGLES = 20_000_000
Points = tuple[tuple[float, ...], ...]


def check(checker: Checker) -> None:
    """Faults of hardscape, plants and floaters."""
    scene = checker.scene
    checker.unique(
        "piece of hardscape", (one.name for one in scene.hardscape), lambda i: ("hardscape", i, "name")
    )
    checker.unique("plant", (one.name for one in scene.plant), lambda i: ("plant", i, "name"))
    for i, piece in enumerate(scene.hardscape):
        _piece(checker, piece, ("hardscape", i))
    triangles = sum(getattr(piece, "triangles", 0) for piece in scene.hardscape)
    if triangles > _MOST_TRIANGLES:
        what = f"the pieces ask for {triangles:,} triangles in all, expected at most {_MOST_TRIANGLES:,}."
        checker.fault(("hardscape",), what, "Some 20 000 make a lifelike stone.")
    for i, plant in enumerate(scene.plant):
        _plant(checker, plant, ("plant", i))
    if scene.floaters:
        _floaters(checker, scene.floaters)


def _piece(checker: Checker, piece: Piece, path: Path) -> None:
    tank = checker.scene.tank
    x, y = piece.position[:2]
    if not (0 <= x <= tank.length and 0 <= y <= tank.width):
        what = (
            f"the middle of the piece is at x = {cm(x)}, y = {cm(y)}, outside the tank, "
            f"which is {cm(tank.length)} by {cm(tank.width)} inside."
        )
        checker.fault((*path, "position"), what, "Count x from the left pane and y from the front pane.")
    if len(piece.position) == 3 and not 0 <= piece.position[2] < tank.height:
        expected = f"between 0 cm and the rim, {cm(tank.height)}"
        what = f"the underside of the piece is at z = {cm(piece.position[2])}, expected {expected}."
        checker.fault((*path, "position"), what, "Leave z out to set the piece down on the soil.")
    if piece.height is not None and checker.given((*path, "scale")):
        checker.fault(
            (*path, "scale"), "`height` already sets the size.", "Keep one of `scale` and `height`."
        )
    surface(checker, (*path, "material"), piece.material)
    if isinstance(piece, MeshPiece):
        checker.file((*path, "mesh"), piece.mesh, _MESHES)
    _size(checker, piece, path)


def _size(checker: Checker, piece: Piece, path: Path) -> None:
    """A piece must fit the tank: one much larger has a wrong unit."""
    tank = checker.scene.tank
    room = (tank.length**2 + tank.width**2 + tank.height**2) ** 0.5
    size = getattr(piece, "size", None)
    largest = max(size) if size else getattr(piece, "reach", 0.0) or getattr(piece, "length", 0.0)
    largest *= piece.scale if piece.height is None else 0.0
    own = "size" if size else "reach" if hasattr(piece, "reach") else "length"
    for key, extent in ((own, largest), ("height", piece.height or 0.0)):
        if extent > 2 * room:
            what = f"the piece would be {cm(extent)} large, in a tank of {cm(tank.length)} length."
            checker.fault((*path, key), what, "Is its unit right?")
        elif extent > room:
            checker.warn((*path, key), f"the piece, {cm(extent)}, reaches beyond the tank.")


def _plant(checker: Checker, plant: Plant, path: Path) -> None:
    way = _zone(checker, path)
    if way == "outline" and plant.outline is not None:
        _outline(checker, plant.outline, (*path, "outline"))
    if way == "from" and plant.from_ and plant.to and _rectangle(checker, path, (*plant.from_, *plant.to)):
        _within(checker, (plant.from_, plant.to), (*path, "from"))
    if way == "on":
        pieces = [piece.name for piece in checker.scene.hardscape]
        checker.known((*path, "on"), plant.on, pieces, "piece of hardscape")
    else:
        for key in ("above", "below"):
            if checker.given((*path, key)):
                checker.fault(
                    (*path, key), f"`{key}` goes with `on`, which is not given.", f"Leave out `{key}`."
                )
    if plant.above is not None and plant.below is not None and plant.above >= plant.below:
        checker.wrong((*path, "above"), f"less than `below`, {cm(plant.below)}")
    _light(checker, plant, path)
    _canopy(checker, plant, path)


def _zone(checker: Checker, path: Path) -> str | None:
    """Which of the ways to give a zone is used."""
    if checker.given((*path, "to")) != checker.given((*path, "from")):
        there, lacking = ("from", "to") if checker.given((*path, "from")) else ("to", "from")
        checker.fault(
            (*path, there), f"a rectangular zone needs `{lacking}` too.", "Give its two opposite corners."
        )
        return None
    return checker.one_of(path, ("outline", "from", "on"), "where it grows")


def _outline(checker: Checker, outline: Points, path: Path) -> None:
    if not _within(checker, outline, path):
        return
    corners = list(zip(outline, (*outline[1:], outline[0]), strict=True))
    area = 0.5 * abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in corners))
    if area < 1e-6:
        checker.fault(path, "the zone has no area.", "Give at least three corners that are not on one line.")
        return
    for (i, one), (j, other) in combinations(enumerate(corners), 2):
        if _cross(*one, *other):
            what = f"the edge after corner {i + 1} crosses the edge after corner {j + 1}."
            checker.fault(path, what, "List the corners in order round the zone.")
            return


def _within(checker: Checker, points: Points, path: Path) -> bool:
    """All points of a zone lie in the tank."""
    tank = checker.scene.tank
    for x, y in points:
        if not (-CLOSE_M <= x <= tank.length + CLOSE_M and -CLOSE_M <= y <= tank.width + CLOSE_M):
            what = (
                f"the zone reaches to x = {cm(x)}, y = {cm(y)}, outside the tank, "
                f"which is {cm(tank.length)} by {cm(tank.width)} inside."
            )
            checker.fault(path, what, "Count x from the left pane and y from the front pane.")
            return False
    return True


def _cross(a: tuple, b: tuple, c: tuple, d: tuple) -> bool:
    """Whether the inner parts of two edges cross."""

    def side(p: tuple, q: tuple, r: tuple) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


def _light(checker: Checker, plant: Plant, path: Path) -> None:
    """The light a plant wants."""
    if plant.demand is not None:
        checker.known((*path, "demand"), plant.demand, list(spectra.plant_bands()), "demand band")
    if plant.band is None:
        return
    low, high = plant.band
    if low >= high:
        checker.fault((*path, "band"), f"got [{low:g}, {high:g}], expected the smaller number first.")
        return
    if plant.ceiling < plant.target:
        expected = f"at least the target, {plant.target:g}"
        key = "ceiling" if checker.given((*path, "ceiling")) else "target"
        checker.fault(
            (*path, key),
            f"the ceiling, {plant.ceiling:g}, expected {expected}.",
            "Raise it or lower the target.",
        )
    elif not low <= plant.target <= high:
        checker.warn((*path, "target"), f"{plant.target:g} is outside the band, {low:g} to {high:g}.")


def _canopy(checker: Checker, plant: Plant, path: Path) -> None:
    if plant.canopy is None:
        return
    if plant.on is not None:
        hint = "Give the zone an outline, or leave the canopy out."
        checker.fault((*path, "canopy"), "leaves are modelled over the soil only, not on hardscape.", hint)
    path, tank = (*path, "canopy"), checker.scene.tank
    checker.known((*path, "leaf"), plant.canopy.leaf, spectra.leaf_names(), "leaf", (".csv",), spectra.leaf)
    if plant.canopy.height > tank.height:
        expected = f"at most the height of the tank, {cm(tank.height)}"
        checker.wrong((*path, "height"), expected, "It counts from the soil.")


def _floaters(checker: Checker, floaters: Floaters) -> None:
    path = ("floaters",)
    if floaters.leaf is not None:
        checker.known((*path, "leaf"), floaters.leaf, spectra.leaf_names(), "leaf", (".csv",), spectra.leaf)
        for key in ("transmittance", "reflectance"):
            if checker.given((*path, key)):
                checker.fault(
                    (*path, key), "`leaf` already says what the leaves let through.", f"Leave out `{key}`."
                )
    if floaters.transmittance + floaters.reflectance > 1:
        key = "transmittance" if checker.given((*path, "transmittance")) else "reflectance"
        checker.fault(
            (*path, key), "leaves cannot let through and send back more than all light.", "Lower one of them."
        )
    if floaters.ring:
        _ring(checker, floaters.ring)


def _ring(checker: Checker, ring: Ring) -> None:
    tank = checker.scene.tank
    x, y = ring.centre
    room = min(x, tank.length - x, y, tank.width - y)
    if room <= 0:
        checker.fault(("floaters", "ring", "centre"), "the middle of the ring is outside the tank.")
    elif ring.radius > room + CLOSE_M:
        checker.wrong(("floaters", "ring", "radius"), f"at most {cm(room)}, where the ring meets a pane")
