"""What stands in a result file: its version and every field, once.

The writer takes dtype, units and axes from this table, `docs/result-file.md` is printed from it, and a
test holds files to it.
"""

from __future__ import annotations

from dataclasses import dataclass

FILETYPE = "underlit result"
VERSION = (1, 0)  # major: old readers cannot read it; minor: something was added


@dataclass(frozen=True)
class Field:
    """One dataset or attribute of a result file.

    Parameters
    ----------
    path : str
        Place in the file; `*` stands for the name of a surface. An attribute is written `group@name`.
    dtype : str
        `str`, or a numpy dtype.
    axes : tuple of str
        Symbols of the axes, as in `AXES`; empty for a scalar.
    units : str
        Unit of the values; `1` for counts and shares, empty for text.
    meaning : str
        What it says.
    optional : bool
        Whether a file may lack it.
    """

    path: str
    dtype: str
    axes: tuple[str, ...]
    units: str
    meaning: str
    optional: bool = False

    @property
    def is_attribute(self) -> bool:
        """Whether it is an attribute rather than a dataset."""
        return "@" in self.path


AXES = {
    "K": "replicates: independent repetitions of the whole trace; their spread gives every standard error",
    "S": "sources: emitters of one place and one beam; channels that differ only in colour share a source",
    "B": "bands: wavelength nodes; what is stored is linear in wavelength between two nodes",
    "C": "cells of one surface; for a grid the rows follow each other, x running fastest",
    "M": "channels of all fixtures",
    "N": "names of the light budget",
    "W": "wavelengths of lamp spectra and of the scene's colours, 1 nm apart",
    "R": "surfaces whose reflectance is known",
    "V": "vertices",
    "F": "triangles",
    "D": "mesh files",
    "L": "libraries",
    "Q": "counters",
    "3": "x, y, z",
    "2": "two values",
    "nx+1": "cell edges along the first direction of a grid",
    "ny+1": "cell edges along the second direction of a grid",
}

_TALLY = "fixed-point sums of photon weight; over `scale` and `sources/photons` it is the share of photons"

