"""Recordings, attempts and their results in the tables.

An attempt is a jump of a recording; it keeps its number and its address for good. Each analysis
of it is a result: one for each pipeline version, and one for each correction by hand. The
attempt names the result that is shown: the newest correction by hand, else that of the newest
pipeline.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    Row,
    Table,
    bindparam,
    case,
    func,
    insert,
    select,
    update,
)

from imujump.model import Attempt, Estimate, Side, TakeOffStyle
from imujump.sessions.figures_text import (
    events_kept,
    events_read,
    finite,
    steps_kept,
    steps_read,
)
from imujump.sessions.plain_text import clean_text
from imujump.sessions.records import Standing, StoredAttempt, StoredRecording, Task
from imujump.sessions.schema import (
    attempts,
    contacts,
    invalid_marks,
    metrics,
    recordings,
    results,
    sessions,
)
from imujump.sessions.sessions_kept import UNMARKED

SAME_JUMP_S = 0.5
"""Two analyses of a recording mean the same jump when its toe-offs lie no further apart (own
choice: longer than toe-offs are ever corrected, shorter than two jumps follow each other)."""


def recording_by(connection: Connection, condition: ColumnElement[bool]) -> list[StoredRecording]:
    """List recordings that fulfil a condition, in the order in which they were made."""
    rows = connection.execute(
        select(recordings)
        .join(sessions)
        .where(condition)
        .order_by(recordings.c.started_utc, recordings.c.recording_id)
    )
    return [
        StoredRecording(
            row.recording_id,
            row.session_id,
            row.sha256,
            row.path,
            Standing(row.standing),
            tuple(row.remarks),
            row.added_utc,
            row.started_utc,
            row.duration_s,
            row.pipeline_version,
            row.column_map,
        )
        for row in rows
    ]


def owner(connection: Connection, sha256: str) -> int | None:
    """Return the id of the athlete for whom a recording is kept."""
    return connection.execute(
        select(sessions.c.athlete_id).join(recordings).where(recordings.c.sha256 == sha256)
    ).scalar()


def add_recording(connection: Connection, facts: Mapping[str, Any]) -> int:
    """Add a recording and return its id."""
    inserted = connection.execute(insert(recordings).values(**facts))
    assert inserted.inserted_primary_key is not None
    return int(inserted.inserted_primary_key[0])


def change_recording(connection: Connection, recording_id: int, **facts: Any) -> bool:
    """Change facts of a recording; tells whether there is one."""
    changed = connection.execute(
        update(recordings).where(recordings.c.recording_id == recording_id).values(**facts)
    )
    return changed.rowcount > 0


def add_attempts(
    connection: Connection,
    recording: StoredRecording,
    found: Sequence[Attempt],
    tasks: Mapping[int, Task],
    version: str,
) -> list[int]:
    """Add attempts with one result each; a later one gets the next number that is free."""
    if not found:
        return []
    highest = connection.execute(
        select(func.max(attempts.c.number)).where(attempts.c.recording_id == recording.recording_id)
    ).scalar()
    started = recording.started_utc or datetime.fromtimestamp(0, UTC)
    rows = [
        {
            "recording_id": recording.recording_id,
            "number": attempt.number if highest is None else highest + place,
            "task": str(tasks[attempt.number]),
            "taken_utc": started + timedelta(seconds=float(attempt.toe_off_s)),
        }
        for place, attempt in enumerate(found, start=1)
    ]
    ids = _insert_all(connection, attempts, attempts.c.attempt_id, rows)
    add_results(connection, dict(zip(ids, found, strict=True)), version, by_hand=False)
    return ids


def _insert_all(
    connection: Connection, table: Table, key: Column[Any], rows: Sequence[Mapping[str, Any]]
) -> list[int]:
    statement = insert(table).returning(key, sort_by_parameter_order=True)
    return [int(each) for each in connection.execute(statement, [*rows]).scalars()]


def add_results(
    connection: Connection, analysed: Mapping[int, Attempt], version: str, by_hand: bool
) -> None:
    """Add an analysis of each attempt and show it, unless a correction by hand is shown."""
    if not analysed:
        return
    rows = [_result(attempt_id, a, version, by_hand) for attempt_id, a in analysed.items()]
    ids = _insert_all(connection, results, results.c.result_id, rows)
    connection.execute(
        insert(contacts),
        [
            {"result_id": i, "events": events_kept(a.events), "steps": steps_kept(a.steps)}
            for i, a in zip(ids, analysed.values(), strict=True)
        ],
    )
    figures = [
        {
            "result_id": result_id,
            "name": name,
            "value": finite(estimate.value),
            "sigma": finite(estimate.sigma),
            "reason": estimate.reason,
            "method": estimate.method,
        }
        for result_id, attempt in zip(ids, analysed.values(), strict=True)
        for name, estimate in attempt.metrics.items()
    ]
    if figures:
        connection.execute(insert(metrics), figures)
    corrected = set() if by_hand else _shown_by_hand(connection, analysed)
    pairs = zip(analysed, ids, strict=True)
    show(connection, {attempt_id: i for attempt_id, i in pairs if attempt_id not in corrected})


def _shown_by_hand(connection: Connection, attempt_ids: Iterable[int]) -> set[int]:
    rows = connection.execute(
        select(attempts.c.attempt_id)
        .join(results, attempts.c.result_id == results.c.result_id)
        .where(attempts.c.attempt_id.in_([*attempt_ids]), results.c.hand_events)
    )
    return set(rows.scalars())


def _result(attempt_id: int, attempt: Attempt, version: str, by_hand: bool) -> dict[str, Any]:
    return {
        "attempt_id": attempt_id,
        "pipeline_version": version,
        "hand_events": by_hand,
        "made_utc": datetime.now(UTC),
        "start_s": float(attempt.start_s),
        "end_s": float(attempt.end_s),
        "toe_off_s": float(attempt.toe_off_s),
        "landing_s": float(attempt.landing_s),
        "style": None if attempt.take_off_style is None else str(attempt.take_off_style),
        "side": None if attempt.take_off_side is None else str(attempt.take_off_side),
        "valid": bool(attempt.valid),
        "reasons": list(attempt.reasons),
    }


def show(connection: Connection, shown: Mapping[int, int]) -> None:
    """Make results, by attempt, those that are shown."""
    if shown:
        connection.execute(
            update(attempts)
            .where(attempts.c.attempt_id == bindparam("of"))
            .values(result_id=bindparam("which")),
            [{"of": attempt_id, "which": result_id} for attempt_id, result_id in shown.items()],
        )


def result_ids(
    connection: Connection, attempt_id: int, by_hand: bool = False
) -> list[tuple[int, str]]:
    """List an attempt's results, oldest first: id and pipeline version."""
    rows = connection.execute(
        select(results.c.result_id, results.c.pipeline_version)
        .where(results.c.attempt_id == attempt_id, results.c.hand_events == by_hand)
        .order_by(results.c.result_id)
    )
    return [(row.result_id, row.pipeline_version) for row in rows]


