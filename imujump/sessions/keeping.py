"""Keeps analyses of recordings: the first one, and later ones beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection

from imujump.model import Analysis, Attempt, Estimate, TakeOffStyle
from imujump.sessions import results_kept, sessions_kept
from imujump.sessions.court_log import LogLine
from imujump.sessions.plain_text import path_text
from imujump.sessions.records import Kept, Moved, Standing, StoredRecording, Task
from imujump.sessions.schema import recordings

_TASK_OF = {TakeOffStyle.ONE_FOOT: Task.ONE_FOOT, TakeOffStyle.TWO_FOOT: Task.TWO_FOOT}


@dataclass(frozen=True, slots=True)
class Gathered:
    """A recording with all that is to be kept of it.

    Parameters
    ----------
    sha256 : str
        Hash of its content.
    path : Path
        Its file.
    analysis : Analysis
        What was found in it.
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
    words : mapping of str to str
        Surface, shoe, place, mounting and note of its session.
    lines : sequence of LogLine
        Notes of its courtside log.
    invalid : mapping of int to str
        Attempts, by number, that the coach marked, and why.
    column_map : str, optional
        What the columns of a foreign table mean.
    by_hand : mapping of int to Attempt
        Attempts that are kept already, by id, with the events that the coach set in them.
    """

    sha256: str
    path: Path
    analysis: Analysis
    version: str
    task: Task | None = None
    standing: Standing = Standing.COUNTED
    remarks: Sequence[str] = ()
    started_utc: datetime | None = None
    words: Mapping[str, str] = field(default_factory=dict)
    lines: Sequence[LogLine] = ()
    invalid: Mapping[int, str] = field(default_factory=dict)
    column_map: str | None = None
    by_hand: Mapping[int, Attempt] = field(default_factory=dict)

    @property
    def began_utc(self) -> datetime:
        """When the recording began, as far as anybody knows."""
        return self.analysis.started_utc or self.started_utc or datetime.now(UTC)


def keep(connection: Connection, session_id: int, gathered: Gathered) -> Kept:
    """Keep a recording in a session, or another analysis of one that is kept already."""
    known = results_kept.recording_by(connection, recordings.c.sha256 == gathered.sha256)
    if known:
        return _again(connection, known[0], gathered)
    analysis = gathered.analysis
    recording_id = results_kept.add_recording(
        connection,
        {
            "session_id": session_id,
            "sha256": gathered.sha256,
            "path": path_text(gathered.path.absolute()),
            "standing": gathered.standing.value,
            "remarks": list(gathered.remarks),
            "started_utc": gathered.began_utc,
            "duration_s": float(analysis.duration_s),
            "pipeline_version": gathered.version,
            "added_utc": datetime.now(UTC),
            "column_map": gathered.column_map,
        },
    )
    (recording,) = results_kept.recording_by(connection, recordings.c.recording_id == recording_id)
    asked = tasks(analysis.attempts, gathered.task)
    ids = results_kept.add_attempts(
        connection, recording, analysis.attempts, asked, gathered.version
    )
    _keep_log(connection, session_id, gathered, dict(zip(asked, ids, strict=True)))
    return Kept(recording, tuple(ids), is_new=True)


def _keep_log(
    connection: Connection, session_id: int, gathered: Gathered, ids: Mapping[int, int]
) -> None:
    """Keep a courtside log; ``ids`` are the attempts' ids by number."""
    sessions_kept.add_notes(
        connection,
        [
            {
                "session_id": session_id,
                "attempt_id": None if line.attempt is None else ids.get(line.attempt),
                "noted_utc": line.noted_utc,
                "kind": line.kind,
                "text": line.text,
            }
            for line in gathered.lines
        ],
    )
    for number, reason in gathered.invalid.items():
        if number in ids:
            results_kept.add_mark(connection, ids[number], reason, datetime.now(UTC))


def _again(connection: Connection, recording: StoredRecording, gathered: Gathered) -> Kept:
    """Put another analysis of a recording beside those that are kept."""
    found, version = gathered.analysis.attempts, gathered.version
    known = results_kept.toe_offs(connection, recording.recording_id)
    pairs = results_kept.same_jumps(known, found)
    fresh = [
        attempt_id
        for attempt_id in pairs
        if version not in {v for _, v in results_kept.result_ids(connection, attempt_id)}
    ]
    results_kept.add_results(connection, {i: pairs[i] for i in fresh}, version, by_hand=False)
    carried = {i: gathered.by_hand[i] for i in fresh if i in gathered.by_hand}
    results_kept.add_results(connection, carried, version, by_hand=True)
    paired = {attempt.number for attempt in pairs.values()}
    new = [attempt for attempt in found if attempt.number not in paired]
    asked = tasks(found, gathered.task)
    added = results_kept.add_attempts(connection, recording, new, asked, version)
    again = version != recording.pipeline_version
    if again:
        results_kept.change_recording(connection, recording.recording_id, pipeline_version=version)
    return Kept(
        replace(recording, pipeline_version=version),
        (*pairs, *added),
        is_new=False,
        analysed_again=again,
        moved={attempt_id: moved(connection, attempt_id) for attempt_id in fresh},
        lost=tuple(attempt_id for attempt_id in known if attempt_id not in pairs),
        carried=tuple(carried),
    )


def tasks(attempts: Sequence[Attempt], task: Task | None) -> dict[int, Task]:
    """Say for each attempt, by number, what was asked; told from the take-off if not given.

    A take-off that nobody saw is taken for what most others of the recording were.
    """
    if task is not None:
        return {attempt.number: task for attempt in attempts}
    seen = [_TASK_OF[a.take_off_style] for a in attempts if a.take_off_style is not None]
    usual = max(Task, key=seen.count)
    return {
        a.number: usual if a.take_off_style is None else _TASK_OF[a.take_off_style]
        for a in attempts
    }


def moved(connection: Connection, attempt_id: int) -> tuple[Moved, ...]:
    """Compare the newest pipeline's figures of an attempt with those of the one before."""
    found = results_kept.result_ids(connection, attempt_id)
    if len(found) < 2:
        return ()
    (old_id, old_version), (new_id, new_version) = found[-2:]
    old = results_kept.metrics_of(connection, old_id)
    new = results_kept.metrics_of(connection, new_id)
    none = Estimate(None, None, "not measured by that version", "")
    told = []
    for name in {**old, **new}:
        before, after = old.get(name, none), new.get(name, none)
        if before.value != after.value:
            told.append(Moved(name, before, after, old_version, new_version, beyond(before, after)))
    return tuple(told)


def beyond(old: Estimate, new: Estimate) -> bool:
    """Tell whether two figures differ by more than both sigmas together.

    >>> beyond(Estimate(1.0, 0.3, None, ""), Estimate(1.4, 0.4, None, ""))
    False
    >>> beyond(Estimate(1.0, 0.3, None, ""), Estimate(None, None, "gap", ""))
    True
    """
    if old.value is None or new.value is None:
        return old.value is not new.value
    return abs(new.value - old.value) > math.hypot(old.sigma or 0.0, new.sigma or 0.0)
