"""raysect on the benchmark tank: each soil cell is two pixels of a mesh camera, traced back to the lamp."""

from __future__ import annotations

import numpy as np
from raysect.core.workflow import MulticoreEngine, SerialEngine
from raysect.optical import ConstantSF
from raysect.optical import World as RaysectWorld
from raysect.optical.material import Dielectric, Lambert, UniformSurfaceEmitter
from raysect.optical.observer import FullFrameSampler1D, MeshCamera, PowerPipeline1D
from raysect.primitive import Mesh

from benchmarks.tank import Tank, prepare, scene_text
from underlit.scene.loader import from_text

LIFT_M = 1e-6


class RaysectMeter:
    """The tank, made of open surfaces that each know the index on either side: walls in contact with water."""

    unit = "paths back from the soil"
    bands = 1
    streams = 4

    def __init__(self) -> None:
        setup = prepare(from_text(scene_text()), np.array([550.0]), clear=True)
        self.tank = setup.numbers()
        self.world = RaysectWorld()
        for quad in self.tank.quads():
            self._add_quads([quad.points], _material(self.tank, quad.kind))
        rock = Lambert(ConstantSF(self.tank.rock_reflectance))
        Mesh(self.tank.vertices, self.tank.faces, smoothing=False, parent=self.world, material=rock)
        self._add_lamp()
        self.pipeline = PowerPipeline1D(accumulate=False)
        self.camera = MeshCamera(
            Mesh(*_soil_triangles(self.tank), smoothing=False, closed=False),
            surface_offset=LIFT_M,
            pipelines=[self.pipeline],
            frame_sampler=FullFrameSampler1D(),
            parent=self.world,
            min_wavelength=549.5,
            max_wavelength=550.5,
            spectral_bins=1,
            spectral_rays=1,
            ray_max_depth=300,
            ray_extinction_prob=0.05,
            ray_extinction_min_depth=5,
            quiet=True,
        )

    def _add_quads(self, quads, material) -> None:
        vertices = np.reshape([(c, c + u, c + u + v, c + v) for c, u, v in quads], (-1, 3))
        faces = [(k, k + i, k + i + 1) for k in range(0, 4 * len(quads), 4) for i in (1, 2)]
        Mesh(vertices, faces, smoothing=False, closed=False, parent=self.world, material=material)

    def _add_lamp(self) -> None:
        (x, y, z), (sx, sy) = self.tank.lamp_centre, self.tank.lamp_size
        downwards = np.array([(x - 0.5 * sx, y + 0.5 * sy, z), (sx, 0, 0), (0, -sy, 0)])
        radiance = 1.0 / (np.pi * self.tank.lamp_area)
        self._add_quads([downwards], UniformSurfaceEmitter(ConstantSF(1.0), scale=radiance))

    def samples(self, n: int) -> int:
        """Samples a pixel in one stream, for `n` in a run."""
        return max(1, round(n / (self.streams * 2 * self.tank.cells[0] * self.tank.cells[1])))

    def counted(self, n: int) -> int:
        """Paths that a run for `n` really takes."""
        return self.samples(n) * self.streams * 2 * self.tank.cells[0] * self.tank.cells[1]

    def run(self, n: int, threads: int, seed: int) -> np.ndarray:
        from raysect.core.math.random import seed as set_seed

        set_seed(seed)
        self.camera.render_engine = SerialEngine() if threads == 1 else MulticoreEngine(threads)
        self.camera.pixel_samples = self.samples(n)
        return np.stack([self._observe() for _ in range(self.streams)])[:, None]

    def _observe(self) -> np.ndarray:
        self.camera.observe()
        power = np.array(self.pipeline.frame.mean).reshape(*self.tank.cells, 2).sum(axis=-1)
        # raysect leaves radiance as it is on refraction; in a medium of index n it is n squared times that in air.
        return power * self.tank.n_water**2


def _material(tank: Tank, kind: str):
    if kind in ("soil", "buried"):
        return Lambert(ConstantSF(tank.soil_reflectance))
    front, back = (ConstantSF(tank.index(medium)) for medium in kind.split("|"))
    return Dielectric(back, ConstantSF(1.0), external_index=front)


def _soil_triangles(tank: Tank) -> tuple[np.ndarray, np.ndarray]:
    """Vertices, and two triangles per cell in the order of the cells."""
    (lx, ly, _), (ny, nx) = tank.size, tank.cells
    x, y = np.meshgrid(np.linspace(0, lx, nx + 1), np.linspace(0, ly, ny + 1))
    vertices = np.stack([x, y, np.full_like(x, tank.soil)], axis=-1).reshape(-1, 3)
    node = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (k.ravel() for k in (node[:-1, :-1], node[:-1, 1:], node[1:, 1:], node[1:, :-1]))
    return vertices, np.stack([a, b, c, a, c, d], axis=1).reshape(-1, 3)
