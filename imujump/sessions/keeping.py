"""Keeps analyses of recordings: the first one, and later ones beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection

from imujump.model import Analysis, Attempt, Estimate, TakeOffStyle
from imujump.sessions import results_kept
from imujump.sessions.records import Kept, Moved, StoredRecording, Task
from imujump.sessions.schema import recordings

_TASK_OF = {TakeOffStyle.ONE_FOOT: Task.ONE_FOOT, TakeOffStyle.TWO_FOOT: Task.TWO_FOOT}


def first(
    connection: Connection,
    facts: Mapping[str, Any],
    analysis: Analysis,
    version: str,
    task: Task | None,
) -> Kept:
    """Keep a new recording with its attempts."""
    recording_id = results_kept.add_recording(connection, facts)
    (recording,) = results_kept.recording_by(connection, recordings.c.recording_id == recording_id)
    ids = results_kept.add_attempts(
        connection, recording, analysis.attempts, tasks(analysis.attempts, task), version
    )
    return Kept(recording, tuple(ids), is_new=True)


def again(
    connection: Connection,
    recording: StoredRecording,
    analysis: Analysis,
    version: str,
    task: Task | None,
) -> Kept:
    """Put another analysis of a recording beside those that are kept."""
    known = results_kept.toe_offs(connection, recording.recording_id)
    pairs = results_kept.same_jumps(known, analysis.attempts)
    fresh = [
        attempt_id
        for attempt_id in pairs
        if version not in {v for _, v in results_kept.result_ids(connection, attempt_id)}
    ]
    results_kept.add_results(connection, {i: pairs[i] for i in fresh}, version, by_hand=False)
    paired = {attempt.number for attempt in pairs.values()}
    new = [attempt for attempt in analysis.attempts if attempt.number not in paired]
    added = results_kept.add_attempts(
        connection, recording, new, tasks(analysis.attempts, task), version
    )
    return Kept(
        recording,
        (*pairs, *added),
        is_new=False,
        analysed_again=bool(fresh or added),
        moved={attempt_id: moved(connection, attempt_id) for attempt_id in fresh},
        lost=tuple(attempt_id for attempt_id in known if attempt_id not in pairs),
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
