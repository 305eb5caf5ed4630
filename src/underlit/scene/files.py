"""The files that a scene names, and what is in them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from underlit.scene.model import Scene


def files_of(scene: Scene) -> list[str]:
    """Files that a scene names, from its folder: meshes, spectra, beams, tables."""
    words = {word for word in _texts(plain(scene)) if 0 < len(word) < 256}
    return sorted(word for word in words if "\n" not in word and scene.file(word).is_file())


def file_digests(scene: Scene) -> dict[str, str]:
    """SHA-256 of each file that a scene names."""
    return {name: hashlib.sha256(scene.file(name).read_bytes()).hexdigest() for name in files_of(scene)}


def plain(part: Any) -> Any:
    """Tables of a scene as plain dicts and lists."""
    if isinstance(part, BaseModel):
        return {name: plain(value) for name, value in part}
    if isinstance(part, Mapping):
        return {name: plain(value) for name, value in part.items()}
    return [plain(each) for each in part] if isinstance(part, list | tuple) else part


def _texts(part: Any) -> Iterator[str]:
    if isinstance(part, str):
        yield part
    elif isinstance(part, dict | list):
        for each in part.values() if isinstance(part, dict) else part:
            yield from _texts(each)
