"""What lasts: athletes, sessions, recordings, attempts and notes, in a file or on a server.

Every method is one transaction: it happens whole or not at all, and what it wrote is on disk when
it returns. Instances may be shared between threads, and any number of programs may use one
database at once.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pandas as pd
from sqlalchemy import URL, Connection

from imujump.errors import ConsentError, NotKeptError
from imujump.model import Analysis, Attempt
from imujump.sessions import athletes_kept, erasing, keeping, results_kept, sessions_kept
from imujump.sessions import series as series_kept
from imujump.sessions.faults import told_for
from imujump.sessions.opening import address, default_place, open_engine, place_of, writing
from imujump.sessions.plain_text import path_text
from imujump.sessions.records import (
    Athlete,
    BodyMeasure,
    Erased,
    Kept,
    Moved,
    Note,
    NoteKind,
    Session,
    SessionOverview,
    Standing,
    StoredAttempt,
    StoredRecording,
    Task,
)
from imujump.sessions.schema import attempts, metadata, recordings, sessions


def open_store(place: str | Path | None = None) -> SessionStore:
    """Open a store; it is made when it is not there, and brought up to date when it is older.

    Parameters
    ----------
    place : str or Path, optional
        A file, or a server as ``postgresql://user@host/database``. Without it, what the
        environment variable ``IMUJUMP_STORE`` names, else a file among the user's data.

    Raises
    ------
    StoreError
        If it is broken, not ours, newer than this program, or out of reach.
    """
    return SessionStore(address(default_place() if place is None else place))


class SessionStore:
    """The store of sessions; make one with :func:`open_store`.

    All methods raise :class:`imujump.errors.StoreError` when the database cannot be used,
    :class:`imujump.errors.NotKeptError` for an id that is not there, and :class:`ValueError` with
    a sentence for a fact that cannot be.
    """

    def __init__(self, url: URL) -> None:
        self.place = place_of(url)
        self._engine = open_engine(url)
        self._writing = writing(self._engine)

    def close(self) -> None:
        """Let go of the database."""
        with told_for(self.place):
            self._engine.dispose()

    def __enter__(self) -> Self:
        """Use the store as a context manager."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close it."""
        self.close()

    @contextlib.contextmanager
    def _read(self) -> Iterator[Connection]:
        with told_for(self.place), self._engine.begin() as connection:
            yield connection

    @contextlib.contextmanager
    def _write(self) -> Iterator[Connection]:
        with told_for(self.place), self._writing.begin() as connection:
            yield connection

    def _missing(self, what: str) -> NotKeptError:
        return NotKeptError(self.place, f"it holds no such {what}", "look at the list again")

    # Athletes

    def athletes(self) -> list[Athlete]:
        """List all athletes by name."""
        with self._read() as connection:
            return athletes_kept.all_athletes(connection)

    def athlete(self, athlete_id: int) -> Athlete:
        """Return one athlete."""
        with self._read() as connection:
            return self._athlete(connection, athlete_id)

    def find_athlete(self, name: str) -> Athlete | None:
        """Return the athlete of that name, or ``None``; case does not matter."""
        with self._read() as connection:
            return athletes_kept.by_name(connection, name)

    def add_athlete(self, name: str, **facts: Any) -> Athlete:
        """Add an athlete; ``facts`` are fields of :class:`Athlete`. Names are unique."""
        with self._write() as connection:
            if athletes_kept.by_name(connection, name) is not None:
                raise ValueError(f"There is an athlete {name!r} already; add something to tell.")
            return self._athlete(connection, athletes_kept.add(connection, {"name": name, **facts}))

    def change_athlete(self, athlete_id: int, **facts: Any) -> Athlete:
        """Change fields of an athlete; the others stay. ``None`` removes a fact."""
        with self._write() as connection:
            if "name" in facts:
                other = athletes_kept.by_name(connection, facts["name"])
                if other is not None and other.athlete_id != athlete_id:
                    raise ValueError(f"There is an athlete {other.name!r} already.")
            if facts:
                athletes_kept.change(connection, athlete_id, facts)
            return self._athlete(connection, athlete_id)

    def body_measures(self, athlete_id: int) -> list[BodyMeasure]:
        """List an athlete's body measures by day."""
        with self._read() as connection:
            return athletes_kept.measures(connection, athlete_id)

    def add_body_measure(self, athlete_id: int, measure: BodyMeasure) -> None:
        """Add a body measure; it replaces one of the same day."""
        with self._write() as connection:
            athletes_kept.add_measure(connection, athlete_id, measure)

    def remove_body_measure(self, athlete_id: int, on: date) -> None:
        """Remove the body measure of a day."""
        with self._write() as connection:
            if not athletes_kept.remove_measure(connection, athlete_id, on):
                raise self._missing("body measure")

    def _athlete(self, connection: Connection, athlete_id: int) -> Athlete:
        found = athletes_kept.by_id(connection, athlete_id)
        if found is None:
            raise self._missing("athlete")
        return found

    def check_consent(self, athlete_id: int, year: int) -> None:
        """Refuse when results of a year may not be kept.

        Raises
        ------
        ConsentError
            If the athlete may have been a minor then and no guardian's consent is noted.
        """
        with self._read() as connection:
            self._check_consent(self._athlete(connection, athlete_id), year)

    def _check_consent(self, athlete: Athlete, year: int) -> None:
        minor = athletes_kept.may_be_minor(athlete, year)
        if minor and athlete.guardian_consent_on is None:
            raise ConsentError(
                athlete.name,
                f"born in {athlete.birth_year} and perhaps under age, and no guardian's consent "
                "is noted, so no result is kept",
                "once a guardian has agreed, note the day with "
                f'imujump athletes --edit "{athlete.name}" --consent YYYY-MM-DD',
            )

    # Sessions and notes

    def sessions(self, athlete_id: int | None = None) -> list[SessionOverview]:
        """List sessions with their counts, newest first."""
        with self._read() as connection:
            return sessions_kept.overviews(connection, athlete_id)

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

    def _session(self, connection: Connection, session_id: int) -> Session:
        found = sessions_kept.by_id(connection, session_id)
        if found is None:
            raise self._missing("session")
        return found

    def notes(self, session_id: int) -> list[Note]:
        """List a session's notes in order; those that were taken back are left out."""
        with self._read() as connection:
            return sessions_kept.all_notes(connection, session_id)

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

    # Recordings

    def recordings(self, session_id: int) -> list[StoredRecording]:
        """List a session's recordings in order."""
        with self._read() as connection:
            return results_kept.recording_by(connection, recordings.c.session_id == session_id)

    def recording(self, recording_id: int) -> StoredRecording:
        """Return one recording."""
        with self._read() as connection:
            return self._recording(connection, recording_id)

    def find_recording(self, sha256: str) -> StoredRecording | None:
        """Return the recording of that content, or ``None``."""
        with self._read() as connection:
            found = results_kept.recording_by(connection, recordings.c.sha256 == sha256)
            return found[0] if found else None

    def waiting(self, athlete_id: int | None = None) -> list[StoredRecording]:
        """List recordings that wait for the coach."""
        condition = recordings.c.standing == Standing.WAITING.value
        if athlete_id is not None:
            condition &= sessions.c.athlete_id == athlete_id
        with self._read() as connection:
            return results_kept.recording_by(connection, condition)

    def set_standing(self, recording_id: int, standing: Standing) -> StoredRecording:
        """Say whether a recording's attempts count, wait or are refused."""
        return self._change_recording(recording_id, standing=standing.value)

    def set_path(self, recording_id: int, path: Path) -> StoredRecording:
        """Say where a recording's file lies now."""
        return self._change_recording(recording_id, path=path_text(path.absolute()))

    def _change_recording(self, recording_id: int, **facts: Any) -> StoredRecording:
        with self._write() as connection:
            results_kept.change_recording(connection, recording_id, **facts)
            return self._recording(connection, recording_id)

    def _recording(self, connection: Connection, recording_id: int) -> StoredRecording:
        found = results_kept.recording_by(connection, recordings.c.recording_id == recording_id)
        if not found:
            raise self._missing("recording")
        return found[0]

    def keep_analysis(
        self,
        session_id: int,
        sha256: str,
        path: Path,
        analysis: Analysis,
        version: str,
        task: Task | None = None,
        standing: Standing = Standing.COUNTED,
        remarks: Sequence[str] = (),
        started_utc: datetime | None = None,
    ) -> Kept:
        """Keep a recording and what its analysis found.

        A recording that is there already stays in its session with its standing; figures of
        another pipeline version are put beside the old ones.

        Parameters
        ----------
        session_id : int
            Where a new recording goes.
        sha256 : str
            Hash of its content.
        path : Path
            Its file.
        analysis : Analysis
            What was found.
        version : str
            The pipeline's version.
        task : Task, optional
            What was asked of the athlete; told from the take-off when ``None``.
        standing : Standing
            Whether its attempts count.
        remarks : sequence of str
            What the automatic checks noticed.
        started_utc : datetime, optional
            When it began, for a recording that does not say; now when ``None``.

        Raises
        ------
        ConsentError
            If the athlete may be a minor and no guardian's consent is noted.
        """
        began = analysis.started_utc or started_utc or datetime.now(UTC)
        facts = {
            "session_id": session_id,
            "sha256": sha256,
            "path": path_text(path.absolute()),
            "standing": standing.value,
            "remarks": list(remarks),
            "started_utc": began,
            "duration_s": float(analysis.duration_s),
            "added_utc": datetime.now(UTC),
        }
        with self._write() as connection:
            of = self._session(connection, session_id)
            self._check_consent(self._athlete(connection, of.athlete_id), began.year)
            found = results_kept.recording_by(connection, recordings.c.sha256 == sha256)
            if found:
                return keeping.again(connection, found[0], analysis, version, task)
            return keeping.first(connection, facts, analysis, version, task)

    # Attempts

    def attempts(self, session_id: int) -> list[StoredAttempt]:
        """List a session's attempts in order, each with the result that is shown."""
        with self._read() as connection:
            return results_kept.stored(connection, recordings.c.session_id == session_id)

    def attempts_of(self, athlete_id: int, task: Task | None = None) -> list[StoredAttempt]:
        """List all of an athlete's attempts in order; for few metrics :meth:`series` is quicker."""
        condition = sessions.c.athlete_id == athlete_id
        if task is not None:
            condition &= attempts.c.task == task.value
        with self._read() as connection:
            return results_kept.stored(connection, condition)

    def attempt(self, attempt_id: int) -> StoredAttempt:
        """Return one attempt with the result that is shown."""
        with self._read() as connection:
            return self._attempt(connection, attempt_id)

    def _attempt(self, connection: Connection, attempt_id: int) -> StoredAttempt:
        found = results_kept.stored(connection, attempts.c.attempt_id == attempt_id)
        if not found:
            raise self._missing("attempt")
        return found[0]

    def results(self, attempt_id: int) -> list[StoredAttempt]:
        """List every analysis of an attempt, oldest first."""
        with self._read() as connection:
            return results_kept.stored(
                connection, attempts.c.attempt_id == attempt_id, every_result=True
            )

    def moved(self, attempt_id: int) -> tuple[Moved, ...]:
        """Say what the newest pipeline changed against the one before; empty if nothing."""
        with self._read() as connection:
            return keeping.moved(connection, attempt_id)

    def keep_by_hand(self, attempt_id: int, attempt: Attempt, version: str) -> StoredAttempt:
        """Keep and show what follows from events that the coach corrected."""
        with self._write() as connection:
            self._attempt(connection, attempt_id)
            results_kept.add_results(connection, {attempt_id: attempt}, version, by_hand=True)
            return self._attempt(connection, attempt_id)

    def show_measured(self, attempt_id: int) -> StoredAttempt:
        """Show the pipeline's own result again; corrections by hand are kept."""
        with self._write() as connection:
            found = results_kept.result_ids(connection, attempt_id)
            if not found:
                raise self._missing("attempt")
            results_kept.show(connection, {attempt_id: found[-1][0]})
            return self._attempt(connection, attempt_id)

    def mark_invalid(self, attempt_id: int, reason: str) -> StoredAttempt:
        """Mark that an attempt does not count."""
        with self._write() as connection:
            self._attempt(connection, attempt_id)
            results_kept.add_mark(connection, attempt_id, reason, datetime.now(UTC))
            return self._attempt(connection, attempt_id)

    def withdraw_mark(self, attempt_id: int) -> StoredAttempt:
        """Take the mark back; it stays in the database."""
        with self._write() as connection:
            results_kept.withdraw_mark(connection, attempt_id, datetime.now(UTC))
            return self._attempt(connection, attempt_id)

    def set_task(self, attempt_id: int, task: Task) -> StoredAttempt:
        """Say what the athlete was asked to do."""
        with self._write() as connection:
            results_kept.set_task(connection, attempt_id, task)
            return self._attempt(connection, attempt_id)

    def series(
        self, athlete_id: int | None, names: Sequence[str], task: Task | None = None
    ) -> pd.DataFrame:
        """Return metrics of all of an athlete's attempts, one row an attempt and metric.

        The columns are :data:`imujump.sessions.series.COLUMNS`; ``None`` means everybody.
        """
        with self._read() as connection:
            return series_kept.series(connection, athlete_id, names, task)

    # Erasing

    def erase_athlete(self, athlete_id: int) -> Erased:
        """Erase a person with all that is kept; the recordings' files are the caller's.

        The room in the database is overwritten, so that nothing can be read from its file.
        """
        with self._write() as connection:
            told = erasing.erase(connection, athlete_id)
        if told is None:
            raise self._missing("athlete")
        with told_for(self.place):
            return erasing.with_left(told, erasing.overwrite(self._engine))

    def counts(self) -> Mapping[str, int]:
        """Count the rows of every table."""
        with self._read() as connection:
            return erasing.row_counts(connection, metadata)
