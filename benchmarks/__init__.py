"""Measured speed of the engine beside general-purpose open ray tracers: `python -m benchmarks`."""
