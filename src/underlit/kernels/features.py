"""What a scene may hold beyond a bare tank: here all of it. A target may compile kernels for scenes without some."""

MESHES = True
HOUSINGS = True  # triangles above the rim
HILLS = True  # soil that is not a plane
SCATTERING = True
CANOPIES = True
RIPPLE = True
LID = True
STRIPS = True  # rim and braces
FLOATERS = True
FILMS = True  # behind air
BONDED_FILMS = True
DIRT = True
PLANES = True  # horizontal planes that light is counted on
TABLES = True  # beams given by a table
DISCS = True  # sources of each shape
LEDS = True
TUBES = True
GATHERING = True
