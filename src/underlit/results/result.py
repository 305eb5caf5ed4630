"""A traced scene: where the photons of each source landed, with what the error of any mix of them needs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from underlit.scene.model import Scene

CACHE_LIMIT_BYTES = 1 << 29  # of float transport kept in memory; the least recently used surface goes first


@dataclass(frozen=True, eq=False)
class Channel:
    """One channel of one fixture: what it emits when fully on.

    Parameters
    ----------
    name, fixture : str
        The channel and the fixture it belongs to.
    source : int
        Index of the source that it emits from.
    spectrum : ndarray, shape (401,)
        Photon spectrum at full setting, 380-780 nm in steps of 1 nm. [umol s-1 nm-1]
    power_w : float
        Wall power at full setting. [W]
    dim : float
        Setting in the scene, 0 to 1.
    price : float
        Price of the whole fixture, in the currency of the scene; NaN if not given.
    l70_hours : float
        Hours until 70 % of the first light is left; NaN if not given. [h]
    """

    name: str
    fixture: str
    source: int
    spectrum: np.ndarray = field(repr=False)
    power_w: float
    dim: float = 1.0
    price: float = float("nan")
    l70_hours: float = float("nan")

    @property
    def label(self) -> str:
        """Fixture and channel, as `bar / white`."""
        return f"{self.fixture} / {self.name}"


@dataclass(frozen=True, eq=False)
class Surface:
    """A surface that light was counted on.

    Parameters
    ----------
    name : str
        `soil`, `pane front`, `water surface`, `plane 0.120`, `hardscape <name>`, ...
    kind : str
        `grid` (cells in rows and columns) or `mesh` (patches of triangles).
    plane : str
        Plane that light is counted on: `horizontal`, `surface normal`, ...
    vertices_m : ndarray, shape (V, 3)
        [m]
    faces : ndarray of int32, shape (F, 3)
        Triangles, as indices into `vertices_m`.
    cell_of_face : ndarray of int32, shape (F,)
        Cell that each triangle belongs to.
    cell_area_m2 : ndarray, shape (C,)
        Area in the stated plane. [m2]
    cell_centre_m, cell_normal : ndarray, shape (C, 3)
        Centre [m] and unit normal of the lit side.
    shape : (int, int), optional
        Rows and columns (ny, nx) of a grid; cell `j * nx + i` is row j, column i.
    x_edges_m, y_edges_m : ndarray, shape (nx + 1,), (ny + 1,), optional
        Cell edges of a grid. On a horizontal grid x and y of the tank; on a pane along the pane and up. [m]
    """

    name: str
    kind: str
    plane: str
    vertices_m: np.ndarray = field(repr=False)
    faces: np.ndarray = field(repr=False)
    cell_of_face: np.ndarray = field(repr=False)
    cell_area_m2: np.ndarray = field(repr=False)
    cell_centre_m: np.ndarray = field(repr=False)
    cell_normal: np.ndarray = field(repr=False)
    shape: tuple[int, int] | None = None
    x_edges_m: np.ndarray | None = field(default=None, repr=False)
    y_edges_m: np.ndarray | None = field(default=None, repr=False)

    @property
    def n_cells(self) -> int:
        """Number of cells, C."""
        return len(self.cell_area_m2)


@dataclass(frozen=True, eq=False)
class Optics:
    """Known colours of the scene, which guide the transport between its wavelength nodes.

    Parameters
    ----------
    water_absorption_per_m, glass_absorption_per_m : ndarray, shape (401,)
        380-780 nm in steps of 1 nm. [m-1]
    reflectances : dict of str to ndarray of shape (401,)
        Of the surfaces that send much light on.
    """

    water_absorption_per_m: np.ndarray = field(repr=False)
    glass_absorption_per_m: np.ndarray = field(repr=False)
    reflectances: dict[str, np.ndarray] = field(default_factory=dict, repr=False)


@dataclass(frozen=True, eq=False)
class Budget:
    """Where the light ended.

    Parameters
    ----------
    names : list of str
        Fates of a photon, N of them.
    share : ndarray, shape (K, S, N, B)
        Share of the emitted photons, per replicate, source and band; sums to one over N.
    """

    names: list[str]
    share: np.ndarray


@dataclass(frozen=True, eq=False, repr=False)
class Result:
    """A finished trace: all that a result file holds.

    Parameters
    ----------
    scene_text, scene_file : str
        The scene file as it was traced, and its name.
    seed : int
    wavelength_nm : ndarray, shape (B,)
        Wavelength nodes; the transport is linear in wavelength between them. [nm]
    source_names : list of str
        Names of the S sources.
    photons : ndarray of int64, shape (S,)
        Photons started per source in each replicate.
    channels : list of Channel
    surfaces : dict of str to Surface
    sums : mapping of str to ndarray of int64, shape (K, S, C, B)
        Per surface, fixed-point sums of photon weight.
    budget_names : list of str
    budget_sums : ndarray of int64, shape (K, S, N, B)
    scale : float
        Fixed-point scale: weight = sum / scale.
    optics : Optics, optional
        Without it, transport is taken as straight between the wavelength nodes.
    file_digests, versions : dict of str to str
        SHA-256 of each file that the scene names, by its path there; version of each program and library.
    counters : dict of str to int
        What the tracer counted on its way, such as paths lost.
    created : str
        When the trace ended, ISO 8601.
    wall_s : float
        How long it took. [s]
    stop_reason : str
        `precision`, `photons`, `interrupted` or `no more photons`.
    rel_err_asked, rel_err : float
        Relative standard error of the median soil cell: asked for (NaN if not) and reached.

    Examples
    --------
    >>> res = Result.open("tank.h5")                                            # doctest: +SKIP
    >>> res.transport("soil").shape                                             # doctest: +SKIP
    (16, 1, 1800, 16)
    """

    scene_text: str
    scene_file: str
    seed: int
    wavelength_nm: np.ndarray
    source_names: list[str]
    photons: np.ndarray
    channels: list[Channel]
    surfaces: dict[str, Surface]
    sums: Mapping[str, np.ndarray]
    budget_names: list[str]
    budget_sums: np.ndarray
    scale: float
    optics: Optics | None = None
    file_digests: dict[str, str] = field(default_factory=dict)
    versions: dict[str, str] = field(default_factory=dict)
    counters: dict[str, int] = field(default_factory=dict)
    created: str = ""
    wall_s: float = float("nan")
    stop_reason: str = ""
    rel_err_asked: float = float("nan")
    rel_err: float = float("nan")
    guides: dict[str, np.ndarray] = field(default_factory=dict, repr=False, init=False)
    _cache: dict[str, np.ndarray] = field(default_factory=dict, repr=False, init=False)

    @classmethod
    def open(cls, path: str | Path) -> Result:
        """Read a result file; the big tallies are read when first asked for.

        Parameters
        ----------
        path : str or Path

        Returns
        -------
        Result

        Raises
        ------
        ResultError
            If the file is missing, is no result file, or is of a newer major version.
        """
        from underlit.results import io

        return io.read(path)

    def save(self, path: str | Path) -> None:
        """Write a result file, whole or not at all.

        Raises
        ------
        ResultError
            If it cannot be written.
        """
        from underlit.results import io

        io.write(path, self)

    def with_channels(self, channels: list[Channel]) -> Result:
        """The same trace with other lamps in the same places: spectra, watts, settings, prices.

        What is in memory of the tallies is shared, so this takes no time.
        """
        other = replace(self, channels=list(channels))
        other._cache.update(self._cache)
        other.guides.update(self.guides)
        return other

    def __repr__(self) -> str:
        return (
            f"<Result of {self.scene_file or 'a scene'}: {self.n_photons:,} photons, {len(self.channels)} channels, "
            f"{len(self.surfaces)} surfaces, standard error {100 * self.rel_err:.2g} % in the median soil cell>"
        )

    @property
    def replicates(self) -> int:
        """Number of independent replicates, K."""
        return self.budget_sums.shape[0]

    @property
    def n_photons(self) -> int:
        """Photons traced in all."""
        return int(self.replicates * self.photons.sum())

    @property
    def attrs(self) -> dict[str, object]:
        """The single facts of the trace: seed, photons, time, why it stopped, ..."""
        facts = {f.name: getattr(self, f.name) for f in fields(self) if f.name in _FACTS}
        return facts | {"replicates": self.replicates, "n_photons": self.n_photons}

    @cached_property
    def scene(self) -> Scene:
        """The scene, parsed from the stored text."""
        from underlit.scene import scene_from_text

        return scene_from_text(self.scene_text, name=self.scene_file)

    @cached_property
    def budget(self) -> Budget:
        """Where the light ended, as shares of the emitted photons."""
        return Budget(list(self.budget_names), self._per_photon(self.budget_sums.astype(np.float64)))

    def surface(self, name: str) -> Surface:
        """The surface of that name.

        Raises
        ------
        ResultError
            If there is none; the error lists those there are.
        """
        try:
            return self.surfaces[name]
        except KeyError:
            from underlit.errors import ResultError

            known = ", ".join(f"`{known}`" for known in self.surfaces)
            raise ResultError(
                f"there is no surface `{name}` in this result.", hint=f"It has {known}."
            ) from None

    def transport(self, name: str) -> np.ndarray:
        """Photons that land in each cell per photon emitted.

        Parameters
        ----------
        name : str
            Name of a surface.

        Returns
        -------
        ndarray, shape (K, S, C, B)
            Per replicate, source, cell and wavelength node; not to be written to.

        Raises
        ------
        ResultError
            If there is no such surface.
        """
        self.surface(name)
        found = self._cache.pop(name, None)
        if found is None:
            shape = self.replicates, len(self.photons), self.surfaces[name].n_cells, len(self.wavelength_nm)
            self._make_room(8 * math.prod(shape))
            found = self._per_photon(_floats(self.sums, name))
        self._cache[name] = found
        return found

    def _per_photon(self, sums: np.ndarray) -> np.ndarray:
        """Sums, overwritten, as shares of the photons of each source."""
        sums /= self.scale * np.maximum(self.photons, 1)[None, :, None, None]
        sums.flags.writeable = False
        return sums

    def _make_room(self, n_bytes: int) -> None:
        held = sum(kept.nbytes for kept in self._cache.values())
        while self._cache and held + n_bytes > CACHE_LIMIT_BYTES:
            held -= self._cache.pop(next(iter(self._cache))).nbytes


_FACTS = ("scene_file", "seed", "created", "wall_s", "stop_reason", "rel_err_asked", "rel_err")


def _floats(sums: Mapping[str, np.ndarray], name: str) -> np.ndarray:
    """Sums of a surface as floats of their own, read as such where they come from a file: they can be large."""
    read = getattr(sums, "floats", None)
    return sums[name].astype(np.float64) if read is None else read(name)
