"""Starter scenes for `underlit new`: commented texts that are complete as they stand."""

from __future__ import annotations

from underlit.errors import StudyError
from underlit.scene.fields import nearest

_SMALL = """\
# The smallest scene: a tank and a lamp. All else has a default; `underlit check` lists what was assumed.
# Lengths count inside the tank. A value with a unit stands in quotes: "60 cm", "24 in", "20 W".

[tank]
length = "60 cm"
width = "30 cm"
height = "36 cm"

[[fixture]]
shape = "bar"
size = ["54 cm", "7 cm"]        # of the glowing face, x by y
height = "15 cm"                # of the LEDs above the water
channel = [{ spectrum = "white 6500 K", power = "20 W", efficacy = "1.9 umol/J" }]
"""

_PLANTED = """\
# A planted tank of 60 cm. Coordinates start at the inside front-left bottom corner:
# x to the right along the front pane, y to the back, z up.
title = "Planted 60"

[tank]
length = "60 cm"
width = "30 cm"
height = "36 cm"
glass = "float"                 # or "low-iron"
thickness = "6 mm"

[tank.panes]                    # "clean" where not given
back = "dry film"               # black film with air behind the glass; "bonded film" when it is glued or painted

[water]
level = "33 cm"
type = "clear"                  # pure, clear, straw, light tea, tea, blackwater, green, cloudy, bubble mist

[substrate]
material = "dark soil"
front = "4 cm"
back = "8 cm"

[[hardscape]]
name = "main stone"             # a generated stone; for a mesh of your own: mesh = "stone.stl" and unit = "mm"
shape = "stone"
size = ["15 cm", "11 cm", "14 cm"]
seed = 3                        # another number, another stone
position = ["22 cm", "17 cm"]   # x, y of its middle; it is set down on the soil
turn = "20 deg"
lean = "10 deg"
lean_to = "left"
sink = "1.5 cm"
material = "grey rock"

[[hardscape]]
name = "small stone"
shape = "stone"
size = ["8 cm", "7 cm", "6 cm"]
seed = 5
position = ["38 cm", "14 cm"]
sink = "1 cm"
material = "grey rock"

[[plant]]
name = "carpet"
from = ["0 cm", "0 cm"]         # a rectangle on the soil; or outline = [[x, y], ...]; or on = "main stone"
to = ["60 cm", "12 cm"]
band = [50, 90]                 # wanted PPFD in umol m-2 s-1; or a named demand, as below
target = 60

[[plant]]
name = "stems"
from = ["40 cm", "20 cm"]
to = ["60 cm", "30 cm"]
demand = "medium"               # very low, low, medium, high, show
canopy = { height = "18 cm", leaf_area_index = 2 }      # its leaves take light

[[fixture]]
name = "bar"
shape = "bar"
size = ["54 cm", "7 cm"]
position = ["30 cm", "15 cm"]
height = "15 cm"                # of the LEDs above the water
price = 120

[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "20 W"                  # at the plug
efficacy = "1.9 umol/J"         # or lumens = "1900 lm", or flux = "38 umol/s"
beam = "120 deg"                # full width at half maximum; bare LEDs have 120 deg

[[fixture.channel]]
name = "red"
spectrum = "red 660"
power = "4 W"
efficacy = "2.2 umol/J"

[schedule]
hours = 8
ramp = "30 min"
tariff = 0.30
currency = "EUR"

[[meter]]
name = "over the soil"
grid = { nx = 3, ny = 3, z = "10 cm" }

[run]
seed = 1
precision = 0.03                # standard error of the median soil cell; 0.01 takes nine times as long
"""

_DRY = """\
# A dry start: the tank without water, a film over the top to keep the air moist.
title = "Dry start"

[tank]
length = "60 cm"
width = "30 cm"
height = "36 cm"
thickness = "6 mm"

[tank.lid]
material = "acrylic"            # stands for the plastic film
thickness = "0.5 mm"
condition = "condensation"      # droplets; "clean" when it is dry

[water]
level = "0 cm"

[substrate]
material = "dark soil"
front = "4 cm"
back = "8 cm"

[[plant]]
name = "carpet"
from = ["0 cm", "0 cm"]
to = ["60 cm", "30 cm"]
band = [80, 150]

[[fixture]]
name = "bar"
shape = "bar"
size = ["54 cm", "7 cm"]
height = "15 cm"
height_above = "rim"            # there is no water to count from

[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "20 W"
efficacy = "1.9 umol/J"
"""

TEMPLATES = {"planted": _PLANTED, "small": _SMALL, "dry start": _DRY}
"""Text of each starter scene by name; the first is the usual one."""


def template(name: str = "planted") -> str:
    """Text of a starter scene.

    Parameters
    ----------
    name : str
        A key of `TEMPLATES`.

    Raises
    ------
    StudyError
        There is no such starter scene.
    """
    if name not in TEMPLATES:
        near = nearest(name, list(TEMPLATES))
        hint = f'Did you mean "{near}"?' if near else f"Known: {', '.join(TEMPLATES)}."
        raise StudyError(f'there is no starter scene called "{name}".', hint=hint)
    return TEMPLATES[name]
