"""From the store to one session: its attempts in order with what was said between them. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.review import words
from dashboard.review.query import metrics
from imujump.sessions.path_words import file_name
from imujump.sessions.records import (
    Note,
    NoteKind,
    Session,
    Standing,
    StoredAttempt,
    StoredRecording,
    Task,
)
from imujump.sessions.store import SessionStore
from imujump.sessions.through_session import course, landings, level
from imujump.wording import METRICS


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of an attempt, ready to be shown; ``doubt`` is its reason."""

    label: str
    meaning: str
    value: str
    sigma: str
    unit: str
    doubt: str


@dataclass(frozen=True, slots=True)
class AttemptLine:
    """One attempt of the session; ``place`` counts from 1 in order of time."""

    attempt_id: int
    place: int
    clock: str
    take_off: str
    asked: str
    task: Task
    is_corrected: bool
    figures: tuple[Figure, ...]
    why_not: str | None
    mark: str | None
    waiting: bool
    by_hand: bool


@dataclass(frozen=True, slots=True)
class NoteLine:
    """One line of the session's log."""

    note_id: int
    what: str
    text: str
    warns: bool


@dataclass(frozen=True, slots=True)
class TaskSummary:
    """Best, mean and course of the attempts of one task that count."""

    task: str
    counts: int
    best: str
    mean: str
    course: str


@dataclass(frozen=True, slots=True)
class RecordingLine:
    """A recording whose attempts do not count, or not yet."""

    recording_id: int
    name: str
    standing: Standing
    attempts: int
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AskedLine:
    """The attempts of a recording, and whether somebody corrected the task of any."""

    recording_id: int
    name: str
    is_corrected: bool


@dataclass(frozen=True, slots=True)
class Bar:
    """One attempt's height for the small picture, metres; each task has a mean of its own."""

    task: str
    place: int
    value: float
    sigma: float | None
    counts: bool


@dataclass(frozen=True, slots=True)
class SessionView:
    """All that the page shows of a session."""

    session: Session
    athlete: str
    shown: tuple[str, ...]
    lines: tuple[AttemptLine | NoteLine, ...]
    tasks: tuple[TaskSummary, ...]
    jumps: str
    landings: tuple[str, ...]
    recordings: tuple[RecordingLine, ...]
    bars: tuple[Bar, ...]
    asked: tuple[AskedLine, ...]


def session_view(store: SessionStore, session_id: int, told: dict[str, str]) -> SessionView:
    """Gather a session.

    Parameters
    ----------
    store : SessionStore
        Read from.
    session_id : int
        Which.
    told : dict of str to str
        The address's query: ``show`` names metrics.

    Raises
    ------
    NotKeptError
        If there is no such session.
    """
    session = store.session(session_id)
    attempts = store.attempts(session_id)
    recordings = store.recordings(session_id)
    counting = [attempt for attempt in attempts if attempt.counts]
    shown = metrics(told.get("show"), words.SHOWN)
    return SessionView(
        session,
        store.athlete(session.athlete_id).name,
        shown,
        _in_order(attempts, store.notes(session_id), shown),
        _tasks(counting),
        _jumps(attempts),
        tuple(words.landings_told(landings(counting))) if counting else (),
        _recordings(recordings, attempts),
        _bars(attempts),
        _asked(recordings, attempts),
    )


def figure(name: str, attempt: StoredAttempt) -> Figure:
    """Show one metric of an attempt."""
    estimate = attempt.metrics.get(name)
    return Figure(
        words.label(name),
        METRICS[name].meaning,
        words.value(name, None if estimate is None else estimate.value),
        words.sigma(name, estimate),
        words.unit(name),
        "not measured by that version" if estimate is None else estimate.reason or "",
    )


