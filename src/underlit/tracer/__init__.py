"""The tracer: a scene laid out for the kernels, and run."""

from underlit.tracer.run import Progress, trace

__all__ = ["Progress", "trace"]
