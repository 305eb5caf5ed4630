"""A scene that is traced in a moment."""

SMALL = """
[tank]
length = "20 cm"
width = "20 cm"
height = "20 cm"
thickness = "4 mm"
[[plant]]
name = "carpet"
from = ["2 cm", "2 cm"]
to = ["18 cm", "10 cm"]
band = [50, 90]
[[fixture]]
name = "clip"
position = ["10 cm", "10 cm"]
height = "8 cm"
shape = "disc"
size = "8 cm"
[[fixture.channel]]
name = "white"
spectrum = "white 6500 K"
power = "9 W"
efficacy = "1.6 umol/J"
[run]
replicates = 4
cell = "2 cm"
planes = []
"""
