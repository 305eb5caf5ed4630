"""The tracer: a scene laid out for the kernels, and run."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from underlit.tracer.run import Progress, trace

__all__ = ["Progress", "trace"]


def __getattr__(name: str) -> Any:
    """Loaded when first asked for: a first run starts its compiler before that."""
    if name not in __all__:
        raise AttributeError(f"module 'underlit.tracer' has no attribute '{name}'")
    from underlit.tracer import run

    return getattr(run, name)
