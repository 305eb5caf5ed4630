"""Mitsuba 3's own integrators on the benchmark tank."""

from __future__ import annotations

import math

import drjit as dr
import numpy as np

from benchmarks import mitsuba_tank
from benchmarks.merit import camera_point
from benchmarks.tank import prepare, scene_text
from underlit.scene.loader import from_text

mi = mitsuba_tank.variant("llvm_ad_mono")

# A depth of 100 loses a thousandth of the light, which the glass traps for long.
DEPTH = {"max_depth": 300, "rr_depth": 5}


class _Rendered:
    """One image per stream, each with a seed of its own."""

    bands = 1
    streams = 16

    def __init__(self) -> None:
        setup = prepare(from_text(scene_text()), np.array([550.0]), clear=True)
        self.tank = setup.numbers(mitsuba_tank.UNIT_M)

    def run(self, n: int, threads: int, seed: int) -> np.ndarray:
        dr.set_thread_count(threads)
        return np.stack([self._image(n, seed * self.streams + k) for k in range(self.streams)])[:, None]

    def per_pixel(self, n: int) -> int:
        """Samples a pixel in one image, for `n` in a run: a square, as the sampler wants it."""
        ny, nx = self.tank.cells
        return max(1, round(math.sqrt(n / (self.streams * nx * ny)))) ** 2

    def counted(self, n: int) -> int:
        """Samples that a run for `n` really takes."""
        ny, nx = self.tank.cells
        return self.per_pixel(n) * self.streams * nx * ny

    def _image(self, n: int, seed: int) -> np.ndarray:
        image = mi.render(self.scene, integrator=self.integrator, spp=self.per_pixel(n), seed=seed)
        return self.to_share(np.array(image)[..., 0])

    def _film(self) -> dict:
        ny, nx = self.tank.cells
        return {
            "type": "hdrfilm",
            "width": nx,
            "height": ny,
            "rfilter": {"type": "box"},
            "pixel_format": "luminance",
            "component_format": "float32",
        }


class ParticleTracer(_Rendered):
    """`ptracer` and a pinhole camera hung in the water that looks down at the soil.

    What the camera sees of a Lambertian soil is its irradiance, but for a factor.
    """

    unit = "photons"

    def __init__(self) -> None:
        super().__init__()
        eye = camera_point(self.tank)
        half_view = math.atan(0.5 * self.tank.size[0] / (eye[2] - self.tank.soil))
        # The square-grid samplers of Mitsuba gained nothing here and cost time.
        camera = {
            "type": "perspective",
            "fov": math.degrees(2.0 * half_view),
            "fov_axis": "x",
            "near_clip": 0.1,
            "far_clip": 1e4,
            "to_world": mi.ScalarTransform4f().look_at(
                eye.tolist(), [*eye[:2].tolist(), 0.0], [0.0, 1.0, 0.0]
            ),
            "film": self._film(),
            "sampler": {"type": "independent"},
        }
        objects = mitsuba_tank.tank_objects(mi, self.tank) | {"camera": camera}
        self.scene = mi.load_dict(objects)
        self.integrator = mi.load_dict({"type": "ptracer", "hide_emitters": True, **DEPTH})

    def to_share(self, image: np.ndarray) -> np.ndarray:
        """Radiance to light landing per cell; the image's first row is at the back."""
        return image[::-1] * (math.pi / self.tank.soil_reflectance * self.tank.cell**2)


class IrradianceMeter(_Rendered):
    """`path` from an irradiance meter that covers the soil, a pixel to a cell."""

    unit = "paths back from the soil"
    LIFT_M = 1e-5  # of the meter over the soil

    def __init__(self) -> None:
        super().__init__()
        lx, ly, _ = self.tank.size
        place = mi.ScalarTransform4f().translate(
            [0.5 * lx, 0.5 * ly, self.tank.soil + self.LIFT_M / self.tank.unit_m]
        )
        meter = {
            "type": "rectangle",
            "to_world": place.scale([0.5 * lx, 0.5 * ly, 1.0]),
            "bsdf": mitsuba_tank.diffuse(mi, self.tank.soil_reflectance),
            "sensor": {
                "type": "irradiancemeter",
                "film": self._film(),
                "sampler": {"type": "multijitter"},
            },
        }
        self.scene = mi.load_dict(mitsuba_tank.tank_objects(mi, self.tank) | {"meter": meter})
        self.integrator = mi.load_dict({"type": "path", **DEPTH})

    def to_share(self, image: np.ndarray) -> np.ndarray:
        """Irradiance to light landing per cell."""
        return image * self.tank.cell**2
