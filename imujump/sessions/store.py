"""What lasts: athletes, sessions, recordings, attempts and notes, in a file or on a server.

Every method is one transaction: it happens whole or not at all, and what it wrote is on disk when
it returns. A store may be shared between threads, and any number of programs may use one
database at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from imujump.sessions import erasing
from imujump.sessions.faults import told_for
from imujump.sessions.opening import address, default_place
from imujump.sessions.records import Erased
from imujump.sessions.schema import metadata
from imujump.sessions.store_athletes import AthleteStore
from imujump.sessions.store_attempts import AttemptStore
from imujump.sessions.store_recordings import RecordingStore
from imujump.sessions.store_sessions import SessionNotes


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


class SessionStore(AthleteStore, SessionNotes, RecordingStore, AttemptStore):
    """The store of sessions; make one with :func:`open_store`.

    All methods raise :class:`imujump.errors.StoreError` when the database cannot be used,
    :class:`imujump.errors.NotKeptError` for an id that is not there, and :class:`ValueError` with
    a sentence for a fact that cannot be.
    """

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
