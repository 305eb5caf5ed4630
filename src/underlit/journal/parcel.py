"""Everything the page shows, as one compressed text: a JSON head and the arrays it points to.

    4 bytes   length n of the head, little-endian
    n bytes   head, JSON in UTF-8; an array stands in it as {"at": byte, "n": count, "type": "u2"}
    ...       the arrays, little-endian, each from a multiple of eight bytes after the head

The whole is compressed with gzip and written in base64, as HTML holds no bytes.
"""

from __future__ import annotations

import base64
import gzip
import json
from typing import Any

import numpy as np

Ref = dict[str, Any]
_STEP = 8
_TYPES = {"u1": np.uint8, "i1": np.int8, "u2": np.uint16, "u4": np.uint32, "f4": np.float32}
MOST = np.iinfo(np.uint16).max


class Parcel:
    """Collects arrays and hands back what stands for them in the head."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self._at = 0

    def add(self, values: Any, kind: str) -> Ref:
        """Take in an array as it is.

        Parameters
        ----------
        values : array_like
            Flattened row by row.
        kind : str
            `u1`, `i1`, `u2`, `u4` or `f4`.
        """
        flat = np.ravel(np.asarray(values))
        kept = flat.astype(np.dtype(_TYPES[kind]).newbyteorder("<"))
        if kind != "f4" and not np.array_equal(kept, flat):
            raise ValueError(f"values do not fit into {kind}")
        data = kept.tobytes()
        ref = {"at": self._at, "n": len(kept), "type": kind}
        data += bytes(-len(data) % _STEP)
        self._parts.append(data)
        self._at += len(data)
        return ref

    def steps(self, values: np.ndarray) -> dict[str, Any]:
        """Take in rows of numbers from nought up, as 65 535 equal steps up to the largest of each row.

        Parameters
        ----------
        values : ndarray, shape (rows, n)
            None below zero.

        Returns
        -------
        dict
            `rows`: value of one step in each row; `data`: the steps.
        """
        step = np.maximum(values.max(axis=1, initial=0.0), 1e-30) / MOST
        return {"rows": step.tolist(), "data": self.add(np.round(values / step[:, None]), "u2")}

    def signed_steps(self, values: np.ndarray) -> dict[str, Any]:
        """The same for rows of numbers of either sign, in 127 steps either way."""
        step = np.maximum(np.abs(values).max(axis=1, initial=0.0), 1e-30) / 127
        return {"rows": step.tolist(), "data": self.add(np.round(values / step[:, None]), "i1")}

    def seal(self, head: dict[str, Any]) -> str:
        """The finished text."""
        words = json.dumps(head, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()
        words += b" " * (-(4 + len(words)) % _STEP)
        raw = len(words).to_bytes(4, "little") + words + b"".join(self._parts)
        return squeeze(raw)


def squeeze(raw: bytes) -> str:
    """Bytes as compressed text: same bytes in, same text out."""
    return base64.b64encode(gzip.compress(raw, compresslevel=9, mtime=0)).decode("ascii")
