"""Sessions and the lines of their logs in the tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Row,
    and_,
    case,
    delete,
    func,
    insert,
    select,
    update,
)

from imujump.sessions.plain_text import clean_text
from imujump.sessions.records import Note, NoteKind, Session, SessionOverview, Standing, Task
from imujump.sessions.schema import (
    athletes,
    attempts,
    invalid_marks,
    metrics,
    notes,
    recordings,
    results,
    sessions,
)

SAME_TRAINING_S = 3 * 3600.0
"""Recordings no further apart than this are of one session, if nothing said of them differs (own
choice: longer than any rest, shorter than from one training to the next on the same day)."""

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

SHOWN = (
    recordings.join(attempts)
    .join(results, results.c.result_id == attempts.c.result_id)
    .outerjoin(invalid_marks, UNMARKED)
)
"""Attempts with the result that is shown and the mark that stands."""


def by_id(connection: Connection, session_id: int) -> Session | None:
    """Return one, if it is kept."""
    row = connection.execute(select(sessions).where(sessions.c.session_id == session_id)).first()
    return None if row is None else _session(row)


def overviews(
    connection: Connection, athlete_id: int | None, first: int = 0, most: int | None = None
) -> list[SessionOverview]:
    """List sessions, newest first, with their counts; ``most`` from the ``first`` on."""
    query = (
        select(sessions, athletes.c.name)
        .join(athletes)
        .order_by(sessions.c.started_utc.desc(), sessions.c.session_id.desc())
    )
    if athlete_id is not None:
        query = query.where(sessions.c.athlete_id == athlete_id)
    if first or most is not None:
        query = query.offset(first).limit(most)
    rows = connection.execute(query).all()
    counted = (
        select(
            recordings.c.session_id,
            func.count().label("attempts"),
            func.sum(case((COUNTS, 1), else_=0)).label("counted"),
            func.sum(case((recordings.c.standing == Standing.WAITING.value, 1), else_=0)).label(
                "waiting"
            ),
        )
        .select_from(SHOWN)
        .group_by(recordings.c.session_id)
    )
    if most is not None:
        counted = counted.where(recordings.c.session_id.in_([row.session_id for row in rows]))
    elif athlete_id is not None:
        counted = counted.join(sessions).where(sessions.c.athlete_id == athlete_id)
    counts = {row.session_id: row for row in connection.execute(counted)}
    found = []
    for row in rows:
        of = counts.get(row.session_id)
        numbers = (0, 0, 0) if of is None else (of.attempts, int(of.counted), int(of.waiting))
        found.append(SessionOverview(_session(row), row.name, *numbers))
    return found


def number_of_sessions(connection: Connection, athlete_id: int | None) -> int:
    """Count sessions, of one athlete or of all."""
    query = select(func.count()).select_from(sessions)
    if athlete_id is not None:
        query = query.where(sessions.c.athlete_id == athlete_id)
    return int(connection.execute(query).scalar_one())


def counting_values(
    connection: Connection, session_ids: Sequence[int], name: str
) -> dict[int, dict[Task, list[float]]]:
    """Give one metric of the attempts that count, by session and task."""
    rows = connection.execute(
        select(recordings.c.session_id, attempts.c.task, metrics.c.value)
        .select_from(SHOWN.join(metrics, metrics.c.result_id == results.c.result_id))
        .where(
            recordings.c.session_id.in_(session_ids),
            metrics.c.name == name,
            metrics.c.value.is_not(None),
            COUNTS,
        )
        .order_by(attempts.c.taken_utc, attempts.c.attempt_id)
    )
    found: dict[int, dict[Task, list[float]]] = {}
    for session_id, task, value in rows:
        found.setdefault(session_id, {}).setdefault(Task(task), []).append(value)
    return found


def of_athlete(connection: Connection, athlete_id: int) -> list[Session]:
    """List an athlete's sessions, newest first."""
    rows = connection.execute(
        select(sessions)
        .where(sessions.c.athlete_id == athlete_id)
        .order_by(sessions.c.started_utc.desc(), sessions.c.session_id.desc())
    )
    return [_session(row) for row in rows]


