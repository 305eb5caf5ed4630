"""underlit: what light reaches a leaf behind a rock, under water, beside a glass wall."""

__version__ = "0.1.0"
