"""What no single value shows: faults between the parts of a scene."""

from __future__ import annotations

from underlit.scene.check import contents, light, tank, use
from underlit.scene.check.checker import Checker, Found
from underlit.scene.document import Document
from underlit.scene.model import Scene


def faults(scene: Scene, document: Document) -> list[Found]:
    """Faults between the parts of a scene, with their places; warnings go to the scene.

    Parameters
    ----------
    scene : Scene
        With its defaults filled in.
    document : Document
        Its text, for the lines.
    """
    checker = Checker(scene, document)
    for part in (tank, contents, light, use):
        part.check(checker)
    return checker.found