def toe_offs(connection: Connection, recording_id: int) -> dict[int, float]:
    """Give for each attempt of a recording its toe-off as the newest pipeline saw it."""
    rows = connection.execute(
        select(results.c.attempt_id, results.c.toe_off_s)
        .join(attempts, attempts.c.attempt_id == results.c.attempt_id)
        .where(attempts.c.recording_id == recording_id, results.c.hand_events.is_(False))
        .order_by(results.c.result_id)
    )
    return {row.attempt_id: row.toe_off_s for row in rows}


def same_jumps(known: Mapping[int, float], found: Sequence[Attempt]) -> dict[int, Attempt]:
    """Pair attempts that are kept with those of a new analysis, the nearest first.

    Parameters
    ----------
    known : mapping of int to float
        Toe-off by attempt id, seconds.
    found : sequence of Attempt
        What the new analysis found.
    """
    nearness = sorted(
        (abs(attempt.toe_off_s - toe_off_s), attempt_id, place)
        for attempt_id, toe_off_s in known.items()
        for place, attempt in enumerate(found)
    )
    pairs: dict[int, Attempt] = {}
    taken: set[int] = set()
    for apart_s, attempt_id, place in nearness:
        if apart_s <= SAME_JUMP_S and attempt_id not in pairs and place not in taken:
            pairs[attempt_id] = found[place]
            taken.add(place)
    return pairs


