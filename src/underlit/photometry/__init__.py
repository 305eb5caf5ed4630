"""How lamps spread their light: files of measured intensities, as makers of lamps publish them."""

from underlit.photometry.distribution import Distribution, Opening
from underlit.photometry.files import ENDINGS, read_distribution

__all__ = ["ENDINGS", "Distribution", "Opening", "read_distribution"]
