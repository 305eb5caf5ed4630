"""Hanging lamps in a scene: its text with other lamps in place of its own."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from underlit.errors import StudyError
from underlit.scene.document import Document
from underlit.scene.faults import written
from underlit.scene.lamps import Fixture
from underlit.scene.loader import from_text
from underlit.scene.model import Scene

_HEADER = re.compile(r"\s*\[\[?\s*([\w.\- ]+?)\s*\]\]?\s*(?:#.*)?$")


def hang(
    scene: Scene, lamp: Fixture, places_m: Sequence[Any] | np.ndarray, settings: np.ndarray, height_m: float,
    tilt_rad: float,
) -> Scene:  # fmt: skip
    """The scene with one lamp of it, or several of that kind, in place of all its own.

    Parameters
    ----------
    scene : Scene
    lamp : Fixture
        One of the scene.
    places_m : array_like, shape (n, 2)
        Middles of the lamps; rounded to 0.1 mm. [m]
    settings : ndarray, shape (n, M)
        Of the channels of each, 0-1.
    height_m, tilt_rad : float

    Returns
    -------
    Scene

    Raises
    ------
    SceneError
        Where no lamp can hang there.
    StudyError
        If the lamps are not written as [[fixture]] tables.
    """
    document = Document(scene.text, scene.name)
    number = [fixture.name for fixture in scene.fixture].index(lamp.name)
    table = dict(document.data["fixture"][number])
    text = _without_lamps(scene)
    for i, ((x, y), dims) in enumerate(zip(places_m, settings, strict=True), start=1):
        own = table | {
            "name": lamp.name if len(places_m) == 1 else f"{lamp.name} {i}",
            "position": [_length(x), _length(y)],
            "height": _length(height_m),
            "tilt": f"{math.degrees(tilt_rad):.6g} deg",
        }
        channels = own.pop("channel")
        text += "\n[[fixture]]\n" + _lines(own)
        for channel, dim in zip(channels, dims, strict=True):
            text += "\n[[fixture.channel]]\n" + _lines(channel | {"dim": round(float(dim), 4)})
    return from_text(text, scene.folder, scene.name)


def _length(value_m: float) -> str:
    return f"{round(100 * value_m, 2):g} cm"


def _lines(table: dict[str, Any]) -> str:
    return "".join(f"{key} = {written(value)}\n" for key, value in table.items())


def _without_lamps(scene: Scene) -> str:
    """The text of a scene less its [[fixture]] tables."""
    kept, within = [], False
    for line in scene.text.splitlines():
        header = _HEADER.match(line)
        if header:
            within = header[1].split(".")[0].strip() == "fixture"
        if not within:
            kept.append(line)
    text = "\n".join(kept).rstrip() + "\n"
    if "fixture" in Document(text, scene.name).data:
        raise StudyError(
            "the lamps of this scene cannot be replaced.", hint="Write them as [[fixture]] tables."
        )
    return text
