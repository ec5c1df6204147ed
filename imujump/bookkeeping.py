"""Puts a recording into the store: opens it, analyses it, checks it, keeps it."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from imujump.errors import StoreError
from imujump.hand_marks import CarriedOver, carried_over
from imujump.model import Analysis, SampleSource
from imujump.pipeline.engine import analyse
from imujump.pipeline_version import is_newer, pipeline_version
from imujump.recording.content_hash import content_hash, holds_content
from imujump.recording.files import open_recording
from imujump.recording.text_table import read_text
from imujump.sessions.court_log import CourtLog, read_court_log
from imujump.sessions.keeping import Gathered
from imujump.sessions.plain_text import path_of
from imujump.sessions.records import Kept, Standing, StoredRecording, Task
from imujump.sessions.remarks import remarks
from imujump.sessions.session_log import SessionLog
from imujump.sessions.store import SessionStore

LOG_SUFFIX = ".log.jsonl"

Analyse = Callable[[SampleSource], Analysis]


@dataclass(frozen=True, slots=True)
class Told:
    """What a person says of a recording; what is empty or ``None`` may stand in its log.

    ``words`` are surface, shoe, place, mounting and note of the session.
    """

    task: Task | None = None
    words: Mapping[str, str] = field(default_factory=dict)
    from_athlete: bool = False
    column_map: Path | None = None


def add_recording(
    store: SessionStore,
    path: Path,
    athlete_id: int,
    told: Told | None = None,
    run: Analyse = analyse,
    by_version: str | None = None,
    move: bool = False,
) -> Kept:
    """Put a recording into the store.

    A recording that is there already, whatever its file is called now, is analysed again only if
    this pipeline is newer than the one that analysed it; its old figures stay, and events that the
    coach set by hand are carried over. A courtside log beside a new recording goes in with it.

    Parameters
    ----------
    store : SessionStore
        Where to.
    path : Path
        The recording, of any kind that can be read.
    athlete_id : int
        Who jumped.
    told : Told, optional
        What is known of it besides.
    run : callable
        The pipeline.
    by_version : str, optional
        Its version; that of this program when ``None``.
    move : bool
        Take the recording from another athlete, for whom it was kept by mistake.

    Raises
    ------
    RecordingError
        If it cannot be read.
    StoreError
        If the store cannot be used, or the recording is kept for another athlete.
    ConsentError
        If the athlete may be a minor and no guardian's consent is noted; nothing is kept then.
    """
    said = told or Told()
    by_version = by_version or pipeline_version()
    sha256 = content_hash(path, said.column_map)
    columns = None if said.column_map is None else read_text(said.column_map)
    known = store.find_recording(sha256)
    if known is not None:
        known = _belongs(store, known, path, athlete_id, move)
        if columns is not None and known.column_map is None:
            known = store.set_column_map(known.recording_id, columns)
        if not is_newer(by_version, known.pipeline_version):
            ids = tuple(a.attempt_id for a in store.attempts_of_recording(known.recording_id))
            return Kept(known, ids, is_new=False)
    source = open_recording(path, said.column_map)
    with contextlib.ExitStack() as stack:
        if close := getattr(source, "close", None):
            stack.callback(close)
        began = source.info.started_utc or _written(path)
        # Asked before the long work; asked again when it is kept.
        store.check_consent(athlete_id, began.year)
        analysis = run(source)
    marks = CarriedOver() if known is None else carried_over(store, known, analysis)
    log = _log(path, analysis)
    task = said.task or log.task
    words = {"surface": log.surface, "shoe": log.shoe}
    words |= {name: text for name, text in said.words.items() if text}
    doubts = list(remarks(analysis, task))
    if analysis.started_utc is None:
        doubts.append("The recording does not say when it began; the file's time stands for it.")
    named = store.find_athlete(log.athlete) if log.athlete.strip() else None
    if log.athlete.strip() and (named is None or named.athlete_id != athlete_id):
        doubts.append(f"The courtside log names {log.athlete}.")
    gathered = Gathered(
        sha256=sha256,
        path=path,
        analysis=analysis,
        version=by_version,
        task=task,
        standing=Standing.WAITING if said.from_athlete else Standing.COUNTED,
        remarks=doubts,
        started_utc=began,
        words=words,
        lines=log.lines,
        invalid=log.invalid,
        column_map=columns,
        by_hand=marks.attempts,
    )
    return replace(store.keep_recording(athlete_id, gathered), refused=marks.refused)


def _belongs(
    store: SessionStore, known: StoredRecording, path: Path, athlete_id: int, move: bool
) -> StoredRecording:
    """See that a recording that is kept belongs to the athlete, and note where its file is."""
    owner = store.session(known.session_id).athlete_id
    if owner != athlete_id:
        if not move:
            raise StoreError(
                str(path),
                f"this recording is kept for {store.athlete(owner).name} already",
                "add --move if it is another athlete's",
            )
        known = store.move_recording(known.recording_id, athlete_id)
    if not _lies_at(path_of(known.path), known.sha256):
        known = store.set_path(known.recording_id, path)
    return known


def _lies_at(path: Path, sha256: str) -> bool:
    """Tell whether a recording is still where it was; another file may have taken its place."""
    try:
        return holds_content(path, sha256)
    except OSError:
        return False


def log_beside(path: Path) -> Path | None:
    """Find the courtside log that lies beside a recording."""
    for name in (path.with_suffix(LOG_SUFFIX), path.with_name(path.name + LOG_SUFFIX)):
        if name.is_file():
            return name
    return None


def _log(path: Path, analysis: Analysis) -> CourtLog:
    beside = log_beside(path)
    if beside is None:
        return CourtLog()
    return read_court_log(SessionLog(beside).entries(), analysis.attempts)


def _written(path: Path) -> datetime:
    return datetime.fromtimestamp(path.stat().st_mtime, UTC)
