"""Events, steps and estimates as the plain lists that a JSON column keeps, and back. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from imujump.model import Estimate, EventKind, GaitEvent, Side, Step


def finite(number: float | None) -> float | None:
    """Return a plain number, ``None`` for what is none.

    >>> finite(float("inf"))
    """
    return float(number) if number is not None and math.isfinite(number) else None


def events_kept(events: Sequence[GaitEvent]) -> list[list[Any]]:
    """Turn events into lists: kind, side, time, sigma."""
    return [[str(e.kind), str(e.side), float(e.time_s), finite(e.sigma_s)] for e in events]


def events_read(kept: Sequence[Sequence[Any]]) -> tuple[GaitEvent, ...]:
    """Read what :func:`events_kept` wrote."""
    return tuple(
        GaitEvent(EventKind(kind), Side(side), time_s, math.nan if sigma_s is None else sigma_s)
        for kind, side, time_s, sigma_s in kept
    )


def steps_kept(steps: Sequence[Step]) -> list[list[Any]]:
    """Turn steps into lists: number, side, strike, then four estimates."""
    return [
        [
            int(s.number),
            str(s.side),
            float(s.strike_s),
            *(_estimate_kept(e) for e in (s.length_m, s.time_s, s.contact_s, s.speed_mps)),
        ]
        for s in steps
    ]


def steps_read(kept: Sequence[Sequence[Any]]) -> tuple[Step, ...]:
    """Read what :func:`steps_kept` wrote."""
    return tuple(
        Step(number, Side(side), strike_s, *(Estimate(*told) for told in estimates))
        for number, side, strike_s, *estimates in kept
    )


def _estimate_kept(estimate: Estimate) -> list[Any]:
    return [finite(estimate.value), finite(estimate.sigma), estimate.reason, estimate.method]
