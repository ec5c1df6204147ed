"""Sessions and the lines of their logs in the tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, and_, case, func, insert, select, update

from imujump.sessions.plain_text import clean_text
from imujump.sessions.records import Note, NoteKind, Session, SessionOverview, Standing
from imujump.sessions.schema import (
    athletes,
    attempts,
    invalid_marks,
    notes,
    recordings,
    results,
    sessions,
)

CIRCUMSTANCES = ("surface", "shoe", "place", "mounting", "note")
"""What is said of a session in words."""

UNMARKED = and_(
    invalid_marks.c.attempt_id == attempts.c.attempt_id, invalid_marks.c.withdrawn_utc.is_(None)
)
"""Joins the mark that stands, if there is one."""

COUNTS = and_(
    results.c.valid,
    invalid_marks.c.mark_id.is_(None),
    recordings.c.standing == Standing.COUNTED.value,
)
"""Whether an attempt counts, as :attr:`StoredAttempt.counts` says."""


def by_id(connection: Connection, session_id: int) -> Session | None:
    """Return one, if it is kept."""
    row = connection.execute(select(sessions).where(sessions.c.session_id == session_id)).first()
    return None if row is None else _session(row)


def overviews(connection: Connection, athlete_id: int | None) -> list[SessionOverview]:
    """List sessions, newest first, with their counts."""
    counted = (
        select(
            recordings.c.session_id,
            func.count().label("attempts"),
            func.sum(case((COUNTS, 1), else_=0)).label("counted"),
            func.sum(case((recordings.c.standing == Standing.WAITING.value, 1), else_=0)).label(
                "waiting"
            ),
        )
        .select_from(
            recordings.join(attempts)
            .join(results, results.c.result_id == attempts.c.result_id)
            .outerjoin(invalid_marks, UNMARKED)
        )
        .group_by(recordings.c.session_id)
    )
    query = (
        select(sessions, athletes.c.name)
        .join(athletes)
        .order_by(sessions.c.started_utc.desc(), sessions.c.session_id.desc())
    )
    if athlete_id is not None:
        counted = counted.join(sessions).where(sessions.c.athlete_id == athlete_id)
        query = query.where(sessions.c.athlete_id == athlete_id)
    counts = {row.session_id: row for row in connection.execute(counted)}
    found = []
    for row in connection.execute(query):
        of = counts.get(row.session_id)
        numbers = (0, 0, 0) if of is None else (of.attempts, int(of.counted), int(of.waiting))
        found.append(SessionOverview(_session(row), row.name, *numbers))
    return found


def add(
    connection: Connection, athlete_id: int, started_utc: datetime, words: Mapping[str, str]
) -> int:
    """Add one and return its id."""
    columns = {name: "" for name in CIRCUMSTANCES} | _words(words)
    inserted = connection.execute(
        insert(sessions).values(athlete_id=athlete_id, started_utc=started_utc, **columns)
    )
    assert inserted.inserted_primary_key is not None
    return int(inserted.inserted_primary_key[0])


def change(connection: Connection, session_id: int, facts: Mapping[str, Any]) -> bool:
    """Change what is said of it; tells whether there is such a session."""
    moment = {"started_utc": facts["started_utc"]} if "started_utc" in facts else {}
    words = _words({name: text for name, text in facts.items() if name != "started_utc"})
    changed = connection.execute(
        update(sessions).where(sessions.c.session_id == session_id).values(**words, **moment)
    )
    return changed.rowcount > 0


def _words(words: Mapping[str, str]) -> dict[str, str]:
    unknown = set(words) - set(CIRCUMSTANCES)
    if unknown:
        raise ValueError(f"{', '.join(sorted(unknown))}: a session has no such fact")
    return {name: clean_text(text) for name, text in words.items()}


def all_notes(connection: Connection, session_id: int) -> list[Note]:
    """List a session's notes in the order of their times; what was taken back is left out."""
    rows = connection.execute(
        select(notes)
        .where(notes.c.session_id == session_id, notes.c.withdrawn_utc.is_(None))
        .order_by(notes.c.noted_utc, notes.c.note_id)
    )
    return [
        Note(
            row.note_id,
            row.session_id,
            row.attempt_id,
            row.noted_utc,
            NoteKind(row.kind),
            row.text,
        )
        for row in rows
    ]


def add_notes(connection: Connection, lines: Sequence[Mapping[str, Any]]) -> list[int]:
    """Add notes and return their ids."""
    ids = []
    for line in lines:
        told = {**line, "kind": str(NoteKind(line["kind"])), "text": clean_text(line["text"])}
        inserted = connection.execute(insert(notes).values(**told))
        assert inserted.inserted_primary_key is not None
        ids.append(int(inserted.inserted_primary_key[0]))
    return ids


def withdraw_note(connection: Connection, note_id: int, at: datetime | None) -> bool:
    """Take a note back, or let it stand again with ``None``; tells whether there is one."""
    changed = connection.execute(
        update(notes).where(notes.c.note_id == note_id).values(withdrawn_utc=at)
    )
    return changed.rowcount > 0


def _session(row: Row[Any]) -> Session:
    return Session(
        row.session_id,
        row.athlete_id,
        row.started_utc,
        row.surface,
        row.shoe,
        row.place,
        row.mounting,
        row.note,
    )