def stored(
    connection: Connection,
    condition: ColumnElement[bool],
    every_result: bool = False,
    with_steps: bool = True,
) -> list[StoredAttempt]:
    """List attempts that fulfil a condition, in order, with all that is known of each.

    With ``every_result`` each result of an attempt comes as a record of its own. Without
    ``with_steps`` events and steps are left out, which takes half as long.
    """
    joined = (
        attempts.c.attempt_id == results.c.attempt_id
        if every_result
        else attempts.c.result_id == results.c.result_id
    )
    source = (
        sessions.join(recordings)
        .join(attempts)
        .join(results, joined)
        .outerjoin(invalid_marks, UNMARKED)
    )
    if with_steps:
        source = source.join(contacts, contacts.c.result_id == results.c.result_id)
    columns = (
        attempts.c.attempt_id,
        attempts.c.number,
        attempts.c.task,
        attempts.c.first_task,
        attempts.c.taken_utc,
        recordings.c.recording_id,
        recordings.c.session_id,
        recordings.c.standing,
        sessions.c.athlete_id,
        invalid_marks.c.reason.label("invalid_mark"),
        *((contacts.c.events, contacts.c.steps) if with_steps else ()),
        *(column for column in results.c if column.name != "attempt_id"),
    )
    rows = connection.execute(
        select(*columns)
        .select_from(source)
        .where(condition)
        .order_by(attempts.c.taken_utc, attempts.c.attempt_id, results.c.result_id)
    ).all()
    wanted = select(results.c.result_id).select_from(source).where(condition)
    by_result = _metrics(connection, metrics.c.result_id.in_(wanted))
    return [_attempt(row, by_result.get(row.result_id, {}), with_steps) for row in rows]


def _metrics(
    connection: Connection, condition: ColumnElement[bool]
) -> dict[int, dict[str, Estimate]]:
    found: dict[int, dict[str, Estimate]] = defaultdict(dict)
    columns = (metrics.c[name] for name in ("result_id", "name", *Estimate.__slots__))
    for result_id, name, value, sigma, reason, method in connection.execute(
        select(*columns).where(condition)
    ).all():
        found[result_id][name] = Estimate(value, sigma, reason, method)
    return found


def metrics_of(connection: Connection, result_id: int) -> dict[str, Estimate]:
    """Give the metrics of one result."""
    return _metrics(connection, metrics.c.result_id == result_id).get(result_id, {})


def _attempt(row: Row[Any], estimates: Mapping[str, Estimate], with_steps: bool) -> StoredAttempt:
    return StoredAttempt(
        attempt_id=row.attempt_id,
        session_id=row.session_id,
        athlete_id=row.athlete_id,
        recording_id=row.recording_id,
        number=row.number,
        task=Task(row.task),
        taken_utc=row.taken_utc,
        pipeline_version=row.pipeline_version,
        style=None if row.style is None else TakeOffStyle(row.style),
        side=None if row.side is None else Side(row.side),
        valid=row.valid,
        reasons=tuple(row.reasons),
        invalid_mark=row.invalid_mark,
        standing=Standing(row.standing),
        hand_events=row.hand_events,
        metrics=estimates,
        events=events_read(row.events) if with_steps else (),
        steps=steps_read(row.steps) if with_steps else (),
        start_s=row.start_s,
        end_s=row.end_s,
        toe_off_s=row.toe_off_s,
        landing_s=row.landing_s,
        first_task=None if row.first_task is None else Task(row.first_task),
    )


def withdraw_mark(connection: Connection, attempt_id: int, at: datetime) -> bool:
    """Take back the mark that an attempt does not count; tells whether there was one."""
    changed = connection.execute(
        update(invalid_marks)
        .where(invalid_marks.c.attempt_id == attempt_id, invalid_marks.c.withdrawn_utc.is_(None))
        .values(withdrawn_utc=at)
    )
    return changed.rowcount > 0


def add_mark(connection: Connection, attempt_id: int, reason: str, at: datetime) -> None:
    """Mark that an attempt does not count; an earlier mark is taken back."""
    withdraw_mark(connection, attempt_id, at)
    connection.execute(
        insert(invalid_marks).values(
            attempt_id=attempt_id, reason=clean_text(reason), marked_utc=at
        )
    )


def set_task(connection: Connection, condition: ColumnElement[bool], task: Task) -> None:
    """Say what the athlete was asked to do; what was said first stays noted."""
    first = func.coalesce(attempts.c.first_task, attempts.c.task)
    connection.execute(
        update(attempts)
        .where(condition)
        .values(task=task.value, first_task=case((first == task.value, None), else_=first))
    )


def withdraw_task(connection: Connection, condition: ColumnElement[bool]) -> None:
    """Take corrections of the task back."""
    connection.execute(
        update(attempts)
        .where(condition, attempts.c.first_task.is_not(None))
        .values(task=attempts.c.first_task, first_task=None)
    )
