"""Makes the helpers in this folder importable from every test, and a place for compiled kernels."""

import sys
from pathlib import Path

import pytest

from underlit.kernels import cache_folder

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(scope="session", autouse=True)
def kernels_have_a_place():
    """Whatever test comes first: no command says that this is its first time."""
    cache_folder().mkdir(parents=True, exist_ok=True)
