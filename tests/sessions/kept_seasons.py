"""Seasons of invented attempts, kept in a store; figures that are not said are one jump's."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from imujump.model import Analysis, Side, TakeOffStyle
from imujump.sessions.keeping import Gathered
from imujump.sessions.records import NoteKind, Session, Task
from imujump.sessions.store import SessionStore
from tests.analyses import known, one_foot_attempt
from tests.sessions.invented import at, content

BEGIN = datetime(2026, 1, 5, 17, tzinfo=UTC)
SIGMAS = {"height_flight_m": 0.012, "approach_speed_mps": 0.05}


def keep_session(
    store: SessionStore,
    athlete_id: int,
    began: datetime,
    jumps: Sequence[Mapping[str, float]],
    task: Task = Task.ONE_FOOT,
    side: Side = Side.LEFT,
    session: Session | None = None,
    **words: str,
) -> Session:
    """Keep one session with attempts two minutes apart; a jump gives some of its metrics."""
    session = session or store.add_session(athlete_id, began, **words)
    style = TakeOffStyle.TWO_FOOT if task is Task.TWO_FOOT else TakeOffStyle.ONE_FOOT
    plain = replace(one_foot_attempt(), take_off_side=side, take_off_style=style)
    attempts = []
    for k, told in enumerate(jumps):
        figures = {name: known(value, SIGMAS.get(name, 0.01)) for name, value in told.items()}
        own = replace(plain, metrics={**plain.metrics, **figures})
        attempts.append(at(own, k + 1, 30.0 + 120.0 * k))
    name = f"{athlete_id} {session.session_id} {task} {side}"
    gathered = Gathered(
        content(name),
        Path(f"/recordings/{name}.imujump"),
        Analysis(began, 60.0 + 120.0 * len(jumps), (), attempts=tuple(attempts)),
        "1.0",
        task=task,
    )
    store.keep_in_session(session.session_id, gathered)
    return session


def keep_season(
    store: SessionStore,
    name: str,
    *,
    sessions: int = 16,
    each: int = 5,
    step_m: float = 0.0,
    at_session: int = 8,
    cue: str = "",
    seed: int = 1,
    apart: timedelta = timedelta(days=4),
) -> int:
    """Keep a season whose height steps up at a session; return the athlete's id.

    Heights follow approach speed by 4 cm for each m/s. A cue is noted in the middle of every third
    session.
    """
    draw = np.random.default_rng(seed)
    athlete_id = store.add_athlete(name).athlete_id
    for k in range(sessions):
        speeds = draw.normal(5.0, 0.3, each)
        level = 0.50 + draw.normal(0.0, 0.004) + (step_m if k >= at_session else 0.0)
        heights = level + 0.04 * (speeds - 5.0) + draw.normal(0.0, 0.012, each)
        jumps = [
            {"height_flight_m": float(h), "approach_speed_mps": float(s)}
            for h, s in zip(heights, speeds, strict=True)
        ]
        began = BEGIN + k * apart
        session = keep_session(
            store, athlete_id, began, jumps, surface="Sports hall floor", shoe="Indoor shoes"
        )
        if cue and k % 3 == 0:
            noted = began + timedelta(seconds=60 + 120 * (each // 2))
            store.add_note(session.session_id, NoteKind.CUE, cue, noted_utc=noted)
    return athlete_id
