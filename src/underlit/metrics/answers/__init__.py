"""Tables that answer one question each: what the commands of that name print, and the same as plain data."""

from underlit.metrics.answers.buying import buying_answer
from underlit.metrics.answers.places import depth_answer, spot_answer
from underlit.metrics.answers.settings import dim_answer
from underlit.metrics.answers.shading import shade_answer
from underlit.metrics.answers.time import weeks_answer, years_answer

__all__ = [
    "buying_answer",
    "depth_answer",
    "dim_answer",
    "shade_answer",
    "spot_answer",
    "weeks_answer",
    "years_answer",
]
