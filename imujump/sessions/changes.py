"""Two groups of sessions set against each other, and what may be said of their difference.

Weighted means of session means are compared; their error holds the athlete's form from day to day
as well as the spread of attempts. The spread is taken within blocks of successive sessions, so that
a change itself does not hide in it. A change is told only if the interval of the difference leaves
out 0 and the difference exceeds both the least detectable change from the athlete's typical error
and what the measurement's own errors could feign.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np

from imujump.model import FloatArray, IntArray
from imujump.sessions.day_to_day import noise_of_means
from imujump.sessions.interval import Interval, t_factor
from imujump.sessions.readings import SessionReadings
from imujump.sessions.reliability import (
    COVERING_SIGMAS,
    TypicalError,
    least_detectable_change,
    mean_sigma,
)
from imujump.sessions.spread import ROUNDING, spread_between


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
    session_sd : float or None
        Standard deviation of a usual session's mean, form of the day and attempts together.
    since_utc, gradual :
        For a change: the first session after the best single step, or that a line fits better.
    more_sessions : int or None
        How many more sessions of the same kind would tell this difference, four times of five;
        None when more than is reasonable or nothing is to be settled.
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
    session_sd: float | None = None
    since_utc: datetime | None = None
    gradual: bool = False
    more_sessions: int | None = None
    more_attempts: int | None = None
    conditions: tuple[ConditionChange, ...] = ()


def compare_blocks(
    sessions: Sequence[SessionReadings],
    block: IntArray,
    pair: tuple[int, int],
    risk: float,
    worthwhile: float | None,
    error: TypicalError | None,
    least_side: int,
) -> Change:
    """Compare two blocks of sessions; scatter within all blocks tells the error.

    Parameters
    ----------
    sessions : sequence of SessionReadings
        In order of time.
    block : array of int
        The block of each session, counted from 0.
    pair : (int, int)
        The two blocks that are compared.
    risk : float
        Risk of telling a change that is none.
    worthwhile : float or None
        A change below this is of no interest.
    error : TypicalError or None
        Spread within sessions.
    least_side : int
        A step is looked for so many sessions from either end.
    """
    total = len(sessions), attempts_of(sessions)
    sides = [[s for s, b in zip(sessions, block, strict=True) if b == k] for k in pair]
    df = len(sessions) - int(block.max()) - 1
    if df < 1:
        return Change(Verdict.TOO_FEW, *total, conditions=condition_changes(*sides))
    means, noise = np.array([s.mean for s in sessions]), noise_of_means(sessions, error)
    variance = spread_between(means, noise, block, float(df)) ** 2 + noise
    if not variance.max() > (ROUNDING * np.abs(means).max()) ** 2:
        return Change(Verdict.NO_SPREAD, *total, conditions=condition_changes(*sides))
    periods, errors = [], []
    for own, k in zip(sides, pair, strict=True):
        weight = 1.0 / variance[block == k]
        mean = float(np.average(means[block == k], weights=weight))
        periods.append(
            Period(own[0].started_utc, own[-1].started_utc, len(own), attempts_of(own), mean)
        )
        errors.append(1.0 / math.sqrt(float(weight.sum())))
    value = periods[1].mean - periods[0].mean
    half = t_factor(df, 1.0 - risk) * math.hypot(*errors)
    interval = Interval(value - half, value + half, 1.0 - risk)
    feigned = _measurement_limit(sides, error)
    limits = [half, feigned or 0.0]
    if error is not None:
        limits.append(least_detectable_change(error.value, *(p.attempts for p in periods)))
    told = abs(value) > max(limits)
    verdict = Verdict.CHANGED if told else Verdict.OPEN
    if not told and worthwhile is not None and max(-interval.low, interval.high) < worthwhile:
        verdict = Verdict.ALIKE
    since, gradual = _since(sessions, variance, least_side) if told else (None, False)
    return Change(
        verdict,
        *total,
        first=periods[0],
        latest=periods[1],
        value=value,
        interval=interval,
        detectable=max(limits),
        measurement_limit=feigned,
        session_sd=math.sqrt(float(variance.mean())),
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


def _since(
    sessions: Sequence[SessionReadings], variance: FloatArray, least: int
) -> tuple[datetime, bool]:
    """Find the step that fits best, and whether a line over time fits better still."""
    means = np.array([s.mean for s in sessions])
    root = np.sqrt(1.0 / variance)
    days = np.array([(s.started_utc - sessions[0].started_utc).total_seconds() for s in sessions])

    def misfit(shape: FloatArray) -> float:
        design = np.column_stack([np.ones(len(means)), shape]) * root[:, None]
        solved = np.linalg.lstsq(design, means * root, rcond=None)[0]
        return float(np.sum((means * root - design @ solved) ** 2))

    splits = range(min(least, len(means) - 1), max(2, len(means) - least + 1))
    steps = {k: misfit((np.arange(len(means)) >= k).astype(float)) for k in splits}
    best = min(steps, key=lambda k: steps[k])
    gradual = misfit(days / max(days.max(), 1.0)) < steps[best]
    return sessions[0 if gradual else best].started_utc, gradual


def attempts_of(sessions: Sequence[SessionReadings]) -> int:
    """Count the attempts of all sessions."""
    return sum(session.n for session in sessions)


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