FIELDS = (
    Field("@filetype", "str", (), "", f"always `{FILETYPE}`"),
    Field("@version", "int64", ("2",), "1", "format version, major and minor"),
    Field("@created", "str", (), "", "when the trace ended, ISO 8601 with time zone"),
    Field("@scene_file", "str", (), "", "name of the scene file, without its folder"),
    Field("@seed", "int64", (), "1", "seed of the trace"),
    Field("@replicates", "int64", (), "1", "number of replicates, K"),
    Field("@scale", "float64", (), "1", "fixed-point scale: value = stored integer / scale"),
    Field("@wall_s", "float64", (), "s", "how long the trace took"),
    Field(
        "@stop_reason",
        "str",
        (),
        "",
        "`precision`, `photons`, `interrupted` or `no more photons`",
    ),
    Field("@rel_err_asked", "float64", (), "1", "relative standard error asked for; NaN if none was"),
    Field("@rel_err", "float64", (), "1", "relative standard error reached in the median soil cell"),
    Field("scene_text", "str", (), "", "the whole scene file as it was traced"),
    Field("wavelength_nm", "float64", ("B",), "nm", "wavelength nodes"),
    Field("versions/name", "str", ("L",), "", "underlit, Python and the libraries that took part"),
    Field("versions/version", "str", ("L",), "", "their versions"),
    Field("files/file", "str", ("D",), "", "files that the scene names, as written there"),
    Field("files/sha256", "str", ("D",), "", "digests of their bytes"),
    Field("counters/name", "str", ("Q",), "", "what the tracer counted on its way, such as paths lost"),
    Field("counters/count", "int64", ("Q",), "1", "how often"),
    Field("sources/name", "str", ("S",), "", "names of the sources"),
    Field("sources/photons", "int64", ("S",), "1", "photons started per source *in each replicate*"),
    Field(
        "spectrum_wavelength_nm",
        "float64",
        ("W",),
        "nm",
        "wavelengths of lamp spectra and of the scene's colours",
    ),
    Field("optics/water_absorption", "float64", ("W",), "m-1", "absorption of the water", True),
    Field("optics/glass_absorption", "float64", ("W",), "m-1", "absorption of the panes", True),
    Field("optics/reflectance_name", "str", ("R",), "", "surfaces whose reflectance follows", True),
    Field("optics/reflectance", "float64", ("R", "W"), "1", "reflectance of those surfaces", True),
    Field("channels/fixture", "str", ("M",), "", "fixture that the channel belongs to"),
    Field("channels/name", "str", ("M",), "", "name of the channel within its fixture"),
    Field("channels/source", "int64", ("M",), "1", "index of the source that it emits from"),
    Field("channels/spectrum", "float64", ("M", "W"), "umol s-1 nm-1", "photon spectrum at full setting"),
    Field("channels/power_w", "float64", ("M",), "W", "wall power at full setting"),
    Field("channels/dim", "float64", ("M",), "1", "setting in the scene, 0 to 1"),
    Field("channels/price", "float64", ("M",), "currency", "price of the *whole fixture*; NaN if not given"),
    Field("channels/l70_hours", "float64", ("M",), "h", "hours to 70 % of the first light; NaN if not given"),
    Field("budget/name", "str", ("N",), "", "where light ends: one name for each fate of a photon"),
    Field("budget/sum", "int64", ("K", "S", "N", "B"), "1", _TALLY + " that ended there"),
    Field(
        "surfaces/*@name", "str", (), "", "name of the surface; the group is called by it, with `|` for `/`"
    ),
    Field("surfaces/*@index", "int64", (), "1", "place in the order of the surfaces"),
    Field("surfaces/*@kind", "str", (), "", "`grid` or `mesh`"),
    Field(
        "surfaces/*@plane", "str", (), "", "plane that light is counted on: `horizontal`, `surface normal`"
    ),
    Field("surfaces/*/vertices_m", "float64", ("V", "3"), "m", "vertices of the surface"),
    Field("surfaces/*/faces", "int32", ("F", "3"), "1", "triangles: indices into `vertices_m`"),
    Field("surfaces/*/cell_of_face", "int32", ("F",), "1", "cell that each triangle belongs to"),
    Field(
        "surfaces/*/cell_area_m2",
        "float64",
        ("C",),
        "m2",
        "area in the stated plane, for densities",
    ),
    Field("surfaces/*/cell_centre_m", "float64", ("C", "3"), "m", "centre of each cell"),
    Field("surfaces/*/cell_normal", "float64", ("C", "3"), "1", "unit normal of the side that is lit"),
    Field("surfaces/*/x_edges_m", "float64", ("nx+1",), "m", "grid: edges along its first direction", True),
    Field("surfaces/*/y_edges_m", "float64", ("ny+1",), "m", "grid: edges along its second direction", True),
    Field("surfaces/*/sum", "int64", ("K", "S", "C", "B"), "1", _TALLY + " that landed in the cell"),
)

BY_PATH = {field.path: field for field in FIELDS}


def table_markdown() -> str:
    """The field table and the meaning of its axes, as Markdown.

    Returns
    -------
    str
        The two tables of `docs/result-file.md`.
    """
    rows = ["| field | dtype | shape | unit | meaning |", "|---|---|---|---|---|"]
    rows += [_row(field) for field in FIELDS]
    rows += ["", "| axis | what runs along it |", "|---|---|"]
    rows += [f"| {symbol} | {meaning} |" for symbol, meaning in AXES.items()]
    return "\n".join(rows) + "\n"


def _row(field: Field) -> str:
    shape = f"({', '.join(field.axes)})" if field.axes else ""
    path = f"`{field.path}`"
    if field.is_attribute:
        group, _, name = field.path.partition("@")
        path = f"attribute `{name}` of " + (f"`{group}`" if group else "the root")
    units = field.units if field.units != "1" else ""
    return f"| {path} | {field.dtype} | {shape} | {units} | {field.meaning} |"
