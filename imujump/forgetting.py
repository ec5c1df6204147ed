"""Forgets a person: files of recordings first, then all that the store keeps."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from imujump.bookkeeping import LOG_SUFFIX, log_beside
from imujump.recording.content_hash import content_files, holds_content
from imujump.sessions.court_log import read_court_log
from imujump.sessions.plain_text import name_key, path_of
from imujump.sessions.records import Athlete, Erased, StoredRecording
from imujump.sessions.session_log import SessionLog
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
    for folder in dict.fromkeys(path_of(r.path).parent for r in recordings_of(store, athlete)):
        left += _stray_logs(folder, athlete)
    erased = store.erase_athlete(athlete.athlete_id)
    copies = "Copies of the recordings, exports and reports made before are not reached from here."
    return Forgotten(erased, tuple(gone), (*left, *erased.left, copies))


def _stray_logs(folder: Path, athlete: Athlete) -> list[str]:
    """Tell which courtside logs in a folder still name a person."""
    left = []
    key = name_key(athlete.name)
    for path in sorted(folder.glob(f"*{LOG_SUFFIX}")):
        try:
            log = read_court_log(SessionLog(path).entries(), ())
        except OSError:
            continue
        if name_key(log.athlete) == key:
            left.append(f"{path}: this log without a kept recording names the athlete.")
    return left
