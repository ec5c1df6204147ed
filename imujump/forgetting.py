"""Forgets a person: files of recordings first, then all that the store keeps."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from imujump.bookkeeping import log_beside
from imujump.recording.content_hash import content_files, holds_content
from imujump.sessions.plain_text import path_of
from imujump.sessions.records import Athlete, Erased, StoredRecording
from imujump.sessions.store import SessionStore


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What is gone, and in sentences what is not."""

    erased: Erased
    files: tuple[Path, ...]
    left: tuple[str, ...]


def recordings_of(store: SessionStore, athlete: Athlete) -> list[StoredRecording]:
    """List every recording of a person."""
    return [
        recording
        for overview in store.sessions(athlete.athlete_id)
        for recording in store.recordings(overview.session.session_id)
    ]


def forget(store: SessionStore, athlete: Athlete) -> Forgotten:
    """Erase a person's recordings, with the logs and side files beside them, and all results.

    A file whose content is no longer the recording's is left alone.

    Raises
    ------
    StoreError
        If the store cannot be used. Files may be gone by then; asked again, it goes on.
    """
    gone: list[Path] = []
    left: list[str] = []
    for recording in recordings_of(store, athlete):
        path = path_of(recording.path)
        try:
            if not path.exists():
                left.append(f"{path}: the recording was not there; erase copies yourself.")
            elif not holds_content(path, recording.sha256):
                left.append(f"{path}: this is another file now; it was left alone.")
            else:
                own, *others = content_files(path)
                beside = (log_beside(path), path.with_suffix(".log.words.txt"))
                # The recording itself goes last: broken off, this can be done again.
                for file in (*beside, *others, own):
                    if file is not None and file.exists():
                        file.unlink()
                        gone.append(file)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            left.append(f"{path}: it could not be erased ({reason}); erase it yourself.")
    erased = store.erase_athlete(athlete.athlete_id)
    copies = "Copies of the recordings, exports and reports made before are not reached from here."
    return Forgotten(erased, tuple(gone), (*left, *erased.left, copies))
