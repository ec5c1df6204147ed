"""The newest sessions of one athlete, and which cue went with higher jumps in them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from imujump.metric_course import HEIGHT
from imujump.sessions.best_speed import Run
from imujump.sessions.cues import CueAnswer, cue_effect, cue_episodes
from imujump.sessions.interval import LEVEL
from imujump.sessions.readings import finite_value
from imujump.sessions.records import Note, NoteKind, Session, StoredAttempt, Task
from imujump.sessions.store import SessionStore

NEWEST = 40
"""Sessions that questions look at (own choice: about half a year of training twice a week; what
held before need not hold now)."""

SPEED = "approach_speed_mps"


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer in sentences, the first the chief one, with a picture; ``""`` for none."""

    sentences: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    picture: str = ""
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Recent:
    """The newest sessions of an athlete with all that was noted in them.

    ``sessions`` are in order of time.
    """

    attempts: tuple[StoredAttempt, ...]
    notes: tuple[Note, ...]
    sessions: tuple[Session, ...]

    def of(self, task: Task) -> list[StoredAttempt]:
        """List the attempts of a task."""
        return [attempt for attempt in self.attempts if attempt.task is task]

    @property
    def cues(self) -> dict[str, str]:
        """The cues that were given, the most usual first: plain words to words as given last."""
        told = [note for note in self.notes if note.kind is NoteKind.CUE and note.text.strip()]
        counted = Counter(plain(note.text) for note in told)
        words = {plain(note.text): note.text.strip() for note in told}
        return {key: words[key] for key, _ in counted.most_common()}


def recent(store: SessionStore, athlete_id: int, newest: int = NEWEST) -> Recent:
    """Read the newest sessions of an athlete."""
    sessions = [overview.session for overview in store.sessions(athlete_id, 0, newest)]
    if not sessions:
        return Recent((), (), ())
    sessions.sort(key=lambda session: (session.started_utc, session.session_id))
    since = sessions[0].started_utc
    return Recent(
        tuple(store.attempts_of(athlete_id, since=since, with_steps=False)),
        tuple(store.notes_of(athlete_id, since)),
        tuple(sessions),
    )


def load_statistics() -> None:
    """Load the libraries of statistics ahead of the first question: it takes a second or two."""
    import statsmodels.regression.linear_model
    import statsmodels.stats.multitest  # noqa: F401


def plain(text: str) -> str:
    """Give a cue's words without case and superfluous blanks.

    >>> plain(" Low  into plant ")
    'low into plant'
    """
    return " ".join(text.casefold().split())


def answer_to_cue(found: Recent, task: Task, cue: str, level: float = LEVEL) -> CueAnswer:
    """Compare height after and before a cue."""
    return cue_effect(cue_episodes(found.attempts, found.notes, HEIGHT, cue, task), level)


def cue_that_helped(found: Recent, task: Task) -> tuple[str, CueAnswer] | None:
    """Give the cue that surely went with higher jumps; the level allows for all that were given."""
    best = None
    cues = found.cues
    for key, words in cues.items():
        answer = answer_to_cue(found, task, key, 1.0 - (1.0 - LEVEL) / len(cues))
        difference = answer.difference
        if not difference.told or difference.value is None or difference.value <= 0.0:
            continue
        if best is None or difference.value > best[2]:
            best = words, answer, difference.value
    return None if best is None else best[:2]


def runs_of(attempts: Sequence[StoredAttempt]) -> list[Run]:
    """Give approach speed and height of the attempts that count, numbered within sessions."""
    order: Counter[int] = Counter()
    found = []
    for attempt in attempts:
        order[attempt.session_id] += 1
        speed, height = (finite_value(attempt, name) for name in (SPEED, HEIGHT))
        if attempt.counts and speed is not None and height is not None:
            sigma = attempt.metrics[SPEED].sigma
            found.append(Run(attempt.session_id, order[attempt.session_id], speed, sigma, height))
    return found


def within(found: Recent, since: datetime | None, until: datetime | None) -> Recent:
    """Keep what lies in a period."""
    low = since or datetime.min.replace(tzinfo=UTC)
    high = until or datetime.max.replace(tzinfo=UTC)
    sessions = tuple(s for s in found.sessions if low <= s.started_utc < high)
    held = {session.session_id for session in sessions}
    return Recent(
        tuple(a for a in found.attempts if a.session_id in held),
        tuple(note for note in found.notes if note.session_id in held),
        sessions,
    )
