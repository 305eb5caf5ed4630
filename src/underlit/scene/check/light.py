"""Fixtures, their channels, and the window."""

from __future__ import annotations

import math
from typing import Any

from underlit import photometry, spectra
from underlit.scene.check.checker import CLOSE_M, Checker, cm
from underlit.scene.document import Path
from underlit.scene.lamps import Channel, Fixture
from underlit.spectra.tables import MAX_BYTES

_TABLES = (".csv", ".txt", ".tsv")
_SPECTRA = (*_TABLES, ".xml", ".spdx")
# Fixture limits of Kusuma, Pattison & Bugbee 2020 (Hortic Res 7:56): 4.1 umol/J for blue and red together.
BEST_FIXTURE_UMOL_J = 4.1
_FAR_M = 1.0


def check(checker: Checker) -> None:
    """Faults of everything that gives light."""
    scene = checker.scene
    if not scene.fixture and scene.window is None:
        checker.fault((), "there is no light in the scene.", "Add a [[fixture]] with a [[fixture.channel]].")
    checker.unique("fixture", (one.name for one in scene.fixture), lambda i: ("fixture", i, "name"))
    for i, fixture in enumerate(scene.fixture):
        _fixture(checker, fixture, ("fixture", i))
    if scene.window:
        _spectrum(checker, scene.window.spectrum, ("window", "spectrum"))
        pane = getattr(scene.tank.panes, scene.window.side)
        if pane.state != "clean":
            what = f"the {scene.window.side} pane has a film, so the window lights the tank only from above."
            checker.warn(("window", "side"), what)


def _fixture(checker: Checker, fixture: Fixture, path: Path) -> None:
    names = (channel.name for channel in fixture.channel)
    checker.unique("channel of this fixture", names, lambda i: (*path, "channel", i, "spectrum"))
    across, deep = fixture.size
    if fixture.shape in ("disc", "pendant") and across != deep:
        checker.wrong(
            (*path, "size"), f"one diameter, since a {fixture.shape} is round", 'Use shape = "panel".'
        )
    if fixture.shape == "tube" and deep >= across:
        checker.wrong((*path, "size"), "the length of the tube first, then its diameter")
    _height(checker, fixture, path)
    _in_lid(checker, fixture, path)
    _place(checker, fixture, path)
    _through_panes(checker, fixture, path)
    for i, channel in enumerate(fixture.channel):
        _channel(checker, fixture, channel, (*path, "channel", i))


def _height(checker: Checker, fixture: Fixture, path: Path) -> None:
    """The whole lamp must hang above the water."""
    scene = checker.scene
    if fixture.height_above == "water" and scene.water.level == 0:
        hint = 'Write height_above = "rim" or "bottom".'
        checker.fault((*path, "height"), "there is no water that the height could count from.", hint)
        return
    z = scene.emitter_height(fixture)
    ground = scene.water.level
    droop = 0.5 * max(fixture.size) * math.sin(fixture.tilt) + (fixture.shade.depth if fixture.shade else 0.0)
    if z <= ground or z <= CLOSE_M:
        what = f"the emitters are {cm(z)} above the bottom, expected above the water level, {cm(ground)}."
        checker.fault((*path, "height"), what, "Raise the fixture; lamps under water are not modelled.")
    elif z - droop <= ground:
        what = f"the lowest part of the fixture, at {cm(z - droop)}, dips into the water, at {cm(ground)}."
        hint = "Raise the fixture, or lessen its tilt or the depth of its shade."
        checker.fault((*path, "height"), what, hint)


def _in_lid(checker: Checker, fixture: Fixture, path: Path) -> None:
    """A lamp hangs above the lid or below it, not in the sheet."""
    lid = checker.scene.tank.lid
    if lid is None or not _overlaps(fixture, lid.rectangle):
        return
    z, towards = checker.scene.emitter_height(fixture), fixture.tilt_to - fixture.turn
    tilted = _half_along(fixture, towards) * math.sin(fixture.tilt)
    round_tube = 0.5 * min(fixture.size) if fixture.shape == "tube" else 0.0
    shade = fixture.shade.depth if fixture.shade else 0.0
    low, high = z - tilted - round_tube - shade, z + tilted + round_tube
    under, over = lid.faces(checker.scene.tank.height)
    if low < over - CLOSE_M and high > under + CLOSE_M:
        at = [cm(round(height, 4)) for height in (low, high, under, over)]
        lamp = f"at {at[0]}" if high - low < CLOSE_M else f"from {at[0]} to {at[1]}"
        what = f"the fixture, {lamp}, reaches into the lid, whose sheet lies from {at[2]} to {at[3]}."
        by = cm(math.ceil(1e3 * (over - low) - CLOSE_M) / 1e3)
        hint = f"Raise it by {by}, or hang all of it below the lid, or give the lid another height."
        checker.fault((*path, "height"), what, hint)


