"""A scene with one of everything that light can meet or come from."""

EVERYTHING = """
[tank]
length = "40 cm"
width = "25 cm"
height = "28 cm"
thickness = "5 mm"
[tank.panes]
back = { state = "bonded film", colour = "white", dirt = 0.1 }
left = { state = "dry film", colour = "mirror" }
right = { state = "clean", behind = "white wall" }
front = { state = "clean", dirt = 0.05 }
[tank.rim]
width = "1 cm"
[[tank.brace]]
from = ["18 cm", "0 cm"]
to = ["21 cm", "25 cm"]
transmittance = 0.3
[tank.lid]
material = "acrylic"
condition = "lived-in"
height = "1 cm"
from = ["0 cm", "0 cm"]
to = ["30 cm", "25 cm"]
[water]
level = "24 cm"
type = "green"
scattering = "2 1/m"
surface_slope_rms = "4 deg"
[substrate]
material = "pale sand"
profile = [["0 cm", "2 cm"], ["12 cm", "3 cm"], ["25 cm", "9 cm"]]
[[hardscape]]
name = "rock"
shape = "stone"
size = ["9 cm", "7 cm", "8 cm"]
position = ["28 cm", "12 cm"]
triangles = 3000
[[hardscape]]
name = "branch"
shape = "wood"
reach = "20 cm"
position = ["12 cm", "12 cm"]
triangles = 4000
[[plant]]
name = "hedge"
from = ["0 cm", "14 cm"]
to = ["18 cm", "25 cm"]
canopy = { height = "10 cm", leaf_area_index = 2, leaf_angle = "erectophile" }
[floaters]
cover = 0.2
[run]
replicates = 4
cell = "2 cm"
planes = ["10 cm", "20 cm"]
[[fixture]]
name = "bar"
shape = "panel"
size = ["20 cm", "6 cm"]
height = "12 cm"
tilt = "10 deg"
shade = { depth = "2 cm", reflectance = 0.8 }
[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "20 W"
flux = "30 umol/s"
leds = 20
beam = { lens = "gaussian", fwhm = "60 deg" }
[[fixture.channel]]
name = "red"
spectrum = "red 660"
power = "5 W"
flux = "0.01 umol/s"
beam = "60 deg"
[[fixture]]
name = "tube"
shape = "tube"
size = ["20 cm", "16 mm"]
height = "9 cm"
channel = [{ spectrum = "D65", power = "9 W", flux = "5 umol/s" }]
[[fixture]]
name = "spot"
shape = "disc"
size = "6 cm"
height = "15 cm"
channel = [{ spectrum = "D65", power = "9 W", flux = "5 umol/s" }]
[window]
side = "front"
distance = "100 cm"
size = ["50 cm", "50 cm"]
exitance = "100 umol/m^2/s"
"""
