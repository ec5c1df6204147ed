"""Has the athlete changed? One metric through a season, session by session.

The first sessions are set against the latest: weighted means of session means, whose error holds
the athlete's form from day to day as well as the spread of attempts. The spread is taken within
blocks of successive sessions, so that a change itself does not hide in it. A change is told only
if the interval of the difference leaves out 0 at the risk that a look may take
(:mod:`imujump.sessions.looking`) and the difference exceeds both the least detectable change from
the athlete's typical error and what the measurement's own errors could feign.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

import numpy as np

from imujump.model import IntArray
from imujump.sessions.day_to_day import (
    DayToDay,
    SessionLevel,
    day_to_day,
    noise_of_means,
    session_levels,
)
from imujump.sessions.interval import Interval, t_factor, t_quantile
from imujump.sessions.looking import LOOKS_A_YEAR, looks_in_a_year, risk_of_look
from imujump.sessions.readings import SessionReadings
from imujump.sessions.reliability import (
    COVERING_SIGMAS,
    TypicalError,
    least_detectable_change,
    mean_sigma,
    typical_error,
)

LEAST_SIDE, MOST_SIDE = 3, 20
"""Sessions on each side of the comparison: a third of all, within these limits (own choice: two
say nothing about scatter; twenty are ten weeks of two sessions, and more would speak of an athlete
of long ago)."""

RUN = 5
"""Sessions between the two sides tell about scatter in runs of about so many (own choice: a step
spoils only the run that it falls in, and four of five sessions still count)."""

LEAST_SESSIONS = 2 * LEAST_SIDE
POWER = 0.8
"""Chance to find a difference that is there, asked of a plan (common practice, no source)."""

MOST_MORE = 60
"""More sessions than this are not proposed (own choice: over half a year of two a week)."""

CHOSEN_RISK = 0.05
"""Risk of a comparison that somebody chose beforehand and makes once (common practice)."""


class Verdict(StrEnum):
    """What can be said."""

    TOO_FEW = "too_few"
    NO_SPREAD = "no_spread"
    OPEN = "open"
    ALIKE = "alike"
    CHANGED = "changed"


@dataclass(frozen=True, slots=True)
class Period:
    """Sessions that are taken together."""

    begin_utc: datetime
    end_utc: datetime
    sessions: int
    attempts: int
    mean: float


@dataclass(frozen=True, slots=True)
class ConditionChange:
    """A condition that was not the same before and after; the values that it had."""

    name: str
    before: tuple[str, ...]
    after: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """The difference between two periods and what may be said of it.

    Attributes
    ----------
    value : float or None
        Latest minus first.
    interval : Interval or None
        At the level that the decision asks for, which is above 95 % where looks are repeated.
    detectable : float or None
        The smallest difference that this comparison could have told.
    measurement_limit : float or None
        What the measurement's errors alone could feign; None when no sigma is known.
    since_utc, gradual :
        For a change: the first session after the best single step, or that a line fits better.
    more_sessions : int or None
        How many more sessions of the same kind would tell this difference, four times of five;
        None when more than :data:`MOST_MORE` or nothing is to be settled.
    more_attempts : int or None
        The same in attempts.
    conditions : tuple of ConditionChange
        What was not the same before and after.
    """

    verdict: Verdict
    sessions: int
    attempts: int
    first: Period | None = None
    latest: Period | None = None
    value: float | None = None
    interval: Interval | None = None
    detectable: float | None = None
    measurement_limit: float | None = None
    since_utc: datetime | None = None
    gradual: bool = False
    more_sessions: int | None = None
    more_attempts: int | None = None
    conditions: tuple[ConditionChange, ...] = ()


@dataclass(frozen=True, slots=True)
class Trend:
    """A metric over sessions: levels, the athlete's own errors, and whether there is a change.

    ``single_change`` is the least detectable change between two single attempts of a session,
    ``session_change`` that between two sessions of the usual number of attempts.
    """

    levels: tuple[SessionLevel, ...]
    error: TypicalError | None
    between: DayToDay | None
    single_change: float | None
    session_change: float | None
    change: Change


def trend(
    sessions: Sequence[SessionReadings],
    worthwhile: float | None = None,
    questions: int = 1,
) -> Trend:
    """Look at a metric's course after its newest session.

    Parameters
    ----------
    sessions : sequence of SessionReadings
        In order of time, one task; see :func:`imujump.sessions.readings.metric_by_session`.
    worthwhile : float or None
        A change below this is of no interest; with it two periods can be told to be alike.
    questions : int
        How many metrics are followed at once.
    """
    error = typical_error(session.values.tolist() for session in sessions)
    side = _side(len(sessions))
    block = blocks(len(sessions), side)
    between = day_to_day(sessions, error, block)
    usual = round(harmonic_attempts(sessions)) if sessions else 1
    single = None if error is None else least_detectable_change(error.value)
    pair = None
    if error is not None and between is not None:
        pair = least_detectable_change(error.value, usual, usual, between.value)
    if len(sessions) < LEAST_SESSIONS:
        missing = LEAST_SESSIONS - len(sessions)
        change = Change(Verdict.TOO_FEW, len(sessions), _attempts(sessions), more_sessions=missing)
    else:
        year = looks_in_a_year([session.started_utc for session in sessions])
        risk = risk_of_look(_look(len(sessions)), year, questions)
        change = _compare(sessions, block, (0, int(block[-1])), risk, worthwhile, error, between)
        if change.verdict is Verdict.OPEN and change.value:
            form, spread = (0.0 if e is None else e.value for e in (between, error))
            one = math.sqrt(form**2 + spread**2 / harmonic_attempts(sessions))
            more = more_sessions_needed(change.value, one, len(sessions), year, questions)
            attempts = None if more is None else round(more * _attempts(sessions) / len(sessions))
            change = replace(change, more_sessions=more, more_attempts=attempts)
    return Trend(session_levels(sessions, error), error, between, single, pair, change)


def compare_periods(
    sessions: Sequence[SessionReadings],
    first: Collection[int],
    latest: Collection[int],
    worthwhile: float | None = None,
) -> Change:
    """Compare two periods that somebody chose before seeing the numbers.

    Parameters
    ----------
    sessions : sequence of SessionReadings
        All sessions in order of time; those of neither period still tell about scatter.
    first, latest : collection of int
        Session ids of the two periods; a period may be one session.
    worthwhile : float or None
        As in :func:`trend`.

    Raises
    ------
    ValueError
        If a period has no session here, or the two share one.
    """
    ids = [session.session_id for session in sessions]
    for name, chosen in (("first", first), ("latest", latest)):
        if not set(chosen) & set(ids):
            raise ValueError(f"{name} has no session with a value, must have at least one")
    if set(first) & set(latest):
        raise ValueError("first and latest share a session, must have none in common")
    block, other, run = np.zeros(len(ids), dtype=np.int64), 1, 0
    for k, session_id in enumerate(ids):
        if session_id in first or session_id in latest:
            block[k], run = int(session_id in latest), 0
        else:
            other, run = (other + 1, 1) if run % RUN == 0 else (other, run + 1)
            block[k] = other
    error = typical_error(session.values.tolist() for session in sessions)
    between = day_to_day(sessions, error, block)
    return _compare(sessions, block, (0, 1), CHOSEN_RISK, worthwhile, error, between)


def _side(n: int) -> int:
    return min(MOST_SIDE, max(LEAST_SIDE, n // 3))


def blocks(n: int, side: int) -> IntArray:
    """Cut ``n`` sessions into the first, the latest and stretches of like length between.

    >>> blocks(11, 3).tolist()
    [0, 0, 0, 1, 1, 1, 1, 1, 2, 2, 2]
    """
    if n < 2 * side:
        return np.zeros(n, dtype=np.int64)
    middle, parts = n - 2 * side, block_count(n, side) - 2
    inner = [1 + k * parts // middle for k in range(middle)]
    return np.array([0] * side + inner + [parts + 1] * side, dtype=np.int64)


def block_count(n: int, side: int) -> int:
    """How many blocks :func:`blocks` cuts ``n`` sessions into, for ``n`` of at least two sides."""
    middle = n - 2 * side
    return 2 + (max(1, middle // RUN) if middle else 0)


def harmonic_attempts(sessions: Sequence[SessionReadings]) -> float:
    """Harmonic mean of the numbers of attempts: what error of a mean goes by."""
    return len(sessions) / sum(1.0 / session.n for session in sessions)


def _attempts(sessions: Sequence[SessionReadings]) -> int:
    return sum(session.n for session in sessions)


def _compare(
    sessions: Sequence[SessionReadings],
    block: IntArray,
    pair: tuple[int, int],
    risk: float,
    worthwhile: float | None,
    error: TypicalError | None,
    between: DayToDay | None,
) -> Change:
    total = len(sessions), _attempts(sessions)
    sides = [[s for s, b in zip(sessions, block, strict=True) if b == k] for k in pair]
    if between is None:
        return Change(Verdict.TOO_FEW, *total, conditions=condition_changes(*sides))
    variance = between.value**2 + noise_of_means(sessions, error)
    if not variance.max() > 0.0:
        return Change(Verdict.NO_SPREAD, *total, conditions=condition_changes(*sides))
    periods, errors = [], []
    for own, k in zip(sides, pair, strict=True):
        weight = 1.0 / variance[block == k]
        mean = float(np.average([s.mean for s in own], weights=weight))
        periods.append(
            Period(own[0].started_utc, own[-1].started_utc, len(own), _attempts(own), mean)
        )
        errors.append(1.0 / math.sqrt(float(weight.sum())))
    value = periods[1].mean - periods[0].mean
    half = t_factor(between.df, 1.0 - risk) * math.hypot(*errors)
    interval = Interval(value - half, value + half, 1.0 - risk)
    feigned = _measurement_limit(sides, error)
    limits = [half, feigned or 0.0]
    if error is not None:
        limits.append(least_detectable_change(error.value, *(p.attempts for p in periods)))
    told = abs(value) > max(limits)
    verdict = Verdict.CHANGED if told else Verdict.OPEN
    if not told and worthwhile is not None and max(-interval.low, interval.high) < worthwhile:
        verdict = Verdict.ALIKE
    since, gradual = _since(sessions, variance) if told else (None, False)
    return Change(
        verdict,
        *total,
        first=periods[0],
        latest=periods[1],
        value=value,
        interval=interval,
        detectable=max(limits),
        measurement_limit=feigned,
        since_utc=since,
        gradual=gradual,
        conditions=condition_changes(*sides),
    )


def _measurement_limit(
    sides: Sequence[Sequence[SessionReadings]], error: TypicalError | None
) -> float | None:
    """What the measurement's errors feign at most; the mounting is taken to be new each session."""
    spread = None if error is None else error.value
    variance = 0.0
    for own in sides:
        known = [mean_sigma(s.sigma, s.n, spread) for s in own if s.sigma is not None]
        if not known:
            return None
        variance += sum(sigma**2 for sigma in known) / len(known) / len(own)
    return COVERING_SIGMAS * math.sqrt(variance)