def _overlaps(fixture: Fixture, box: tuple[float, float, float, float]) -> bool:
    """Whether a fixture, seen from above, shares ground with a rectangle."""
    reach = _reach(fixture)
    return all(
        at - half < box[axis + 2] and at + half > box[axis]
        for axis, (at, half) in enumerate(zip(fixture.position, reach, strict=True))
    )


def _reach(fixture: Fixture) -> tuple[float, float]:
    """How far a fixture reaches from its middle along x and y. [m]"""
    return _half_along(fixture, fixture.turn), _half_along(fixture, fixture.turn + 0.5 * math.pi)


def _half_along(fixture: Fixture, angle: float) -> float:
    """Half of a fixture's extent in a direction, counted from its own length. [m]"""
    across, deep = fixture.size
    return 0.5 * (abs(math.cos(angle)) * across + abs(math.sin(angle)) * deep)


def _place(checker: Checker, fixture: Fixture, path: Path) -> None:
    """A lamp far from the tank is probably a slip."""
    tank = checker.scene.tank
    x, y = fixture.position
    away = max(-x, x - tank.length, -y, y - tank.width)
    if away > _FAR_M:
        what = f"the fixture is {cm(away)} away from the tank, expected at most {cm(_FAR_M)}."
        checker.fault((*path, "position"), what, "Count x from the left pane and y from the front pane.")
    elif away > 0 and fixture.tilt == 0:
        checker.warn(
            (*path, "position"), "the middle of the fixture is beside the tank, and it is not tilted."
        )


def _through_panes(checker: Checker, fixture: Fixture, path: Path) -> None:
    """A lamp lower than the rim must lie between the panes."""
    tank = checker.scene.tank
    if checker.scene.emitter_height(fixture) >= tank.height:
        return
    for at, half, room, sides in zip(
        fixture.position,
        _reach(fixture),
        (tank.length, tank.width),
        (("left", "right"), ("front", "back")),
        strict=True,
    ):
        for beyond, side in ((half - at, sides[0]), (at + half - room, sides[1])):
            if beyond > CLOSE_M:
                what = (
                    f"the fixture hangs lower than the rim and reaches {cm(beyond)} through the {side} pane."
                )
                checker.fault((*path, "height"), what, "Raise it above the rim, or shorten or move it.")


def _channel(checker: Checker, fixture: Fixture, channel: Channel, path: Path) -> None:
    way = checker.one_of(path, ("efficacy", "lumens", "flux", "reading"), "how much light the channel gives")
    spectrum = _spectrum(checker, channel.spectrum, (*path, "spectrum"))
    if way and spectrum is not None:
        _physics(checker, channel, way, spectrum, path)
    _beam(checker, fixture, channel, (*path, "beam"))
    _leds(checker, fixture, channel, path)


def _spectrum(checker: Checker, spec: Any, path: Path) -> Any:
    """The spectrum itself, or None if it has a fault or its file is not at hand."""
    folder = checker.scene.folder
    if (
        not isinstance(spec, str)
        and "file" in spec
        and not checker.file((*path, "file"), spec["file"], _SPECTRA)
    ):
        return None
    return checker.data(path, lambda: spectra.lamp(spec, folder))


def _physics(checker: Checker, channel: Channel, way: str, spectrum: Any, path: Path) -> None:
    """No lamp gives more photons than its electrical energy holds."""
    most = spectra.max_efficacy_umol_per_J(spectrum)
    flux = {
        "efficacy": lambda: (channel.efficacy or 0.0) * channel.power,
        "flux": lambda: channel.flux or 0.0,
        "lumens": lambda: (channel.lumens or 0.0) / spectra.lumens_per_umol(spectrum),
        "reading": lambda: 0.0,  # only the tracer can tell
    }[way]()
    efficacy = flux / channel.power
    if efficacy > most:
        what = (
            f"that makes {efficacy:.3g} umol per joule, but light of this spectrum has only {most:.3g}: "
            "no lamp can give more."
        )
        checker.fault((*path, way), what, "Check the power, which is that at the plug, and the unit.")
    elif efficacy > BEST_FIXTURE_UMOL_J:
        checker.warn(
            (*path, way), f"{efficacy:.3g} umol/J is more than any fixture is known to give. Is it right?"
        )