def best_attempts(
    connection: Connection, session_ids: Sequence[int], name: str, task: Task
) -> dict[int, tuple[int, float]]:
    """Give each session's attempt of a task with the highest value of those that count."""
    rows = connection.execute(
        select(recordings.c.session_id, attempts.c.attempt_id, metrics.c.value)
        .select_from(SHOWN.join(metrics, metrics.c.result_id == results.c.result_id))
        .where(
            recordings.c.session_id.in_(session_ids),
            metrics.c.name == name,
            metrics.c.value.is_not(None),
            attempts.c.task == task.value,
            COUNTS,
        )
        .order_by(metrics.c.value, attempts.c.attempt_id.desc())
    )
    return {session_id: (attempt_id, value) for session_id, attempt_id, value in rows}


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


def fitting(
    connection: Connection,
    athlete_id: int,
    began_utc: datetime,
    duration_s: float,
    words: Mapping[str, str],
) -> int:
    """Return the session that a recording belongs to; it is made if there is none.

    Parameters
    ----------
    connection : Connection
        Written to.
    athlete_id : int
        Whose session.
    began_utc : datetime
        When the recording began.
    duration_s : float
        Its length.
    words : mapping of str to str
        What is said of the session; what is said of both must agree, except the note.
    """
    told = {name: text for name, text in _words(words).items() if text}
    near = timedelta(seconds=SAME_TRAINING_S)
    first, last = began_utc - near, began_utc + timedelta(seconds=duration_s) + near
    rows = connection.execute(
        select(sessions, recordings.c.started_utc.label("began"), recordings.c.duration_s)
        .join(recordings, isouter=True)
        .where(
            sessions.c.athlete_id == athlete_id,
            # No training lasts longer than this; the index does the rest.
            sessions.c.started_utc.between(first - timedelta(days=1), last + timedelta(days=1)),
        )
        .order_by(sessions.c.started_utc)
    ).all()
    for row in rows:
        start = row.began or row.started_utc
        end = start + timedelta(seconds=row.duration_s or 0.0)
        differs = any(
            name in told and getattr(row, name) and getattr(row, name) != told[name]
            for name in CIRCUMSTANCES
            if name != "note"
        )
        if start <= last and end >= first and not differs:
            _complete(connection, _session(row), told, began_utc)
            return int(row.session_id)
    return add(connection, athlete_id, began_utc, told)


def _complete(
    connection: Connection, session: Session, told: Mapping[str, str], began_utc: datetime
) -> None:
    """Add to a session what a further recording of it tells."""
    facts: dict[str, Any] = {name: text for name, text in told.items() if name != "note"}
    note = told.get("note", "")
    if note and note not in session.note:
        facts["note"] = f"{session.note}\n{note}".strip()
    if began_utc < session.started_utc:
        facts["started_utc"] = began_utc
    if facts:
        change(connection, session.session_id, facts)


def follow(connection: Connection, recording_id: int, old_id: int, new_id: int) -> None:
    """Let notes follow a recording that moved to another session; remove an empty session."""
    moved = select(attempts.c.attempt_id).where(attempts.c.recording_id == recording_id)
    connection.execute(update(notes).where(notes.c.attempt_id.in_(moved)).values(session_id=new_id))
    left = connection.execute(
        select(func.count()).select_from(recordings).where(recordings.c.session_id == old_id)
    ).scalar_one()
    if not left and old_id != new_id:
        connection.execute(
            update(notes).where(notes.c.session_id == old_id).values(session_id=new_id)
        )
        connection.execute(delete(sessions).where(sessions.c.session_id == old_id))


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
    return _notes_by(connection, notes.c.session_id == session_id)


def notes_of(connection: Connection, athlete_id: int, since: datetime | None) -> list[Note]:
    """List the notes of all of an athlete's sessions, or of those that began since."""
    whose = sessions.c.athlete_id == athlete_id
    if since is not None:
        whose &= sessions.c.started_utc >= since
    return _notes_by(connection, notes.c.session_id.in_(select(sessions.c.session_id).where(whose)))


def _notes_by(connection: Connection, condition: ColumnElement[bool]) -> list[Note]:
    rows = connection.execute(
        select(notes)
        .where(condition, notes.c.withdrawn_utc.is_(None))
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
