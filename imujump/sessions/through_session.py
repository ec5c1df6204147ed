"""One session by itself: best and mean, what changed from first to last, how landings came down."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from imujump.model import Estimate, EventKind, Side
from imujump.sessions.interval import Interval, around
from imujump.sessions.records import StoredAttempt

LEAST_FOR_COURSE = 5
"""From fewer attempts no course is told (own choice: three degrees of freedom)."""

LANDING_BEFORE_S, LANDING_AFTER_S = 0.05, 0.6
"""Strikes this near to the landing belong to it (own choice: events are unsure by some hundredths
of a second, and a step out of the landing comes later)."""

TOGETHER_SIGMAS = 1.96
"""Feet whose strikes are no further apart than this many standard deviations landed together, as
far as can be told."""


LANDED_TOGETHER_S = 0.03
"""Shank peaks left and right are compared only where both feet strike no further apart (own choice:
a foot's first impact lasts some hundredths of a second; a foot that is down earlier takes it alone,
so that its higher peak tells which foot came first, and nothing of balance)."""


@dataclass(frozen=True, slots=True)
class Level:
    """Best and mean of one metric; ``interval`` is the mean's, ``None`` for one value."""

    n: int
    best: float
    mean: float
    interval: Interval | None


@dataclass(frozen=True, slots=True)
class Course:
    """Change of a metric from the first attempt to the last, along a line, with its interval."""

    n: int
    change: float
    interval: Interval

    @property
    def is_sure(self) -> bool:
        """Whether the interval leaves out no change."""
        return not self.interval.holds(0.0)


@dataclass(frozen=True, slots=True)
class Landings:
    """Landings by the foot that came down first, and the shank peaks, left minus right.

    ``difference`` is the mean over the ``pairs`` landings with both peaks and both feet down within
    :data:`LANDED_TOGETHER_S`, as a share of the mean of both sides; ``interval`` is its interval.
    Both are ``None`` where too few were measured.
    """

    left_first: int
    right_first: int
    together: int
    pairs: int
    difference: float | None
    interval: Interval | None

    @property
    def seen(self) -> int:
        """Landings of both feet that were seen."""
        return self.left_first + self.right_first + self.together


def level(values: Sequence[float]) -> Level | None:
    """Give best and mean; ``None`` without values.

    >>> found = level([0.40, 0.42, 0.44])
    >>> found.best, round(found.mean, 3), round(found.interval.half, 3)
    (0.44, 0.42, 0.05)
    """
    n = len(values)
    if not n:
        return None
    mean = math.fsum(values) / n
    interval = None
    if n > 1:
        interval = around(mean, float(np.std(values, ddof=1)) / math.sqrt(n), n - 1)
    return Level(n, max(values), mean, interval)


def course(values: Sequence[float]) -> Course | None:
    """Say how much a metric changed through a session.

    A line is laid through the values in their order; its rise from the first to the last is told.
    ``None`` for fewer than five.

    >>> found = course([0.42, 0.41, 0.41, 0.40, 0.39, 0.38])
    >>> round(found.change, 3), found.is_sure
    (-0.039, True)
    """
    n = len(values)
    if n < LEAST_FOR_COURSE:
        return None
    line = stats.linregress(np.arange(n), np.asarray(values))
    span = n - 1
    change, error = span * float(line.slope), span * float(line.stderr)
    return Course(n, change, around(change, error, n - 2))


def landings(attempts: Iterable[StoredAttempt]) -> Landings:
    """Sum up the landings of attempts."""
    firsts: list[Side | None] = []
    shares = []
    for attempt in attempts:
        strikes = _strikes(attempt)
        if len(strikes) < 2:
            continue
        firsts.append(_first(strikes))
        (left_s, _), (right_s, _) = strikes[Side.LEFT], strikes[Side.RIGHT]
        if abs(left_s - right_s) > LANDED_TOGETHER_S:
            continue
        peaks = [attempt.metrics.get(f"landing_peak_{side}_mps2") for side in Side]
        left, right = (None if peak is None else peak.value for peak in peaks)
        if left is not None and right is not None and left + right > 0.0:
            shares.append(2.0 * (left - right) / (left + right))
    found = level(shares)
    return Landings(
        firsts.count(Side.LEFT),
        firsts.count(Side.RIGHT),
        firsts.count(None),
        len(shares),
        None if found is None or found.interval is None else found.mean,
        None if found is None else found.interval,
    )


def _strikes(attempt: StoredAttempt) -> dict[Side, tuple[float, float]]:
    """First strike of each foot at landing: instant and sigma."""
    low_s = attempt.landing_s - LANDING_BEFORE_S
    high_s = attempt.landing_s + LANDING_AFTER_S
    found: dict[Side, tuple[float, float]] = {}
    for event in sorted(attempt.events, key=lambda e: e.time_s):
        if event.kind is EventKind.FOOT_STRIKE and low_s <= event.time_s <= high_s:
            found.setdefault(event.side, (event.time_s, event.sigma_s))
    return found


def _first(strikes: dict[Side, tuple[float, float]]) -> Side | None:
    (left_s, left_sigma), (right_s, right_sigma) = strikes[Side.LEFT], strikes[Side.RIGHT]
    unsure_s = TOGETHER_SIGMAS * math.hypot(left_sigma, right_sigma)
    if math.isfinite(unsure_s) and abs(left_s - right_s) <= unsure_s:
        return None
    return Side.LEFT if left_s < right_s else Side.RIGHT


@dataclass(frozen=True, slots=True)
class Apart:
    """How far one attempt's figure lies above another's; the interval is the measurement's."""

    difference: float
    interval: Interval | None

    @property
    def is_sure(self) -> bool:
        """Whether the measurement's error alone does not make such a difference."""
        return self.interval is not None and not self.interval.holds(0.0)


def apart(one: Estimate, other: Estimate) -> Apart | None:
    """Compare two figures; ``None`` when one is missing.

    >>> apart(Estimate(0.42, 0.01, None, ""), Estimate(0.40, 0.01, None, "")).is_sure
    False
    """
    if one.value is None or other.value is None:
        return None
    difference = one.value - other.value
    if one.sigma is None or other.sigma is None:
        return Apart(difference, None)
    error = math.hypot(one.sigma, other.sigma)
    return Apart(difference, around(difference, error, math.inf))
