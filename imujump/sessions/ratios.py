"""Comparisons as a ratio: gain of the approach, use of the counter-movement, side difference.

Ratios are compared as differences of logarithms, so that their interval cannot reach below 0 and
does not depend on which of the two stands above.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imujump.sessions.interval import Interval
from imujump.sessions.paired import Difference, paired_difference
from imujump.sessions.readings import SessionReadings


@dataclass(frozen=True, slots=True)
class Ratio:
    """Second over first, with the difference in the metric's own unit beside it."""

    value: float
    interval: Interval | None
    difference: Difference

    @property
    def told(self) -> bool:
        """Whether the interval leaves out 1, that is, no difference."""
        return self.interval is not None and not self.interval.holds(1.0)


def same_day(
    first: Sequence[SessionReadings], second: Sequence[SessionReadings]
) -> list[tuple[list[float], list[float]]]:
    """Pair two kinds of attempts by session."""
    by_id = {session.session_id: session for session in second}
    return [
        (own.values.tolist(), by_id[own.session_id].values.tolist())
        for own in first
        if own.session_id in by_id
    ]


def ratio_of(first: Sequence[SessionReadings], second: Sequence[SessionReadings]) -> Ratio | None:
    """Compare two kinds of attempts of the same sessions as second over first.

    Returns
    -------
    Ratio or None
        None when no session has both, or a value is 0 or below.
    """
    pairs = same_day(first, second)
    if not pairs or min(min(*a, *b) for a, b in pairs) <= 0.0:
        return None
    logs = [(np.log(a).tolist(), np.log(b).tolist()) for a, b in pairs]
    found = paired_difference(logs)
    if found.value is None:
        return None
    limits = None
    if found.interval is not None:
        low, high = math.exp(found.interval.low), math.exp(found.interval.high)
        limits = Interval(low, high, found.interval.level)
    return Ratio(math.exp(found.value), limits, paired_difference(pairs))


def gain_percent(ratio: float) -> float:
    """Give a ratio as a gain, 100·(second − first)/first.

    >>> round(gain_percent(0.38 / 0.33), 1)
    15.2
    """
    return 100.0 * (ratio - 1.0)


@dataclass(frozen=True, slots=True)
class Asymmetry:
    """Left against right in three usual forms, with their intervals.

    Reviewed by Bishop, 2016 (10.1519/SSC.0000000000000264). ``of_larger`` is 100·(L−R)/max(L, R),
    ``of_mean`` 200·(L−R)/(L+R), ``angle`` [45° − atan(L/R)]/90°·100, which has the other sign.
    They are one comparison: each follows from L/R alone, and so do the limits.
    """

    ratio: Ratio
    of_larger: float
    of_larger_interval: Interval | None
    of_mean: float
    of_mean_interval: Interval | None
    angle: float
    angle_interval: Interval | None


def of_larger_percent(left_over_right: float) -> float:
    """100·(L−R)/max(L, R).

    >>> round(of_larger_percent(0.40 / 0.36), 2)
    10.0
    """
    r = left_over_right
    return 100.0 * (r - 1.0) / max(r, 1.0)


def of_mean_percent(left_over_right: float) -> float:
    """200·(L−R)/(L+R).

    >>> round(of_mean_percent(0.40 / 0.36), 2)
    10.53
    """
    return 200.0 * (left_over_right - 1.0) / (left_over_right + 1.0)


def angle_percent(left_over_right: float) -> float:
    """[45° − atan(L/R)]/90°·100; negative when the left is larger.

    >>> round(angle_percent(0.40 / 0.36), 2)
    -3.35
    """
    return (45.0 - math.degrees(math.atan(left_over_right))) / 90.0 * 100.0


def asymmetry(
    left: Sequence[SessionReadings], right: Sequence[SessionReadings]
) -> Asymmetry | None:
    """Compare take-offs from the left and from the right foot of the same sessions.

    Returns
    -------
    Asymmetry or None
        As :func:`ratio_of`. No threshold is set: "15 %" lacks prospective support (Bishop, 2018,
        10.1519/SSC.0000000000000371).
    """
    found = ratio_of(right, left)
    if found is None:
        return None
    limits = found.interval
    told: list[float | Interval | None] = []
    for form in (of_larger_percent, of_mean_percent, angle_percent):
        told.append(form(found.value))
        if limits is None:
            told.append(None)
        else:
            low, high = sorted((form(limits.low), form(limits.high)))
            told.append(Interval(low, high, limits.level))
    return Asymmetry(found, *told)  # type: ignore[arg-type]
