"""A metric over the sessions: what the address asks for, and what the page says. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from dashboard.review import words
from dashboard.review.query import link, number
from dashboard.review.trends_figure import trends_figure
from dashboard.wording import TASKS, metric_choices
from imujump.answers_in_words import MONTHS, error
from imujump.metric_course import (
    HEIGHT,
    MetricCourse,
    circumstances,
    days_of,
    filter_of,
    level_told,
    metric_course,
    tasks_of,
    usual_task,
)
from imujump.model import METRIC_NAMES, Side
from imujump.sessions.records import Task
from imujump.sessions.store import SessionStore

MOST_ROWS = 20
"""Sessions in the table, the newest (own choice: the picture shows them all)."""

CIRCUMSTANCES = {
    "surface": "Surface",
    "shoe": "Shoe",
    "mounting": "Mounting",
    "side": "Take-off foot",
}
"""Choices that are offered where the athlete's attempts differ in them."""

NOT_THESE = (
    "No attempt that counts fits these choices. Take one of them back, or wait for more sessions."
)
NO_ATTEMPTS = (
    "No attempt of this athlete counts yet. Add recordings with the command "
    "imujump add RECORDING --athlete NAME, or confirm those that wait on the page Sessions."
)


@dataclass(frozen=True, slots=True)
class Choice:
    """A list of choices: addresses with their texts, and the one that is shown."""

    label: str
    options: Mapping[str, str]
    own: str


@dataclass(frozen=True, slots=True)
class SessionLine:
    """A session of the table."""

    session_id: int
    day: str
    mean: str
    best: str
    n: int
    about: str


@dataclass(frozen=True, slots=True)
class TrendsView:
    """What the page shows.

    Attributes
    ----------
    athlete_id, athlete : int or None, str
        Whom it is about; None when no athlete is kept.
    choices : dict of str to Choice
        By the name in the address.
    sentence : str
        Whether the metric has changed; or why nothing can be shown.
    cautions, errors : tuple of str
        Conditions and growth; the athlete's own errors.
    figure : mapping or None
        For the graph.
    lines, more : tuple of SessionLine, int
        The newest sessions, and how many are not listed.
    """

    athlete_id: int | None
    athlete: str
    choices: Mapping[str, Choice]
    sentence: str
    changed: bool = False
    slope: str = ""
    meaning: str = ""
    cautions: tuple[str, ...] = ()
    errors: tuple[str, ...] = ()
    figure: Mapping[str, Any] | None = None
    said: str = ""
    lines: tuple[SessionLine, ...] = ()
    more: int = 0


def trends_view(store: SessionStore, told: Mapping[str, str]) -> TrendsView:
    """Gather the page.

    Parameters
    ----------
    store : SessionStore
        Read from.
    told : mapping of str to str
        The address's query: ``athlete``, ``metric``, ``task``, :data:`CIRCUMSTANCES`, ``from`` and
        ``to``. What is not understood is passed over. Without an athlete, the one of the newest
        session is shown.

    Raises
    ------
    NotKeptError
        If there is no such athlete.
    """
    athletes = {athlete.athlete_id: athlete for athlete in store.athletes()}
    athlete_id = number(told.get("athlete"))
    if athlete_id is None:
        newest = store.sessions(None, 0, 1)
        athlete_id = newest[0].session.athlete_id if newest else next(iter(athletes), None)
    if athlete_id is None:
        return TrendsView(None, "", {}, words.NO_SESSIONS)
    athlete = athletes.get(athlete_id) or store.athlete(athlete_id)
    metric = told.get("metric", "")
    metric = metric if metric in METRIC_NAMES else HEIGHT
    table = store.series(athlete_id, (metric,))
    tasks = tasks_of(table)
    asked = told.get("task", "")
    task = next((each for each in tasks if each.value == asked), None) or usual_task(table)
    usual = usual_task(table)
    asked_now = {
        "athlete": str(athlete_id),
        "metric": metric if metric != HEIGHT else None,
        "task": task.value if task is not None and task is not usual else None,
        **{name: told.get(name) or None for name in (*CIRCUMSTANCES, "from", "to")},
    }
    names = {str(each.athlete_id): each.name for each in athletes.values()}
    choices = _choices(asked_now, names, tasks, table, usual)
    if task is None:
        return TrendsView(athlete_id, athlete.name, choices, NO_ATTEMPTS)
    side = next((each for each in Side if each.value == told.get("side")), None)
    wanted = filter_of(
        task,
        day_of(told.get("from")),
        day_of(told.get("to")),
        side=side,
        surface=told.get("surface") or None,
        shoe=told.get("shoe") or None,
        mounting=told.get("mounting") or None,
    )
    course = metric_course(athlete, store.body_measures(athlete_id), table, metric, wanted)
    if not course.sessions:
        return TrendsView(athlete_id, athlete.name, choices, NOT_THESE)
    return _filled(TrendsView(athlete_id, athlete.name, choices, course.sentence), course)


