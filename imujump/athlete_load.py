"""How much an athlete has jumped lately: weeks and sessions in height bands, in words and drawn."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from imujump.answers_in_words import day
from imujump.athlete_answers import Recent
from imujump.load_in_words import CAUTION, SOURCES, band_names, week_sentence
from imujump.metric_course import local_day
from imujump.pictures.paper import MONTHS
from imujump.pictures.stacks import Stack, stacks_picture
from imujump.sessions.load import (
    WeekLoad,
    best_height,
    edges_from_best,
    jumps_of,
    session_loads,
    week_loads,
)

WEEKS = 12
"""Weeks that are shown (own choice: a quarter of a year)."""

SESSIONS = 10
"""Sessions that are listed (own choice)."""

NO_JUMPS = "No jump of this athlete is kept yet, so there is no load to show."


@dataclass(frozen=True, slots=True)
class LoadLine:
    """Jumps of a week or a session; ``change`` is against the weeks before."""

    label: str
    sessions: int
    bands: tuple[int, ...]
    unknown: int
    jumps: int
    change: str = ""
    session_id: int | None = None


@dataclass(frozen=True, slots=True)
class LoadAnswer:
    """The latest weeks and sessions, newest first.

    ``cautions`` are the caution and the sources, which disagree.
    """

    sentences: tuple[str, ...]
    picture: str
    bands: tuple[str, ...]
    weeks: tuple[LoadLine, ...]
    sessions: tuple[LoadLine, ...]
    caution: str = CAUTION
    sources: tuple[str, ...] = tuple(f"{s.finding} {s.where}." for s in SOURCES)


def load_answer(found: Recent, today: date | None = None) -> LoadAnswer:
    """Count the jumps of the newest sessions.

    Parameters
    ----------
    found : Recent
        The newest sessions.
    today : date or None
        The day that it is.
    """
    today = today or datetime.now().astimezone().date()
    jumps = jumps_of(found.attempts)
    if not jumps:
        return LoadAnswer((NO_JUMPS,), "", (), (), ())
    edges = edges_from_best(best_height(jumps))
    names = band_names(edges)
    # Weeks begin at local midnight; the offset of today is near enough for the others.
    zone = datetime.now().astimezone().tzinfo or UTC
    shown = week_loads(jumps, edges, today, zone)[-WEEKS:]
    since = None
    if not any(week.bands.jumps for week in shown):
        since = max(local_day(jump.at) for jump in jumps)
        shown = week_loads(jumps, edges, None, zone)[-WEEKS:]
    stacks = [
        Stack(_short(w.monday), w.bands.counts, w.bands.unknown, f"Week of {w.monday}")
        for w in shown
    ]
    over = [week for week in shown if week.over]
    told = [*over[-1:], *(week for week in shown[-1:] if not week.over)]
    sentences = tuple(week_sentence(week) for week in told)
    if since is not None:
        sentences = (f"No jump is kept since {day(since)}.", *sentences)
    sessions = session_loads(jumps, edges)[-SESSIONS:][::-1]
    return LoadAnswer(
        sentences,
        stacks_picture(stacks, names, f"Jumps week by week. {' '.join(sentences)}"),
        names,
        tuple(_week(week) for week in reversed(shown)),
        tuple(
            LoadLine(
                day(local_day(each.began)),
                1,
                each.bands.counts,
                each.bands.unknown,
                each.bands.jumps,
                session_id=each.session_id,
            )
            for each in sessions
        ),
    )


def _week(week: WeekLoad) -> LoadLine:
    end = week.monday + timedelta(days=6)
    change = ""
    if not week.over:
        change = "not over"
    elif week.change_ratio is not None:
        change = f"{100.0 * week.change_ratio:+.0f} %"
    return LoadLine(
        f"{_short(week.monday)} to {_short(end)}",
        week.sessions,
        week.bands.counts,
        week.bands.unknown,
        week.bands.jumps,
        change,
    )


def _short(on: date) -> str:
    return f"{on.day} {MONTHS[on.month - 1]}"
