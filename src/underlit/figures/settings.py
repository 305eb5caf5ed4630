"""How the lamps are set, in as few words as it takes: it stands below the title of every figure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from underlit.results.result import Channel

MOST_LISTED = 4  # channels named one by one


def settings_words(channels: Sequence[Channel], dims: Sequence[float]) -> str:
    """ "lamps at 100 %"; "lamps at 100 %, but bar / red 30 %"; channel by channel; or the span of each fixture."""
    each = list(zip(channels, dims, strict=True))
    (usual, n), *_ = Counter(dims).most_common(1)
    others = [(channel, dim) for channel, dim in each if dim != usual]
    if not others:
        return f"lamps at {_percent(usual)} %"
    if len(each) <= MOST_LISTED:
        return _listed(each)
    if len(others) <= min(MOST_LISTED, n):
        return f"lamps at {_percent(usual)} %, but {_listed(others)}"
    names = dict.fromkeys(channel.fixture for channel in channels)
    return _joined(f"{name} {_span([dim for c, dim in each if c.fixture == name])} %" for name in names)


def _listed(each: Sequence[tuple[Channel, float]]) -> str:
    return _joined(f"{channel.label} {_percent(dim)} %" for channel, dim in each)


def _joined(parts: Iterable[str]) -> str:
    """Parts that no line break tears apart."""
    return "; ".join(part.replace(" ", "\u00a0") for part in parts)


def _span(dims: Sequence[float]) -> str:
    low, high = _percent(min(dims)), _percent(max(dims))
    return low if low == high else f"{low}–{high}"


def _percent(dim: float) -> str:
    return f"{100 * dim:.0f}"
