"""The part of the store that keeps recordings and their analyses."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from imujump.errors import StoreError
from imujump.model import Attempt
from imujump.sessions import keeping, results_kept, sessions_kept
from imujump.sessions.access import StoreAccess
from imujump.sessions.plain_text import path_text
from imujump.sessions.records import Kept, Standing, StoredRecording
from imujump.sessions.schema import recordings, sessions


class RecordingStore(StoreAccess):
    """Recordings and their standing."""

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

    def same_jumps(self, recording_id: int, found: Sequence[Attempt]) -> dict[int, Attempt]:
        """Pair the attempts that are kept, by id, with those of a new analysis."""
        with self._read() as connection:
            return results_kept.same_jumps(results_kept.toe_offs(connection, recording_id), found)

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

    def set_column_map(self, recording_id: int, column_map: str | None) -> StoredRecording:
        """Say what the columns of a recording mean that is a foreign table."""
        return self._change_recording(recording_id, column_map=column_map)

    def _change_recording(self, recording_id: int, **facts: Any) -> StoredRecording:
        with self._write() as connection:
            results_kept.change_recording(connection, recording_id, **facts)
            return self._recording(connection, recording_id)

    def keep_in_session(self, session_id: int, gathered: keeping.Gathered) -> Kept:
        """Keep a recording in a session.

        One that is there already stays in its own session with its standing; figures of another
        pipeline version are put beside the old ones.

        Raises
        ------
        ConsentError
            If the athlete may be a minor and no guardian's consent is noted.
        """
        with self._write() as connection:
            of = self._session(connection, session_id)
            self._check_consent(self._athlete(connection, of.athlete_id), gathered.began_utc.year)
            return keeping.keep(connection, session_id, gathered)

    def keep_recording(self, athlete_id: int, gathered: keeping.Gathered) -> Kept:
        """Keep a recording in the session that it belongs to, which is made if there is none.

        A recording belongs to a session of the same athlete within a few hours, if nothing that
        is said of the two differs.

        Raises
        ------
        StoreError
            If the recording is kept for another athlete.
        ConsentError
            If the athlete may be a minor and no guardian's consent is noted.
        """
        with self._write() as connection:
            athlete = self._athlete(connection, athlete_id)
            self._check_consent(athlete, gathered.began_utc.year)
            owner = results_kept.owner(connection, gathered.sha256)
            if owner is not None and owner != athlete_id:
                raise StoreError(
                    str(gathered.path),
                    f"this recording is kept for {self._athlete(connection, owner).name} already",
                    "add --move if it is another athlete's",
                )
            session_id = sessions_kept.fitting(
                connection,
                athlete_id,
                gathered.began_utc,
                gathered.analysis.duration_s,
                {} if owner is not None else gathered.words,
            )
            return keeping.keep(connection, session_id, gathered)

    def move_recording(self, recording_id: int, athlete_id: int) -> StoredRecording:
        """Give a recording that was added under a wrong name to the right athlete.

        Its attempts and their notes go with it; a session that is left empty goes as a whole.
        """
        with self._write() as connection:
            recording = self._recording(connection, recording_id)
            began = recording.started_utc or datetime.now(UTC)
            self._check_consent(self._athlete(connection, athlete_id), began.year)
            old = self._session(connection, recording.session_id)
            words = {name: getattr(old, name) for name in sessions_kept.CIRCUMSTANCES}
            new_id = sessions_kept.fitting(
                connection, athlete_id, began, recording.duration_s, words
            )
            results_kept.change_recording(connection, recording_id, session_id=new_id)
            sessions_kept.follow(connection, recording_id, old.session_id, new_id)
            return self._recording(connection, recording_id)
