"""The reader for each kind of photometric file."""

from __future__ import annotations

from pathlib import Path

from underlit.errors import DataError
from underlit.photometry.distribution import Distribution
from underlit.photometry.eulumdat import parse_eulumdat
from underlit.photometry.lm63 import parse_lm63
from underlit.photometry.tm33 import parse_tm33
from underlit.spectra.tables import read_text

_READERS = {".ies": parse_lm63, ".ldt": parse_eulumdat, ".xml": parse_tm33}
ENDINGS = tuple(_READERS)


def read_distribution(path: str | Path) -> Distribution:
    """How a lamp spreads its light, from a file of its maker.

    Parameters
    ----------
    path : path
        `.ies` is read as LM-63, `.ldt` as EULUMDAT, `.xml` as TM-33.

    Returns
    -------
    Distribution

    Raises
    ------
    DataError
        Not such a file, or of a kind that is not read; says where and why.
    """
    path = Path(path)
    reader = _READERS.get(path.suffix.lower())
    if reader is None:
        raise DataError(
            f"got the file `{path.name}`, expected one that ends in {', '.join(ENDINGS)}.", where=str(path)
        )
    return reader(read_text(path), str(path))
