"""Compiled kernels: plain numbers and arrays in, plain numbers out; no I/O.

numba's on-disk cache looks only at the file that holds a kernel, so an edit in an imported kernel would go
unnoticed and an old answer come back. The cache of this package therefore lives in a folder named after a digest
of all kernel sources: any edit starts a new one.
"""

from __future__ import annotations

import hashlib
import os
from functools import cache
from pathlib import Path

import numba
import platformdirs


@cache
def _source_digest() -> str:
    digest = hashlib.sha256(numba.__version__.encode())
    for path in sorted(Path(__file__).parent.rglob("*.py")):
        digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def cache_folder() -> Path:
    """Folder of the compiled kernels; `UNDERLIT_CACHE` replaces its parent."""
    parent = os.environ.get("UNDERLIT_CACHE") or platformdirs.user_cache_dir("underlit")
    return Path(parent) / f"kernels-{_source_digest()}"


# Read when a kernel module is imported, so it must be set before any of them is.
numba.config.CACHE_DIR = str(cache_folder())
