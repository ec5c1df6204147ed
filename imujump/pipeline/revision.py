"""Early foot events set right by the attempt that they belong to: each is revised at most once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from scipy.optimize import linear_sum_assignment

from imujump.model import Attempt, EventKind, GaitEvent, Side

SAME_EVENT_S = 0.1
"""An early and a final event of one foot and kind this close are the same (own choice: half the
shortest time between two strikes of one foot)."""


class Standing(StrEnum):
    """How final an event is."""

    EARLY = "early"
    FINAL = "final"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class KnownEvent:
    """A foot event with a number of its own; ``attempt`` is that of the attempt it is final in.

    ``speed_mps`` is the early speed of the step that an early strike ends, if it is known; a final
    event has none, its attempt's steps have theirs.
    """

    number: int
    event: GaitEvent
    standing: Standing
    attempt: int | None = None
    speed_mps: float | None = None


def revised(
    early: Sequence[KnownEvent], attempt: Attempt, next_number: int
) -> tuple[KnownEvent, ...]:
    """Replace the early events of an attempt's time by its own.

    Parameters
    ----------
    early : sequence of KnownEvent
        Events told so far; those not early any more stay as they are.
    attempt : Attempt
        The attempt that has closed.
    next_number : int
        For final events that nobody had told early.

    Returns
    -------
    tuple of KnownEvent
        What has changed, in order of time: early ones that are final now (with their number and
        the final time), early ones withdrawn because the attempt has no such event, final ones
        added. Nothing outside the attempt's own events' time is touched.

    Examples
    --------
    >>> from imujump.model import TakeOffStyle
    >>> def strike(t): return GaitEvent(EventKind.FOOT_STRIKE, Side.LEFT, t, 0.01)
    >>> told = [KnownEvent(n, strike(t), Standing.EARLY) for n, t in ((1, 1.0), (2, 1.3))]
    >>> jump = Attempt(1, 0.5, 3.0, 1.9, 2.4, TakeOffStyle.ONE_FOOT, Side.LEFT, True, (),
    ...     (strike(1.02), strike(1.8)), (), {})
    >>> [(e.number, e.event.time_s, str(e.standing)) for e in revised(told, jump, 3)]
    [(1, 1.02, 'final'), (2, 1.3, 'withdrawn'), (3, 1.8, 'final')]
    """
    if not attempt.events:
        return ()
    times = [event.time_s for event in attempt.events]
    first_s, last_s = min(times) - SAME_EVENT_S, max(times) + SAME_EVENT_S
    open_ones = [
        each
        for each in early
        if each.standing is Standing.EARLY and first_s <= each.event.time_s <= last_s
    ]
    changed: list[KnownEvent] = []
    for kind in EventKind:
        for side in Side:
            mine = [e for e in open_ones if (e.event.kind, e.event.side) == (kind, side)]
            final = [e for e in attempt.events if (e.kind, e.side) == (kind, side)]
            partner = _partners([e.event.time_s for e in mine], [e.time_s for e in final])
            for k, each in enumerate(mine):
                if k not in partner:
                    changed.append(
                        replace(each, standing=Standing.WITHDRAWN, attempt=attempt.number)
                    )
            of_final = {j: mine[k].number for k, j in partner.items()}
            for j, event in enumerate(final):
                # Numbers of added events follow in order of time, below.
                number = of_final.get(j, -1)
                changed.append(KnownEvent(number, event, Standing.FINAL, attempt.number))
    changed.sort(key=lambda each: (each.event.time_s, each.event.side, each.event.kind))
    numbered = []
    for each in changed:
        if each.number < 0:
            each, next_number = replace(each, number=next_number), next_number + 1
        numbered.append(each)
    return tuple(numbered)


def _partners(early_s: Sequence[float], final_s: Sequence[float]) -> dict[int, int]:
    """Pair instants one to one: as many as possible, then as close as possible."""
    if not early_s or not final_s:
        return {}
    apart = np.abs(np.array(early_s)[:, None] - np.array(final_s)[None, :])
    forbidden = SAME_EVENT_S * (min(apart.shape) + 1)
    rows, columns = linear_sum_assignment(np.where(apart <= SAME_EVENT_S, apart, forbidden))
    return {
        int(k): int(j) for k, j in zip(rows, columns, strict=True) if apart[k, j] <= SAME_EVENT_S
    }
