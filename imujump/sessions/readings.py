"""From stored attempts to one metric session by session, with what it was measured under."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import pandas as pd

from imujump.model import Side
from imujump.sessions.records import Session, StoredAttempt, Task


@dataclass(frozen=True, slots=True)
class Reading:
    """One metric of one counting attempt; ``sigma`` is the measurement's, None if not known."""

    value: float
    sigma: float | None
    attempt_id: int = 0
    taken_utc: datetime | None = None


@dataclass(frozen=True, slots=True)
class Conditions:
    """What must be alike for sessions to be compared; an empty text or set is not known.

    ``sides`` are the take-off feet of one-foot jumps.
    """

    surface: str = ""
    shoe: str = ""
    mounting: str = ""
    sides: frozenset[str] = frozenset()
    pipelines: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class SessionReadings:
    """One metric through one session, in order."""

    session_id: int
    started_utc: datetime
    readings: tuple[Reading, ...]
    conditions: Conditions = field(default_factory=Conditions)

    @property
    def values(self) -> np.ndarray:
        """The values, in order."""
        return np.array([reading.value for reading in self.readings])

    @property
    def n(self) -> int:
        """How many attempts there are."""
        return len(self.readings)

    @property
    def mean(self) -> float:
        """Mean of the attempts."""
        return math.fsum(reading.value for reading in self.readings) / len(self.readings)

    @property
    def sigma(self) -> float | None:
        """Root mean square of the measurement's sigmas; None if none is known."""
        known = [r.sigma for r in self.readings if r.sigma is not None and math.isfinite(r.sigma)]
        return math.sqrt(sum(s * s for s in known) / len(known)) if known else None


@dataclass(frozen=True, slots=True)
class Filter:
    """Which attempts to take. The task must be said; None elsewhere takes all.

    ``side`` is the take-off foot (two-foot: the foot that plants first).
    """

    task: Task
    side: Side | None = None
    surface: str | None = None
    shoe: str | None = None
    mounting: str | None = None
    since: datetime | None = None
    until: datetime | None = None

    def takes_session(self, session: Session) -> bool:
        """Whether the session's conditions are those asked for."""
        return (
            self.surface in (None, session.surface)
            and self.shoe in (None, session.shoe)
            and self.mounting in (None, session.mounting)
            and self.takes_time(session.started_utc)
        )

    def takes_time(self, instant: datetime) -> bool:
        """Whether a session that began then is asked for."""
        return (self.since is None or instant >= self.since) and (
            self.until is None or instant < self.until
        )

    def takes_attempt(self, attempt: StoredAttempt) -> bool:
        """Whether the attempt counts and is of the task and foot asked for."""
        return attempt.counts and attempt.task is self.task and self.side in (None, attempt.side)


def metric_by_session(
    attempts: Iterable[StoredAttempt], sessions: Iterable[Session], metric: str, wanted: Filter
) -> tuple[SessionReadings, ...]:
    """Gather one metric of one athlete's counting attempts, session by session, oldest first.

    Attempts without a finite value of the metric are left out, and sessions without such an
    attempt.

    Raises
    ------
    ValueError
        If attempts of more than one athlete are given.
    """
    held = list(attempts)
    athletes = {attempt.athlete_id for attempt in held}
    if len(athletes) > 1:
        raise ValueError(f"attempts are of {len(athletes)} athletes, must be of one")
    taken: dict[int, list[StoredAttempt]] = {}
    for attempt in held:
        if wanted.takes_attempt(attempt) and _reading(attempt, metric) is not None:
            taken.setdefault(attempt.session_id, []).append(attempt)
    found = []
    for session in sessions:
        own = taken.get(session.session_id)
        if own and wanted.takes_session(session):
            own.sort(key=lambda a: (a.taken_utc, a.attempt_id))
            found.append(
                SessionReadings(
                    session.session_id,
                    session.started_utc,
                    tuple(r for a in own if (r := _reading(a, metric)) is not None),
                    _conditions(session, own),
                )
            )
    return tuple(sorted(found, key=lambda s: (s.started_utc, s.session_id)))


def metric_from_table(
    table: pd.DataFrame, metric: str, wanted: Filter
) -> tuple[SessionReadings, ...]:
    """Gather the same from a table of attempts and metrics.

    Parameters
    ----------
    table : DataFrame
        One row for each attempt and metric of one athlete, with the columns of
        :data:`imujump.sessions.series.COLUMNS`. A session begins with its first attempt in it.

    Raises
    ------
    ValueError
        If attempts of more than one athlete are given.
    """
    if table["athlete_id"].nunique() > 1:
        raise ValueError(f"table is of {table['athlete_id'].nunique()} athletes, must be of one")
    rows = table[
        (table["metric"] == metric)
        & table["counts"]
        & (table["task"] == str(wanted.task))
        & np.isfinite(table["value"])
    ]
    for column in ("side", "surface", "shoe", "mounting"):
        asked = getattr(wanted, column)
        if asked is not None:
            rows = rows[rows[column] == str(asked)]
    rows = rows.sort_values(["taken_utc", "attempt_id"], kind="stable")
    # Plain lists: a table's own ways of going through groups take longer than all the rest.
    columns = {name: rows[name].tolist() for name in _READ}
    taken = rows["taken_utc"].dt.to_pydatetime().tolist()
    by_session: dict[int, list[int]] = {}
    for place, session_id in enumerate(columns["session_id"]):
        by_session.setdefault(session_id, []).append(place)
    one_foot = wanted.task is Task.ONE_FOOT
    found = []
    for session_id, places in by_session.items():
        begin, first = taken[places[0]], places[0]
        if not wanted.takes_time(begin):
            continue
        readings = []
        for k in places:
            sigma = columns["sigma"][k]
            known = sigma is not None and math.isfinite(sigma)
            readings.append(
                Reading(
                    columns["value"][k],
                    sigma if known else None,
                    columns["attempt_id"][k],
                    taken[k],
                )
            )
        sides = {columns["side"][k] for k in places} if one_foot else set()
        found.append(
            SessionReadings(
                session_id,
                begin,
                tuple(readings),
                Conditions(
                    str(columns["surface"][first]),
                    str(columns["shoe"][first]),
                    str(columns["mounting"][first]),
                    frozenset(str(side) for side in sides if isinstance(side, str)),
                    frozenset(str(columns["pipeline_version"][k]) for k in places),
                ),
            )
        )
    return tuple(sorted(found, key=lambda s: (s.started_utc, s.session_id)))


_READ = (
    *("session_id", "attempt_id", "value", "sigma"),
    *("side", "surface", "shoe", "mounting", "pipeline_version"),
)


def finite_value(attempt: StoredAttempt, metric: str) -> float | None:
    """Give an attempt's value of a metric; None if it was not measured."""
    estimate = attempt.metrics.get(metric)
    if estimate is None or estimate.value is None or not math.isfinite(estimate.value):
        return None
    return estimate.value


def _reading(attempt: StoredAttempt, metric: str) -> Reading | None:
    value = finite_value(attempt, metric)
    if value is None:
        return None
    return Reading(value, attempt.metrics[metric].sigma, attempt.attempt_id, attempt.taken_utc)


def _conditions(session: Session, attempts: Sequence[StoredAttempt]) -> Conditions:
    return Conditions(
        session.surface,
        session.shoe,
        session.mounting,
        frozenset(str(a.side) for a in attempts if a.side is not None and a.task is Task.ONE_FOOT),
        frozenset(a.pipeline_version for a in attempts),
    )
