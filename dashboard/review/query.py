"""What an address says: ids and choices from text that anybody may have typed. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import urlencode

from imujump.model import METRIC_NAMES

MOST_SHOWN = 8
"""Metrics that a session shows at once (own choice: a laptop's width)."""

LARGEST = 2**31 - 1
"""No id is larger."""


def number(text: str | None) -> int | None:
    """Read an id or a count; ``None`` for what is none.

    >>> number("12"), number("-1"), number("x"), number(None), number("9" * 20)
    (12, None, None, None, None)
    """
    if text is None or not text.isascii() or not text.isdecimal() or len(text) > len(str(LARGEST)):
        return None
    found = int(text)
    return found if found <= LARGEST else None


def metrics(text: str | None, usual: tuple[str, ...]) -> tuple[str, ...]:
    """Read a list of metrics; the usual ones when none is known.

    >>> metrics("flight_s,nothing,flight_s", ("turn_rad",)), metrics(None, ("turn_rad",))
    (('flight_s',), ('turn_rad',))
    """
    known = [name for name in dict.fromkeys((text or "").split(",")) if name in METRIC_NAMES]
    return tuple(known[:MOST_SHOWN]) or usual


def link(path: str, told: Mapping[str, str | int | None]) -> str:
    """Write an address with a query; what is empty is left out.

    >>> link("/sessions", {"athlete": 3, "page": None})
    '/sessions?athlete=3'
    """
    kept = {name: text for name, text in told.items() if text not in (None, "")}
    return f"{path}?{urlencode(kept, safe=',')}" if kept else path