def _beam(checker: Checker, fixture: Fixture, channel: Channel, path: Path) -> None:
    beam, file = channel.beam, (*path, "file")
    if beam.file is None:
        for key in ("turn", "face"):
            if checker.given((*path, key)):
                checker.fault(
                    (*path, key), "this goes with a beam file alone.", "Give `file`, or leave it out."
                )
        if fixture.shape == "tube" and checker.given(path):
            hint = 'Leave out `beam`. For a tube in a reflector write shape = "bar", or give a beam file.'
            checker.fault(path, "a tube glows all round, whatever its beam.", hint)
        return
    there = checker.file(file, beam.file, photometry.ENDINGS, MAX_BYTES)
    for key in ("fwhm", "lens"):
        if checker.given((*path, key)):
            checker.fault((*path, key), "`file` already gives the beam's shape.", f"Leave out `{key}`.")
    if not there:
        return
    read = checker.data(file, lambda: photometry.read_distribution(checker.scene.file(beam.file or "")))
    if read is not None:
        for note in read.notes:
            checker.warn(file, note)
        _opening(checker, fixture, channel, read.opening, path)


def _opening(
    checker: Checker, fixture: Fixture, channel: Channel, opening: photometry.Opening, path: Path
) -> None:
    """The luminous opening of a beam file against the size of the fixture."""
    flat = opening.shape in ("rectangle", "disc")
    if channel.beam.face == "file":
        if not flat:
            hint = "Leave out `face`: the light then starts from the size of the fixture."
            checker.fault((*path, "face"), "the beam file states no flat luminous opening.", hint)
        for key in ("leds", "positions"):
            if checker.given((*path[:-1], key)):
                what = "the light starts from the luminous opening of the beam file."
                checker.fault((*path[:-1], key), what, f"Leave out `{key}`, or `face`.")
        return
    stated, is_turned = (opening.along_m, opening.across_m), abs(math.sin(channel.beam.turn)) > 0.5
    turned = stated[::-1] if is_turned else stated
    if not flat or _alike(turned, fixture.size):
        return
    what = (
        f"the file states a luminous opening of {cm(stated[0])} along its azimuth 0 by {cm(stated[1])}, the "
        f"fixture is {cm(fixture.size[0])} by {cm(fixture.size[1])}."
    )
    way = (
        f'Its length lies across the fixture: if it should not, give the beam turn = "{0 if is_turned else 90} deg".'
        if _crosswise(turned, fixture.size)
        else 'Light starts from the fixture; write face = "file" to let it start from the opening.'
    )
    checker.warn((*path, "file"), f"{what} {way}")


def _crosswise(one: tuple[float, float], other: tuple[float, float]) -> bool:
    """Whether two long shapes are long in different directions."""
    return any(one[i] > 1.5 * one[1 - i] and other[1 - i] > 1.5 * other[i] for i in (0, 1))


def _alike(one: tuple[float, float], other: tuple[float, float]) -> bool:
    """Whether two sizes are the same within a quarter."""
    return all(0.8 < a / b < 1.25 for a, b in zip(one, other, strict=True))


def _leds(checker: Checker, fixture: Fixture, channel: Channel, path: Path) -> None:
    if channel.positions is not None:
        checker.file((*path, "positions"), channel.positions, _TABLES, 50_000_000)
        if checker.given((*path, "leds")):
            checker.fault((*path, "leds"), "`positions` already gives the LEDs.", "Keep one of them.")
    if fixture.shape == "tube":
        for key in ("leds", "positions"):
            if checker.given((*path, key)):
                checker.fault((*path, key), "a tube glows over all of its surface.", f"Leave out `{key}`.")
    across, deep = fixture.size
    if channel.leds * channel.led_size**2 > across * deep:
        what = f"{channel.leds:,} LEDs of {cm(channel.led_size)} do not fit on {cm(across)} by {cm(deep)}."
        checker.fault((*path, "leds"), what, "Give fewer, a smaller `led_size`, or none for an even face.")
