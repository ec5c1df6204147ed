"""Kept sessions for other programs: attempts as CSV or Parquet, recordings as Motion-BIDS.

Values stay in SI units, which the column names state.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from datetime import UTC
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from imujump.contract import stated
from imujump.errors import ImuJumpError, RecordingError
from imujump.model import METRIC_NAMES
from imujump.recording.export_motion_bids import export_motion_bids
from imujump.recording.export_tables import new_file, unwritable
from imujump.recording.files import open_recording
from imujump.recording.participants import Participant, write_participants
from imujump.sessions.plain_text import path_of
from imujump.sessions.records import (
    Athlete,
    BodyMeasure,
    Note,
    NoteKind,
    Session,
    SessionOverview,
    StoredAttempt,
    StoredRecording,
)
from imujump.sessions.store import SessionStore
from imujump.spreadsheet import plain_cell, sigma_column

_TEXTS = (
    "athlete",
    "surface",
    "shoe",
    "place",
    "mounting",
    "session_note",
    "task",
    "take_off_style",
    "take_off_side",
    "reasons",
    "invalid_mark",
    "standing",
    "pipeline_version",
    "cues",
    "seen",
    "recording",
    "recording_sha256",
)
_ABOUT: Mapping[str, pa.DataType] = {
    "athlete": pa.string(),
    "session_id": pa.int64(),
    "session_started_utc": pa.timestamp("us", "UTC"),
    **dict.fromkeys(_TEXTS[1:6], pa.string()),
    "attempt_id": pa.int64(),
    "attempt": pa.int64(),
    "taken_utc": pa.timestamp("us", "UTC"),
    **dict.fromkeys(_TEXTS[6:9], pa.string()),
    "counts": pa.bool_(),
    "valid": pa.bool_(),
    **dict.fromkeys(_TEXTS[9:12], pa.string()),
    "events_by_hand": pa.bool_(),
    **dict.fromkeys(_TEXTS[12:], pa.string()),
}

SCHEMA = pa.schema(
    [
        *_ABOUT.items(),
        *(
            column
            for name in METRIC_NAMES
            for column in (
                (name, pa.float64()),
                (sigma_column(name), pa.float64()),
                (f"{name}_reason", pa.string()),
            )
        ),
    ]
)
"""All columns of a table of attempts, in order."""

Begin = Callable[[str], None]
"""Told the name of what comes next."""

Row = dict[str, object]


def export_csv(
    store: SessionStore, sessions: Sequence[SessionOverview], path: Path, begin: Begin
) -> int:
    """Write the attempts of sessions as CSV and return their number.

    A text that a spreadsheet would take for a formula gets an apostrophe in front.

    Raises
    ------
    RecordingError
        If the file exists or cannot be written.
    """
    count = 0
    with _draft(path) as draft, draft.open("x", encoding="utf-8-sig", newline="") as out:
        writer = csv.writer(out, dialect="excel")
        writer.writerow(SCHEMA.names)
        for rows in _rows(store, sessions, begin):
            writer.writerows([_cell(row[name]) for name in SCHEMA.names] for row in rows)
            count += len(rows)
    return count


def export_parquet(
    store: SessionStore, sessions: Sequence[SessionOverview], path: Path, begin: Begin
) -> int:
    """Write the attempts of sessions as Parquet and return their number.

    Raises
    ------
    RecordingError
        If the file exists or cannot be written.
    """
    count = 0
    with _draft(path) as draft, pq.ParquetWriter(draft, SCHEMA, compression="zstd") as writer:
        for rows in _rows(store, sessions, begin):
            writer.write_batch(pa.RecordBatch.from_pylist(rows, schema=SCHEMA))
            count += len(rows)
    return count


@contextmanager
def _draft(path: Path) -> Iterator[Path]:
    """Give a file to write into, which takes its name only when it is whole."""
    target = new_file(path)
    draft = target.with_name(f".{target.name}.{os.getpid()}")
    try:
        yield draft
        os.replace(draft, target)
    except (OSError, pa.ArrowException) as error:
        raise unwritable(target, error) from error
    finally:
        draft.unlink(missing_ok=True)


def _rows(
    store: SessionStore, sessions: Iterable[SessionOverview], begin: Begin
) -> Iterator[list[Row]]:
    for overview in sessions:
        session = overview.session
        begin(f"session {session.session_id}")
        recordings = {r.recording_id: r for r in store.recordings(session.session_id)}
        notes = store.notes(session.session_id)
        yield [
            _row(overview.athlete_name, session, attempt, recordings[attempt.recording_id], notes)
            for attempt in store.attempts(session.session_id)
            if attempt.recording_id in recordings
        ]


def _row(
    athlete: str,
    session: Session,
    attempt: StoredAttempt,
    recording: StoredRecording,
    notes: Iterable[Note],
) -> Row:
    mine = [note for note in notes if note.attempt_id == attempt.attempt_id]
    row: Row = {
        "athlete": athlete,
        "session_id": session.session_id,
        "session_started_utc": session.started_utc,
        "surface": session.surface,
        "shoe": session.shoe,
        "place": session.place,
        "mounting": session.mounting,
        "session_note": session.note,
        "attempt_id": attempt.attempt_id,
        "attempt": attempt.number,
        "taken_utc": attempt.taken_utc,
        "task": attempt.task.value,
        "take_off_style": None if attempt.style is None else attempt.style.value,
        "take_off_side": None if attempt.side is None else attempt.side.value,
        "counts": attempt.counts,
        "valid": attempt.valid,
        "reasons": "; ".join(attempt.reasons) or None,
        "invalid_mark": attempt.invalid_mark,
        "standing": attempt.standing.value,
        "events_by_hand": attempt.hand_events,
        "pipeline_version": attempt.pipeline_version,
        "cues": "; ".join(n.text for n in mine if n.kind is NoteKind.CUE) or None,
        "seen": "; ".join(n.text for n in mine if n.kind is NoteKind.SEEN) or None,
        "recording": recording.path,
        "recording_sha256": recording.sha256,
    }
    for name in METRIC_NAMES:
        kept = attempt.metrics.get(name)
        told = None if kept is None else stated(kept)
        row[name] = told and told.value
        row[sigma_column(name)] = told and told.sigma
        row[f"{name}_reason"] = told and told.reason
    return row


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return plain_cell(value)
    if isinstance(value, int | float):
        return repr(value)
    return str(getattr(value, "isoformat", value.__str__)())


def export_bids(
    store: SessionStore, sessions: Sequence[SessionOverview], root: Path, begin: Begin
) -> Iterator[ImuJumpError | Path]:
    """Write the recordings of sessions into a Motion-BIDS data set; people get numbers for names.

    Yields the file of each recording that was written, and the error of each that was not; the
    table of participants is written at the end.
    """
    runs: dict[tuple[str, str], int] = {}
    written: dict[int, Session] = {}
    for overview in sorted(sessions, key=lambda each: each.session.started_utc):
        session = overview.session
        tasks = {a.recording_id: a.task.value for a in store.attempts(session.session_id)}
        for recording in store.recordings(session.session_id):
            path = path_of(recording.path)
            begin(path.name)
            subject = _label(session.athlete_id)
            task = tasks.get(recording.recording_id, "approach").replace("_", "")
            run = runs[subject, task] = runs.get((subject, task), 0) + 1
            try:
                yield _write_recording(path, recording.column_map, root, subject, task, run)
            except ImuJumpError as error:
                yield error
                continue
            written.setdefault(session.athlete_id, session)
    if written:
        people = [
            _participant(store.athlete(athlete_id), store.body_measures(athlete_id), first)
            for athlete_id, first in sorted(written.items())
        ]
        write_participants(root, people)


def _write_recording(
    path: Path, columns: str | None, root: Path, subject: str, task: str, run: int
) -> Path:
    if not path.exists():
        raise RecordingError(
            path,
            "the recording is no longer there",
            'put it back, or add it from where it is now with "imujump add"',
        )
    source = open_recording(path, column_text=columns)
    with ExitStack() as stack:
        if close := getattr(source, "close", None):
            stack.callback(close)
        return export_motion_bids(source, root, subject, task, run)


def _label(athlete_id: int) -> str:
    return f"{athlete_id:02d}"


def _participant(athlete: Athlete, measures: Sequence[BodyMeasure], first: Session) -> Participant:
    day = first.started_utc.astimezone(UTC).date()
    nearest = min(measures, key=lambda m: abs((m.on - day).days), default=None)
    stature_m = athlete.stature_m
    if nearest is not None and nearest.stature_m is not None:
        stature_m = nearest.stature_m
    born = athlete.birth_year
    return Participant(
        label=_label(athlete.athlete_id),
        age_years=None if born is None else day.year - born,
        stature_m=stature_m,
        mass_kg=None if nearest is None else nearest.mass_kg,
        leg_length_m=athlete.leg_length_m,
        take_off_side=None if athlete.take_off_side is None else athlete.take_off_side.value,
    )
