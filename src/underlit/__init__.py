"""underlit: what light reaches a leaf behind a rock, under water, beside a glass wall.

>>> import underlit
>>> scene = underlit.load_scene("tank.toml")                # doctest: +SKIP
>>> res = underlit.trace(scene, precision=0.03)             # doctest: +SKIP
>>> underlit.ppfd(res, "soil").value                        # doctest: +SKIP
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from underlit.errors import DataError, MeshError, ResultError, SceneError, StudyError, UnderlitError

if TYPE_CHECKING:
    from underlit.metrics.estimate import Estimate
    from underlit.metrics.maps import ppfd
    from underlit.metrics.summary import summarise
    from underlit.results.result import Result
    from underlit.scene import Scene, load_scene, scene_from_text
    from underlit.tracer import trace

__version__ = "0.1.0"

# Loaded when first asked for, so that `import underlit` takes no time.
_HOMES = {
    "Estimate": "underlit.metrics.estimate",
    "Result": "underlit.results.result",
    "Scene": "underlit.scene",
    "load_scene": "underlit.scene",
    "ppfd": "underlit.metrics.maps",
    "scene_from_text": "underlit.scene",
    "summarise": "underlit.metrics.summary",
    "trace": "underlit.tracer",
}

__all__ = [
    "DataError",
    "Estimate",
    "MeshError",
    "Result",
    "ResultError",
    "Scene",
    "SceneError",
    "StudyError",
    "UnderlitError",
    "__version__",
    "load_scene",
    "ppfd",
    "scene_from_text",
    "summarise",
    "trace",
]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'underlit' has no attribute '{name}'")
    value = getattr(import_module(home), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