def _since(sessions: Sequence[SessionReadings], variance: np.ndarray) -> tuple[datetime, bool]:
    """Find the step that fits best, and whether a line over time fits better still."""
    means = np.array([s.mean for s in sessions])
    root = np.sqrt(1.0 / variance)
    days = np.array([(s.started_utc - sessions[0].started_utc).total_seconds() for s in sessions])

    def misfit(shape: np.ndarray) -> float:
        design = np.column_stack([np.ones(len(means)), shape]) * root[:, None]
        solved = np.linalg.lstsq(design, means * root, rcond=None)[0]
        return float(np.sum((means * root - design @ solved) ** 2))

    splits = range(min(LEAST_SIDE, len(means) - 1), max(2, len(means) - LEAST_SIDE + 1))
    steps = {k: misfit((np.arange(len(means)) >= k).astype(float)) for k in splits}
    best = min(steps, key=lambda k: steps[k])
    gradual = misfit(days / max(days.max(), 1.0)) < steps[best]
    return sessions[0 if gradual else best].started_utc, gradual


def more_sessions_needed(
    value: float,
    session_sd: float,
    n: int,
    looks_a_year: int = LOOKS_A_YEAR,
    questions: int = 1,
) -> int | None:
    """Count the sessions after which a difference would be told, four times of five.

    Parameters
    ----------
    value : float
        Difference between the first and the latest sessions, taken to stay as it is.
    session_sd : float
        Standard deviation of a session's mean, form of the day and attempts together.
    n : int
        Sessions so far.
    looks_a_year, questions : int
        As in :func:`imujump.sessions.looking.risk_of_look`.

    Returns
    -------
    int or None
        None if more than :data:`MOST_MORE`.

    Examples
    --------
    >>> more_sessions_needed(0.04, 0.012, 12)
    6
    """
    for more in range(1, MOST_MORE + 1):
        sessions = n + more
        if sessions < LEAST_SESSIONS:
            continue
        side = _side(sessions)
        df = sessions - block_count(sessions, side)
        risk = risk_of_look(_look(sessions), looks_a_year, questions)
        reach = t_factor(df, 1.0 - risk) + t_quantile(POWER, df)
        if reach * session_sd * math.sqrt(2.0 / side) <= abs(value):
            return more
    return None


def _look(sessions: int) -> int:
    """Which look at the trend it is after so many sessions."""
    return sessions - LEAST_SESSIONS + 1


def condition_changes(
    before: Sequence[SessionReadings], after: Sequence[SessionReadings]
) -> tuple[ConditionChange, ...]:
    """List the conditions that were not one and the same on both sides."""
    found = []
    for name in ("surface", "shoe", "mounting", "sides", "pipelines"):
        had = [_values(name, own) for own in (before, after)]
        if had[0] != had[1] or len(had[0]) > 1:
            found.append(ConditionChange(name, *had))
    return tuple(found)


def _values(name: str, sessions: Sequence[SessionReadings]) -> tuple[str, ...]:
    held: set[str] = set()
    for session in sessions:
        value = getattr(session.conditions, name)
        held |= {value} if isinstance(value, str) else set(value)
    return tuple(sorted(held))