def _in_order(
    attempts: Sequence[StoredAttempt], notes: Sequence[Note], shown: Sequence[str]
) -> tuple[AttemptLine | NoteLine, ...]:
    """Attempts by time; a note follows its attempt, or what came before it."""
    own = {attempt.attempt_id for attempt in attempts}
    after: dict[int | None, list[NoteLine]] = {}
    for note in notes:
        place = note.attempt_id
        if place not in own:
            earlier = [a.attempt_id for a in attempts if a.taken_utc <= note.noted_utc]
            place = earlier[-1] if earlier else None
        after.setdefault(place, []).append(_note(note))
    lines: list[AttemptLine | NoteLine] = [*after.get(None, [])]
    for number, attempt in enumerate(attempts, 1):
        lines.append(_attempt(number, attempt, shown))
        lines.extend(after.get(attempt.attempt_id, []))
    return tuple(lines)


def _note(note: Note) -> NoteLine:
    return NoteLine(note.note_id, words.NOTES[note.kind], note.text, note.kind is NoteKind.PAIN)


def _attempt(place: int, attempt: StoredAttempt, shown: Sequence[str]) -> AttemptLine:
    return AttemptLine(
        attempt.attempt_id,
        place,
        words.clock(attempt.taken_utc),
        words.take_off(attempt),
        words.task_beyond(attempt),
        attempt.task,
        attempt.first_task is not None,
        tuple(figure(name, attempt) for name in shown),
        words.why_not(attempt),
        attempt.invalid_mark,
        attempt.standing is Standing.WAITING,
        attempt.hand_events,
    )


def _tasks(counting: Sequence[StoredAttempt]) -> tuple[TaskSummary, ...]:
    found = []
    for task in dict.fromkeys(attempt.task for attempt in counting):
        own = [attempt for attempt in counting if attempt.task is task]
        heights = [
            estimate.value
            for attempt in own
            if (estimate := attempt.metrics.get(words.HEIGHT)) and estimate.value is not None
        ]
        reached = level(heights)
        found.append(
            TaskSummary(
                words.task(own[0]),
                len(own),
                "–" if reached is None else words.with_unit(words.HEIGHT, reached.best),
                "–" if reached is None else words.mean_told(words.HEIGHT, reached),
                words.course_told(words.HEIGHT, course(heights)),
            )
        )
    return tuple(found)


def _jumps(attempts: Sequence[StoredAttempt]) -> str:
    counts = sum(attempt.counts for attempt in attempts)
    waiting = sum(attempt.standing is Standing.WAITING for attempt in attempts)
    refused = sum(attempt.standing is Standing.REFUSED for attempt in attempts)
    others = len(attempts) - counts - waiting - refused
    told = [words.counted(len(attempts), "jump", "jumps")]
    if counts != len(attempts):
        told.append(f"{counts} {'counts' if counts == 1 else 'count'}")
    for number, text in (
        (waiting, "waiting for your word"),
        (refused, "of refused recordings"),
        (others, "not valid or marked"),
    ):
        if number:
            told.append(f"{number} {text}")
    return ", ".join(told)


def _recordings(
    recordings: Sequence[StoredRecording], attempts: Sequence[StoredAttempt]
) -> tuple[RecordingLine, ...]:
    return tuple(
        RecordingLine(
            each.recording_id,
            file_name(each.path),
            each.standing,
            sum(attempt.recording_id == each.recording_id for attempt in attempts),
            each.remarks,
        )
        for each in recordings
        if each.standing is not Standing.COUNTED or each.remarks
    )


def _asked(
    recordings: Sequence[StoredRecording], attempts: Sequence[StoredAttempt]
) -> tuple[AskedLine, ...]:
    found = []
    for recording in recordings:
        own = [a for a in attempts if a.recording_id == recording.recording_id]
        if own:
            corrected = any(attempt.first_task is not None for attempt in own)
            found.append(AskedLine(recording.recording_id, file_name(recording.path), corrected))
    return tuple(found)


def _bars(attempts: Sequence[StoredAttempt]) -> tuple[Bar, ...]:
    found = []
    for place, attempt in enumerate(attempts, 1):
        estimate = attempt.metrics.get(words.HEIGHT)
        if estimate is not None and estimate.value is not None:
            found.append(
                Bar(words.task(attempt), place, estimate.value, estimate.sigma, attempt.counts)
            )
    return tuple(found)
