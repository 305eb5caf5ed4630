"""Known colours of a scene at every nanometre, kept with the result to guide its light between wavelength nodes."""

from __future__ import annotations

import numpy as np

from underlit import spectra
from underlit.results.result import Optics
from underlit.scene.model import Scene


def known_colours(scene: Scene) -> Optics:
    """Absorption of water and panes, and the reflectances of soil and hardscape.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    Optics
        Each reflectance once, under the first name that has it; black surfaces send nothing on and are left out.
    """
    water = scene.water
    in_water = spectra.water_absorption_per_m(
        spectra.GRID_NM, water.colour_a440, water.colour_slope, water.chlorophyll, water.temperature
    )
    _, in_glass = spectra.glass(scene.tank.glass, spectra.GRID_NM, scene.folder)
    materials = {"soil": scene.substrate.material} | {piece.name: piece.material for piece in scene.hardscape}
    reflectances: dict[str, np.ndarray] = {}
    for name, material in materials.items():
        curve = spectra.surface_reflectance(material, spectra.GRID_NM, scene.folder)
        if curve.any() and not any(np.array_equal(curve, known) for known in reflectances.values()):
            reflectances[name] = curve
    return Optics(in_water, in_glass, reflectances)
