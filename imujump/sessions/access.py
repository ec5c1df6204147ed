"""One transaction at a time on the store's database, and what every part of the store asks."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from sqlalchemy import URL, Connection

from imujump.closing import Closing
from imujump.errors import ConsentError, NotKeptError
from imujump.sessions import athletes_kept, results_kept, sessions_kept
from imujump.sessions.faults import told_for
from imujump.sessions.opening import open_engine, place_of, writing
from imujump.sessions.records import Athlete, Session, StoredAttempt, StoredRecording
from imujump.sessions.schema import attempts, recordings


class StoreAccess(Closing):
    """The database of a store.

    Parameters
    ----------
    url : URL
        Where it is; see :func:`imujump.sessions.opening.address`.
    """

    def __init__(self, url: URL) -> None:
        self.place = place_of(url)
        self._engine = open_engine(url)
        self._writing = writing(self._engine)

    def close(self) -> None:
        """Let go of the database."""
        with told_for(self.place):
            self._engine.dispose()

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

    def _athlete(self, connection: Connection, athlete_id: int) -> Athlete:
        found = athletes_kept.by_id(connection, athlete_id)
        if found is None:
            raise self._missing("athlete")
        return found

    def _session(self, connection: Connection, session_id: int) -> Session:
        found = sessions_kept.by_id(connection, session_id)
        if found is None:
            raise self._missing("session")
        return found

    def _recording(self, connection: Connection, recording_id: int) -> StoredRecording:
        found = results_kept.recording_by(connection, recordings.c.recording_id == recording_id)
        if not found:
            raise self._missing("recording")
        return found[0]

    def _attempt(self, connection: Connection, attempt_id: int) -> StoredAttempt:
        found = results_kept.stored(connection, attempts.c.attempt_id == attempt_id)
        if not found:
            raise self._missing("attempt")
        return found[0]

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
