"""The scene file: its language, its faults, and the scene it becomes."""

from underlit.scene.loader import from_text as scene_from_text
from underlit.scene.loader import load_scene
from underlit.scene.model import Scene

__all__ = ["Scene", "load_scene", "scene_from_text"]
