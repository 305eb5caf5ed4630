"""Opaque surfaces, as named in a scene."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field

from underlit.scene.fields import OneOf, Share, Table, Text
from underlit.scene.values import Number, fault

_SHARE = Number(0.0, 1.0)
_NM = Number(300.0, 900.0, share=False)
_PAIRS = "pairs of wavelength in nm and reflectance, such as [[450, 0.10], [550, 0.20], [650, 0.35]]"


def _reflectance(value: Any) -> float | tuple[tuple[float, float], ...]:
    """One number, or wavelengths and numbers."""
    if not isinstance(value, list | tuple):
        return _SHARE.read(value)
    if not 1 <= len(value) <= 1000 or not all(isinstance(pair, list) and len(pair) == 2 for pair in value):
        raise fault(_PAIRS)
    pairs = tuple((_NM.read(nm), _SHARE.read(share)) for nm, share in value)
    if any(late[0] <= early[0] for early, late in pairwise(pairs)):
        raise fault("wavelengths that increase from pair to pair")
    return pairs


_Curve = Annotated[
    Any,
    BeforeValidator(_reflectance, json_schema_input_type=Share | list[tuple[Annotated[float, _NM], Share]]),
]


class OwnSurface(Table):
    """A surface by its diffuse reflectance."""

    reflectance: _Curve = Field(
        description="one number, or pairs of wavelength in nm and reflectance",
        examples=[0.05, [[450, 0.1], [650, 0.35]]],
    )


class FileSurface(Table):
    """A measured surface."""

    file: Text = Field(description="CSV with columns wavelength_nm, reflectance", examples=["wood.csv"])


def _plain(form: Any) -> Any:
    """What `spectra.surface_reflectance` takes: a name, a number, or pairs."""
    return (
        form.reflectance
        if isinstance(form, OwnSurface)
        else form.file
        if isinstance(form, FileSurface)
        else form
    )


def _form(table: dict[str, Any]) -> str | None:
    return next((key for key in ("reflectance", "file") if key in table), None)


_FORMS = OneOf(
    _form,
    {"text": Text, "reflectance": OwnSurface, "file": FileSurface},
    "the name of a surface, { reflectance = 0.05 }, { reflectance = [[450, 0.10], [650, 0.35]] } "
    'or { file = "wood.csv" }',
)
Material = Annotated[str | float | tuple[tuple[float, float], ...], _FORMS, AfterValidator(_plain)]
