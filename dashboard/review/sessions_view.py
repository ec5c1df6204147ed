"""From the store to the list of sessions. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.review import words
from dashboard.review.query import number
from imujump.sessions.path_words import file_name
from imujump.sessions.records import SessionOverview, Task
from imujump.sessions.store import SessionStore
from imujump.sessions.through_session import level

ROWS = 50
"""Sessions on one page of the list (own choice: a season of one athlete, two screens)."""

WAITING_SHOWN = 20
"""Waiting recordings named above the list; the rest are counted (own choice)."""


@dataclass(frozen=True, slots=True)
class TaskHeights:
    """Best and mean of the attempts of one task."""

    task: str
    best: str
    mean: str


@dataclass(frozen=True, slots=True)
class Line:
    """One session of the list; texts are ready to be shown."""

    session_id: int
    athlete: str
    day: str
    clock: str
    about: str
    attempts: int
    counted: int
    waiting: int
    heights: tuple[TaskHeights, ...]


@dataclass(frozen=True, slots=True)
class WaitingLine:
    """A recording that waits for the coach."""

    session_id: int
    name: str
    day: str


@dataclass(frozen=True, slots=True)
class SessionsView:
    """One page of the list. ``athletes`` are all that can be chosen, by id."""

    athletes: dict[int, str]
    athlete_id: int | None
    lines: tuple[Line, ...]
    total: int
    page: int
    pages: int
    waiting: tuple[WaitingLine, ...]
    more_waiting: int


def sessions_view(store: SessionStore, told: dict[str, str]) -> SessionsView:
    """Gather one page of the list.

    Parameters
    ----------
    store : SessionStore
        Read from.
    told : dict of str to str
        The address's query: ``athlete`` and ``page``.

    Raises
    ------
    NotKeptError
        If there is no such athlete.
    """
    athlete_id = number(told.get("athlete"))
    if athlete_id is not None:
        store.athlete(athlete_id)
    total = store.number_of_sessions(athlete_id)
    pages = max(1, -(-total // ROWS))
    page = min(max(number(told.get("page")) or 1, 1), pages)
    found = store.sessions(athlete_id, ROWS * (page - 1), ROWS)
    heights = store.counting_values([o.session.session_id for o in found], words.HEIGHT)
    waiting = store.waiting(athlete_id)
    return SessionsView(
        {athlete.athlete_id: athlete.name for athlete in store.athletes()},
        athlete_id,
        tuple(_line(o, heights.get(o.session.session_id, {})) for o in found),
        total,
        page,
        pages,
        tuple(
            WaitingLine(
                each.session_id,
                file_name(each.path),
                words.day(each.started_utc) if each.started_utc else "",
            )
            for each in waiting[:WAITING_SHOWN]
        ),
        max(0, len(waiting) - WAITING_SHOWN),
    )


def _line(overview: SessionOverview, heights: dict[Task, list[float]]) -> Line:
    session = overview.session
    return Line(
        session.session_id,
        overview.athlete_name,
        words.day(session.started_utc),
        words.clock(session.started_utc),
        ", ".join(text for text in (session.surface, session.shoe, session.place) if text),
        overview.attempts,
        overview.counted,
        overview.waiting,
        tuple(
            TaskHeights(
                words.SHORT_TASKS[task],
                words.value(words.HEIGHT, found.best),
                words.value(words.HEIGHT, found.mean),
            )
            for task in Task
            if (found := level(heights.get(task, []))) is not None
        ),
    )
