"""One metric of one athlete through the sessions: what trends and report say and draw of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

import pandas as pd

from imujump.answers_in_words import (
    change_cautions,
    change_sentence,
    day,
    growth_sentence,
    slope_sentence,
)
from imujump.display_units import display_sigma, display_value
from imujump.pictures.course import Point, Stretch, course_picture
from imujump.sessions.changes import Verdict
from imujump.sessions.day_to_day import SessionLevel
from imujump.sessions.growth import with_growth
from imujump.sessions.readings import Filter, SessionReadings, metric_from_table
from imujump.sessions.records import Athlete, BodyMeasure, Task
from imujump.sessions.slopes import slope_over_time
from imujump.sessions.trends import Trend, trend
from imujump.wording import METRICS, Wording

HEIGHT = "height_flight_m"


@dataclass(frozen=True, slots=True)
class MetricCourse:
    """A metric over sessions with its sentences.

    Attributes
    ----------
    sessions : tuple of SessionReadings
        Oldest first.
    trend : Trend
        Levels, errors, change.
    sentence : str
        Whether it has changed.
    cautions : tuple of str
        Conditions and growth.
    slope : str
        How fast it moves, in words.
    """

    metric: str
    sessions: tuple[SessionReadings, ...]
    trend: Trend
    sentence: str
    cautions: tuple[str, ...]
    slope: str

    @property
    def wording(self) -> Wording:
        """How the metric is named and shown."""
        return METRICS[self.metric]

    @property
    def changed(self) -> bool:
        """Whether there is a change beyond error."""
        return self.trend.change.verdict is Verdict.CHANGED


def metric_course(
    athlete: Athlete,
    measures: Sequence[BodyMeasure],
    table: pd.DataFrame,
    metric: str,
    wanted: Filter,
    questions: int = 1,
) -> MetricCourse:
    """Look at a metric.

    Parameters
    ----------
    athlete, measures :
        The person, for growth.
    table : DataFrame
        From :meth:`imujump.sessions.store.SessionStore.series`, with this metric in it.
    metric : str
        Its name.
    wanted : Filter
        Which attempts.
    questions : int
        How many metrics are followed at once; see :func:`imujump.sessions.trends.trend`.
    """
    sessions = metric_from_table(table, metric, wanted)
    found = trend(sessions, questions=questions)
    words = METRICS[metric]
    growth = with_growth(
        sessions, found.change, metric, athlete.birth_year, measures, questions=questions
    )
    told = growth_sentence(growth)
    return MetricCourse(
        metric,
        sessions,
        found,
        change_sentence(found.change, words),
        (*change_cautions(found.change), *([told] if told else [])),
        slope_sentence(slope_over_time(sessions), words),
    )


def usual_task(table: pd.DataFrame) -> Task | None:
    """Tell which task was jumped most, attempts with an approach first; None for none."""
    counted = Counter(table.loc[table["counts"], "task"].tolist())
    for tasks in ((Task.ONE_FOOT, Task.TWO_FOOT), (Task.STANDING,)):
        held = [(counted[task.value], task) for task in tasks if counted[task.value]]
        if held:
            return max(held, key=lambda each: each[0])[1]
    return None


def circumstances(table: pd.DataFrame) -> dict[str, list[str]]:
    """List the surfaces, shoes, mountings and take-off sides of attempts that count, as noted."""
    rows = table[table["counts"]]
    told = {name: rows[name].dropna().unique() for name in ("surface", "shoe", "mounting", "side")}
    return {name: sorted(str(each) for each in held if each) for name, held in told.items()}


def tasks_of(table: pd.DataFrame) -> list[Task]:
    """List the tasks of the attempts that count."""
    held = set(table.loc[table["counts"], "task"].unique())
    return [task for task in Task if task.value in held]


def days_of(table: pd.DataFrame) -> tuple[date, date] | None:
    """Give the first and the last day of the attempts that count."""
    taken = table.loc[table["counts"], "taken_utc"]
    if taken.empty:
        return None
    return local_day(taken.min().to_pydatetime()), local_day(taken.max().to_pydatetime())


def local_midnight(on: date, days_on: int = 0) -> datetime:
    """Give the instant at which a day begins here."""
    return datetime.combine(on + timedelta(days=days_on), time()).astimezone()


def local_day(instant: datetime) -> date:
    """Give the day of an instant here."""
    return instant.astimezone().date()


def filter_of(
    task: Task, since: date | None = None, until: date | None = None, **circumstances: str | None
) -> Filter:
    """Make a filter from days, both of them included."""
    return replace(
        Filter(task, **circumstances),  # type: ignore[arg-type]
        since=None if since is None else local_midnight(since),
        until=None if until is None else local_midnight(until, 1),
    )


def level_told(level: SessionLevel, wording: Wording) -> str:
    """Say a session's mean with its interval.

    The interval is shown as ± half its width.
    """
    told = display_value(level.mean, wording.unit, wording.decimals)
    if level.interval is not None:
        told += f" ± {display_sigma(level.interval.half, wording.unit, wording.decimals)}"
    return f"{told} {wording.unit.symbol}".strip()


def level_point(level: SessionLevel, wording: Wording) -> Point:
    """Give a session's mean as a point of a picture."""
    on, interval = local_day(level.started_utc), level.interval
    return Point(
        on,
        level.mean,
        None if interval is None else interval.low,
        None if interval is None else interval.high,
        f"{day(on)}: {level_told(level, wording)}, n = {level.n}",
    )


def errors_about(found: Trend) -> tuple[tuple[float, float] | None, tuple[float, ...]]:
    """Give the limits of what is no change about the first sessions' mean.

    Returns
    -------
    tuple
        The least detectable change between two sessions to each side, None if not known, and the
        typical error of one attempt to each side, empty if not known. Without a comparison they lie
        about the mean of all sessions.
    """
    if not found.levels:
        return None, ()
    first = found.change.first
    mean = sum(level.mean for level in found.levels) / len(found.levels)
    middle = mean if first is None else first.mean
    half, error = found.session_change, found.error
    band = None if half is None else (middle - half, middle + half)
    return band, () if error is None else (middle - error.value, middle + error.value)


def course_of_metric(course: MetricCourse, size: tuple[int, int] = (480, 230)) -> str:
    """Draw a metric over its sessions; a change is marked only where it is beyond error."""
    change, words = course.trend.change, course.wording
    points = [level_point(level, words) for level in course.trend.levels]
    band, edges = errors_about(course.trend)
    stretches = []
    if course.changed:
        stretches = [
            Stretch(local_day(p.begin_utc), local_day(p.end_utc), p.mean)
            for p in (change.first, change.latest)
            if p is not None
        ]
    turn = None
    if course.changed and change.since_utc is not None and not change.gradual:
        turn = local_day(change.since_utc)
    return course_picture(
        points,
        words.unit,
        f"{words.label} session by session. {course.sentence}",
        band=band,
        edges=edges,
        stretches=stretches,
        turn=turn,
        size=size,
    )
