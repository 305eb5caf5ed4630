"""What no single value shows: faults between the parts of a scene."""

from __future__ import annotations

from underlit.errors import Fault
from underlit.scene.document import Document
from underlit.scene.model import Scene


def faults(scene: Scene, document: Document) -> list[Fault]:
    """Faults between the parts of a scene."""
    return []
