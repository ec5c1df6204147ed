"""What the store keeps and hands out: athletes, sessions, attempts, notes. Plain and frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum

from imujump.model import Estimate, GaitEvent, Side, Step, TakeOffStyle


class Task(StrEnum):
    """What the athlete was asked to do."""

    ONE_FOOT = "one_foot"
    TWO_FOOT = "two_foot"
    STANDING = "standing"


class NoteKind(StrEnum):
    """What a line of a session's log is about."""

    CUE = "cue"
    SEEN = "seen"
    PAIN = "pain"
    NEW_SET = "new_set"


class Standing(StrEnum):
    """Whether a recording's attempts count."""

    COUNTED = "counted"
    WAITING = "waiting"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Athlete:
    """A person; whatever is not known is ``None``.

    ``guardian_consent_on`` is the day on which a minor's guardian agreed.
    """

    athlete_id: int
    name: str
    birth_year: int | None = None
    stature_m: float | None = None
    leg_length_m: float | None = None
    take_off_side: Side | None = None
    guardian_consent_on: date | None = None


@dataclass(frozen=True, slots=True)
class BodyMeasure:
    """Body mass, and stature if it was taken, on a day."""

    on: date
    mass_kg: float
    stature_m: float | None = None


@dataclass(frozen=True, slots=True)
class Session:
    """One athlete's training, with what stays the same through it."""

    session_id: int
    athlete_id: int
    started_utc: datetime
    surface: str = ""
    shoe: str = ""
    place: str = ""
    mounting: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """A line of a session's log; ``attempt_id`` is the attempt that it follows or is about."""

    note_id: int
    session_id: int
    attempt_id: int | None
    noted_utc: datetime
    kind: NoteKind
    text: str


@dataclass(frozen=True, slots=True)
class StoredRecording:
    """A recording that results came from, known by its content.

    ``pipeline_version`` is the newest that analysed it; ``column_map`` is the text that says what
    the columns of a foreign table mean.
    """

    recording_id: int
    session_id: int
    sha256: str
    path: str
    standing: Standing
    remarks: tuple[str, ...] = ()
    added_utc: datetime | None = None
    started_utc: datetime | None = None
    duration_s: float = 0.0
    pipeline_version: str = ""
    column_map: str | None = None


@dataclass(frozen=True, slots=True)
class StoredAttempt:
    """An attempt with the results of one pipeline version.

    ``taken_utc`` is the instant of the last toe-off. ``invalid_mark`` is the coach's reason why
    it does not count, ``valid`` and ``reasons`` are the pipeline's word. ``hand_events`` tells
    whether the coach moved, added or removed events. ``first_task`` is what the task was before
    somebody corrected it. Times in seconds count from the recording's
    first sample.
    """

    attempt_id: int
    session_id: int
    athlete_id: int
    recording_id: int
    number: int
    task: Task
    taken_utc: datetime
    pipeline_version: str
    style: TakeOffStyle | None
    side: Side | None
    valid: bool
    reasons: tuple[str, ...] = ()
    invalid_mark: str | None = None
    standing: Standing = Standing.COUNTED
    hand_events: bool = False
    metrics: Mapping[str, Estimate] = field(default_factory=dict)
    events: tuple[GaitEvent, ...] = ()
    steps: tuple[Step, ...] = ()
    start_s: float = 0.0
    end_s: float = 0.0
    toe_off_s: float = 0.0
    landing_s: float = 0.0
    first_task: Task | None = None

    @property
    def counts(self) -> bool:
        """Whether means, trends and answers may use it."""
        return self.valid and self.invalid_mark is None and self.standing is Standing.COUNTED


@dataclass(frozen=True, slots=True)
class SessionOverview:
    """A session as a line of a list: how many attempts it has, count, and wait for the coach."""

    session: Session
    athlete_name: str
    attempts: int = 0
    counted: int = 0
    waiting: int = 0


@dataclass(frozen=True, slots=True)
class Moved:
    """A metric whose figure another analysis of the same samples changed.

    ``beyond`` tells whether the difference is larger than both sigmas together (root of the sum
    of squares), or the metric was gained or lost.
    """

    metric: str
    old: Estimate
    new: Estimate
    old_version: str
    new_version: str
    beyond: bool


@dataclass(frozen=True, slots=True)
class Kept:
    """What storing an analysis did.

    ``is_new`` tells that the recording was not there before, ``analysed_again`` that figures of
    another pipeline version were put beside those that were there. ``moved`` holds, by attempt,
    what these changed; ``lost`` are attempts that the new analysis does not find; ``carried`` are
    those to which events set by hand were carried over, and ``refused`` says, by attempt, which
    of them do not fit.
    """

    recording: StoredRecording
    attempt_ids: tuple[int, ...]
    is_new: bool
    analysed_again: bool = False
    moved: Mapping[int, tuple[Moved, ...]] = field(default_factory=dict)
    lost: tuple[int, ...] = ()
    carried: tuple[int, ...] = ()
    refused: Mapping[int, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Erased:
    """What was erased with an athlete; ``paths`` are the recordings' files, still to be removed.

    ``left`` says in sentences what could not be erased.
    """

    name: str
    sessions: int
    attempts: int
    notes: int
    body_measures: int
    paths: tuple[str, ...] = ()
    left: tuple[str, ...] = ()
