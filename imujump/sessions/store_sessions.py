"""The part of the store that keeps sessions and what was noted in them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from imujump.sessions import sessions_kept
from imujump.sessions.access import StoreAccess
from imujump.sessions.records import Note, NoteKind, Session, SessionOverview, Task


class SessionNotes(StoreAccess):
    """Sessions and notes."""

    def sessions(
        self, athlete_id: int | None = None, first: int = 0, most: int | None = None
    ) -> list[SessionOverview]:
        """List sessions with their counts, newest first; ``most`` from the ``first`` on."""
        with self._read() as connection:
            return sessions_kept.overviews(connection, athlete_id, first, most)

    def number_of_sessions(self, athlete_id: int | None = None) -> int:
        """Count sessions, of one athlete or of all."""
        with self._read() as connection:
            return sessions_kept.number_of_sessions(connection, athlete_id)

    def counting_values(
        self, session_ids: Sequence[int], name: str
    ) -> dict[int, dict[Task, list[float]]]:
        """Give one metric of the attempts that count, by session and task, in order."""
        with self._read() as connection:
            return sessions_kept.counting_values(connection, session_ids, name)

    def sessions_of(self, athlete_id: int) -> list[Session]:
        """List an athlete's sessions, newest first, without their counts."""
        with self._read() as connection:
            return sessions_kept.of_athlete(connection, athlete_id)

    def best_attempts(
        self, session_ids: Sequence[int], name: str, task: Task
    ) -> dict[int, tuple[int, float]]:
        """Give each session's attempt with the highest value of those that count: id and value."""
        with self._read() as connection:
            return sessions_kept.best_attempts(connection, session_ids, name, task)

    def session(self, session_id: int) -> Session:
        """Return one session."""
        with self._read() as connection:
            return self._session(connection, session_id)

    def add_session(self, athlete_id: int, started_utc: datetime, **words: str) -> Session:
        """Add a session; ``words`` are surface, shoe, place, mounting and note."""
        with self._write() as connection:
            self._athlete(connection, athlete_id)
            return self._session(
                connection, sessions_kept.add(connection, athlete_id, started_utc, words)
            )

    def change_session(self, session_id: int, **facts: Any) -> Session:
        """Change what is said of a session; the rest stays."""
        with self._write() as connection:
            if facts:
                sessions_kept.change(connection, session_id, facts)
            return self._session(connection, session_id)

    def notes(self, session_id: int) -> list[Note]:
        """List a session's notes in order; those that were taken back are left out."""
        with self._read() as connection:
            return sessions_kept.all_notes(connection, session_id)

    def notes_of(self, athlete_id: int, since: datetime | None = None) -> list[Note]:
        """List the notes of all of an athlete's sessions, or of those that began since."""
        with self._read() as connection:
            return sessions_kept.notes_of(connection, athlete_id, since)

    def add_note(
        self,
        session_id: int,
        kind: NoteKind,
        text: str,
        attempt_id: int | None = None,
        noted_utc: datetime | None = None,
    ) -> Note:
        """Add a note to a session, now unless a time is given."""
        line = {
            "session_id": session_id,
            "attempt_id": attempt_id,
            "noted_utc": noted_utc or datetime.now(UTC),
            "kind": kind,
            "text": text,
        }
        with self._write() as connection:
            self._session(connection, session_id)
            (note_id,) = sessions_kept.add_notes(connection, [line])
            all_notes = sessions_kept.all_notes(connection, session_id)
            return next(note for note in all_notes if note.note_id == note_id)

    def withdraw_note(self, note_id: int) -> None:
        """Take a note back; it stays in the database and is no longer listed."""
        self._stand(note_id, datetime.now(UTC))

    def restore_note(self, note_id: int) -> None:
        """Let a note that was taken back stand again."""
        self._stand(note_id, None)

    def _stand(self, note_id: int, withdrawn: datetime | None) -> None:
        with self._write() as connection:
            if not sessions_kept.withdraw_note(connection, note_id, withdrawn):
                raise self._missing("note")
