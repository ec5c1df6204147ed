"""Invented analyses for tests of the store."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

from imujump.model import Analysis, Attempt
from imujump.sessions.keeping import Gathered
from imujump.sessions.records import Kept, Session, Standing, Task
from imujump.sessions.store import SessionStore
from tests.analyses import known, one_foot_attempt, run_through, two_foot_attempt

STARTED = datetime(2026, 3, 3, 17, 0, tzinfo=UTC)


def at(attempt: Attempt, number: int, toe_off_s: float) -> Attempt:
    """Move an attempt in time."""
    by_s = toe_off_s - attempt.toe_off_s
    return replace(
        attempt,
        number=number,
        start_s=attempt.start_s + by_s,
        end_s=attempt.end_s + by_s,
        toe_off_s=toe_off_s,
        landing_s=attempt.landing_s + by_s,
    )


def three_jumps() -> Analysis:
    """One-foot, two-foot with a gap, and one that is not valid."""
    return Analysis(
        STARTED,
        120.0,
        (),
        attempts=(
            at(one_foot_attempt(), 1, 20.0),
            at(two_foot_attempt(), 2, 50.0),
            at(run_through(), 3, 80.0),
        ),
    )


def with_metric(analysis: Analysis, number: int, name: str, value: float, sigma: float) -> Analysis:
    """Change one figure of one attempt."""
    return replace(
        analysis,
        attempts=tuple(
            replace(a, metrics={**a.metrics, name: known(value, sigma)})
            if a.number == number
            else a
            for a in analysis.attempts
        ),
    )


def content(name: str) -> str:
    return sha256(name.encode()).hexdigest()


def keep(
    store: SessionStore,
    session: Session,
    name: str = "a",
    analysis: Analysis | None = None,
    version: str = "1.0",
    task: Task | None = None,
    standing: Standing = Standing.COUNTED,
) -> Kept:
    """Keep an analysis under an invented file's name."""
    gathered = Gathered(
        content(name),
        Path(f"/recordings/{name}.imujump"),
        analysis or three_jumps(),
        version,
        task=task,
        standing=standing,
    )
    return store.keep_in_session(session.session_id, gathered)


def a_session(store: SessionStore, name: str = "Ada Bell", **words: str) -> Session:
    """Add an athlete, if need be, and a session."""
    athlete = store.find_athlete(name) or store.add_athlete(name)
    return store.add_session(athlete.athlete_id, STARTED, **words)
