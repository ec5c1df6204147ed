"""Has the athlete changed? One metric through a season, session by session.

The first sessions are set against the latest, at the risk that a look may take
(:mod:`imujump.sessions.looking`); see :mod:`imujump.sessions.changes` for what it takes to tell.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from imujump.model import IntArray
from imujump.sessions.changes import Change, Verdict, attempts_of, compare_blocks
from imujump.sessions.day_to_day import DayToDay, SessionLevel, day_to_day, session_levels
from imujump.sessions.interval import t_factor, t_quantile
from imujump.sessions.looking import LOOKS_A_YEAR, looks_in_a_year, risk_of_look
from imujump.sessions.readings import SessionReadings
from imujump.sessions.reliability import TypicalError, least_detectable_change, typical_error

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
    block = blocks(len(sessions), _side(len(sessions)))
    between = day_to_day(sessions, error, block)
    usual = round(harmonic_attempts(sessions)) if sessions else 1
    single = None if error is None else least_detectable_change(error.value)
    pair = None
    if error is not None and between is not None:
        pair = least_detectable_change(error.value, usual, usual, between.value)
    change = change_so_far(sessions, worthwhile, questions)
    return Trend(session_levels(sessions, error), error, between, single, pair, change)


def change_so_far(
    sessions: Sequence[SessionReadings],
    worthwhile: float | None = None,
    questions: int = 1,
) -> Change:
    """Set the latest sessions against the first; arguments as in :func:`trend`."""
    n = len(sessions)
    if n < LEAST_SESSIONS:
        missing = LEAST_SESSIONS - n
        return Change(Verdict.TOO_FEW, n, attempts_of(sessions), more_sessions=missing)
    error = typical_error(session.values.tolist() for session in sessions)
    block = blocks(n, _side(n))
    year = looks_in_a_year([session.started_utc for session in sessions])
    risk = risk_of_look(_look(n), year, questions)
    pair = 0, int(block[-1])
    change = compare_blocks(sessions, block, pair, risk, worthwhile, error, LEAST_SIDE)
    if change.verdict is not Verdict.OPEN or not change.value or change.session_sd is None:
        return change
    more = more_sessions_needed(change.value, change.session_sd, n, year, questions)
    attempts = None if more is None else round(more * attempts_of(sessions) / n)
    return replace(change, more_sessions=more, more_attempts=attempts)


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
    return compare_blocks(sessions, block, (0, 1), CHOSEN_RISK, worthwhile, error, LEAST_SIDE)


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