def _filled(view: TrendsView, course: MetricCourse) -> TrendsView:
    found, unit = course.trend, course.wording
    errors = []
    if found.error is not None:
        errors.append(
            f"Typical error of one attempt: {error(found.error.value, unit)} "
            f"({found.error.n} attempts in {found.error.groups} sessions)."
        )
    if found.single_change is not None:
        errors.append(
            "Least detectable change between two attempts of a session: "
            f"{error(found.single_change, unit)}."
        )
    if found.session_change is not None:
        errors.append(
            "Least detectable change between two usual sessions: "
            f"{error(found.session_change, unit)}."
        )
    n = len(course.sessions)
    return replace(
        view,
        changed=course.changed,
        slope=course.slope,
        meaning=unit.meaning,
        cautions=course.cautions,
        errors=tuple(errors),
        figure=trends_figure(course),
        said=(
            f"{words.label(course.metric)} over {n} sessions. {course.sentence} "
            "The newest sessions stand in the list below."
        ),
        lines=tuple(_line(course, n - 1 - k) for k in range(min(n, MOST_ROWS))),
        more=max(0, n - MOST_ROWS),
    )


def _line(course: MetricCourse, place: int) -> SessionLine:
    level, conditions = course.trend.levels[place], course.sessions[place].conditions
    about = (conditions.surface, conditions.shoe, conditions.mounting, *sorted(conditions.sides))
    return SessionLine(
        level.session_id,
        words.day(level.started_utc),
        level_told(level, course.wording),
        words.value(course.metric, level.best),
        level.n,
        ", ".join(text for text in about if text),
    )


def _choices(
    asked: Mapping[str, str | None],
    names: Mapping[str, str],
    tasks: Sequence[Task],
    table: Any,
    usual: Task | None,
) -> dict[str, Choice]:
    metrics = {each["name"]: each["label"] for each in metric_choices()}
    found = {
        # Other people have other shoes and days: these choices do not go along.
        "athlete": _choice("Athlete", _only(asked, "metric", "task"), asked, "athlete", names),
        "metric": _choice("Metric", asked, asked, "metric", metrics, HEIGHT),
    }
    if tasks:
        told = {task.value: TASKS[task.value] for task in tasks}
        found["task"] = _choice("Task", asked, asked, "task", told, usual)
    held = circumstances(table)
    for name, label in CIRCUMSTANCES.items():
        if len(held[name]) > 1 or asked[name]:
            values = {"": "all", **{each: each for each in held[name]}}
            found[name] = _choice(label, asked, asked, name, values)
    days = days_of(table)
    if days is not None:
        months = _months(*days)
        begins = {"": "the first", **{str(first): _month(first) for first, _ in months}}
        ends = {"": "the latest", **{str(last): _month(last) for _, last in months}}
        found["from"] = _choice("From", asked, asked, "from", begins)
        found["to"] = _choice("To", asked, asked, "to", ends)
    return found


def _choice(
    label: str,
    along: Mapping[str, str | None],
    asked: Mapping[str, str | None],
    name: str,
    values: Mapping[str, str],
    usual: str | None = None,
) -> Choice:
    """Make a list; ``along`` are the choices that stay, ``usual`` is left out of addresses."""

    def address(value: str) -> str:
        return link("/trends", {**along, name: None if value == usual else value})

    options = {address(value): text for value, text in values.items()}
    own = address(asked[name] or usual or "")
    options.setdefault(own, asked[name] or "")
    return Choice(label, options, own)


def _only(asked: Mapping[str, str | None], *names: str) -> dict[str, str | None]:
    # The athlete stands first in an address.
    return {"athlete": None, **{name: asked[name] for name in names}}


def _months(first: date, last: date) -> list[tuple[date, date]]:
    """List the first and last days of the months that a time touches."""
    found = []
    for k in range(first.year * 12 + first.month - 1, last.year * 12 + last.month):
        begin, after = date(k // 12, k % 12 + 1, 1), date((k + 1) // 12, (k + 1) % 12 + 1, 1)
        found.append((begin, after - timedelta(days=1)))
    return found


def _month(day: date) -> str:
    return f"{MONTHS[day.month - 1]} {day.year}"


def day_of(text: str | None) -> date | None:
    """Read a day of an address; None for what is none.

    >>> day_of("2026-03-01"), day_of("2026-02-30"), day_of(None)
    (datetime.date(2026, 3, 1), None, None)
    """
    try:
        return date.fromisoformat(text or "")
    except ValueError:
        return None
