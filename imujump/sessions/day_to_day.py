"""Session means and how far the athlete's level moves from session to session.

The variance of a session's mean is that of the athlete's form on the day plus typical error²
over the number of attempts. The interval of the former comes from inverting its weighted sum of
squares (W. Viechtbauer, Stat. Med. 26:37-52, 2007; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from imujump.model import FloatArray, IntArray
from imujump.sessions.interval import LEVEL, Interval, chi2_quantile, t_factor
from imujump.sessions.readings import SessionReadings
from imujump.sessions.reliability import COVERING_SIGMAS, TypicalError, mean_sigma
from imujump.sessions.spread import spread_between

BORROWED_DF = 10
"""Degrees of freedom with which the spread of all sessions enters that of one session (own
choice: a session of five attempts keeps two sevenths of its own say)."""


@dataclass(frozen=True, slots=True)
class SessionLevel:
    """Mean and best of a session's counting attempts.

    ``interval`` holds the level of the day, by spread and measurement together; None for a single
    attempt of an athlete without repeats. ``best`` is the largest value.
    """

    session_id: int
    started_utc: datetime
    mean: float
    best: float
    n: int
    interval: Interval | None
    measurement_sigma: float | None


@dataclass(frozen=True, slots=True)
class DayToDay:
    """Standard deviation of the athlete's level from session to session, form and mounting.

    ``value`` is 0 where the means scatter no more than the attempts within sessions explain.
    """

    value: float
    interval: Interval
    df: int
    n: int


def session_levels(
    sessions: Sequence[SessionReadings], error: TypicalError | None
) -> tuple[SessionLevel, ...]:
    """Give every session's mean with its interval.

    A session's own spread is drawn towards the typical error of all: few attempts tell little
    about spread, and two that happen to be alike would pretend to be exact.
    """
    return tuple(_level(session, error) for session in sessions)


def _level(session: SessionReadings, error: TypicalError | None) -> SessionLevel:
    values, n = session.values, session.n
    own_df = n - 1
    own = float(values.var(ddof=1)) if own_df else 0.0
    told = (
        None
        if session.sigma is None
        else mean_sigma(session.sigma, n, None if error is None else error.value)
    )
    interval = None
    if error is not None:
        borrowed = min(BORROWED_DF, error.df)
        df = borrowed + own_df
        spread = math.sqrt((borrowed * error.value**2 + own_df * own) / df)
        half = t_factor(df) * spread / math.sqrt(n)
        if session.sigma is not None:
            # The part that attempts share is not in their spread; the rest already is.
            half = math.hypot(half, COVERING_SIGMAS * mean_sigma(session.sigma, 10**9, error.value))
        interval = Interval(session.mean - half, session.mean + half)
    return SessionLevel(
        session.session_id,
        session.started_utc,
        session.mean,
        float(values.max()),
        n,
        interval,
        told,
    )


def day_to_day(
    sessions: Sequence[SessionReadings], error: TypicalError | None, block: IntArray
) -> DayToDay | None:
    """Find the spread of the athlete's level about the mean of each block of sessions.

    Parameters
    ----------
    sessions : sequence of SessionReadings
        All sessions.
    error : TypicalError or None
        Spread within sessions; without it all scatter of means counts as day to day.
    block : array of int
        The block of each session, counted from 0; only differences within blocks tell, so that
        a change between blocks does not pass for scatter.

    Returns
    -------
    DayToDay or None
        None when no block has two sessions.
    """
    if not len(block):
        return None
    df = len(sessions) - int(block.max()) - 1
    if df < 1:
        return None
    means = np.array([session.mean for session in sessions])
    noise = noise_of_means(sessions, error)
    low, middle, high = (
        spread_between(means, noise, block, target)
        for target in (
            chi2_quantile(0.5 + LEVEL / 2.0, df),
            float(df),
            chi2_quantile(0.5 - LEVEL / 2.0, df),
        )
    )
    return DayToDay(middle, Interval(low, high), df, len(sessions))


def noise_of_means(sessions: Sequence[SessionReadings], error: TypicalError | None) -> FloatArray:
    """Variance of each session's mean that its attempts' spread explains."""
    spread = 0.0 if error is None else error.value
    return np.array([spread**2 / session.n for session in sessions])
