"""A growing athlete jumps higher and steps longer without jumping better.

Lengths and heights of minors are therefore looked at a second time, divided by the stature on the
day, which dated measures give. Coordination changes with growth as well, so even a change per
stature is no proof of training; and statures between two measures are a straight line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

import numpy as np

from imujump.sessions.changes import Change, Verdict
from imujump.sessions.readings import SessionReadings
from imujump.sessions.records import BodyMeasure
from imujump.sessions.trends import change_so_far

GROWN_AGE = 18
"""Up to the year of this birthday an athlete is taken to be growing (own choice: the age of
majority in most countries; some grow longer)."""

LONGEST_REACH = timedelta(days=90)
"""How long a stature stands for days before the first or after the last measure (own choice: at
the height of growth, some 9 cm a year from memory, 2 cm are gained in that time)."""


class GrowthNote(StrEnum):
    """What growth has to do with a change."""

    GROWN_UP = "grown_up"
    AGE_UNKNOWN = "age_unknown"
    NOT_A_LENGTH = "not_a_length"
    NO_STATURE = "no_stature"
    BEYOND_GROWTH = "beyond_growth"
    MAY_EXPLAIN = "may_explain"
    NO_CHANGE = "no_change"


@dataclass(frozen=True, slots=True)
class GrowthView:
    """A change with growth in view.

    ``grown_ratio`` is by what share stature grew between the middles of the two periods;
    ``per_stature`` the change of the metric over stature. Both None where not known.
    """

    note: GrowthNote
    grown_ratio: float | None = None
    per_stature: Change | None = None


def growing(birth_year: int | None, on: date) -> bool | None:
    """Tell whether an athlete may still grow; None when the birth year is not known.

    >>> growing(2010, date(2026, 3, 1)), growing(1999, date(2026, 3, 1)), growing(None, date.min)
    (True, False, None)
    """
    return None if birth_year is None else on.year - birth_year <= GROWN_AGE


def stature_on(measures: Sequence[BodyMeasure], day: date) -> float | None:
    """Stature on a day, on a straight line between measures; None too far from any.

    >>> told = [BodyMeasure(date(2026, 1, 1), 60, 1.70), BodyMeasure(date(2026, 1, 11), 60, 1.72)]
    >>> round(stature_on(told, date(2026, 1, 6)), 3)
    1.71
    >>> stature_on(told, date(2027, 1, 1))
    """
    known = sorted((m.on.toordinal(), m.stature_m) for m in measures if m.stature_m is not None)
    if not known:
        return None
    at, reach = day.toordinal(), LONGEST_REACH.days
    if not known[0][0] - reach <= at <= known[-1][0] + reach:
        return None
    days, statures = zip(*known, strict=True)
    return float(np.interp(at, days, statures))


def per_stature(
    sessions: Sequence[SessionReadings], measures: Sequence[BodyMeasure]
) -> tuple[SessionReadings, ...]:
    """Divide a length by stature; sessions whose stature is not known are left out."""
    found = []
    for session in sessions:
        stature_m = stature_on(measures, session.started_utc.date())
        if stature_m is not None and stature_m > 0.0:
            readings = tuple(
                replace(
                    reading,
                    value=reading.value / stature_m,
                    sigma=None if reading.sigma is None else reading.sigma / stature_m,
                )
                for reading in session.readings
            )
            found.append(replace(session, readings=readings))
    return tuple(found)


def with_growth(
    sessions: Sequence[SessionReadings],
    change: Change,
    metric: str,
    birth_year: int | None,
    measures: Sequence[BodyMeasure],
    questions: int = 1,
) -> GrowthView:
    """Look at a trend's change with growth in view.

    ``sessions``, ``change`` and ``questions`` are those of :func:`imujump.sessions.trends.trend`.
    """
    if not sessions:
        return GrowthView(GrowthNote.NO_CHANGE)
    may_grow = growing(birth_year, sessions[0].started_utc.date())
    if may_grow is None:
        return GrowthView(GrowthNote.AGE_UNKNOWN)
    if not may_grow:
        return GrowthView(GrowthNote.GROWN_UP)
    told = change.verdict is Verdict.CHANGED
    if not metric.endswith("_m"):
        return GrowthView(GrowthNote.NOT_A_LENGTH if told else GrowthNote.NO_CHANGE)
    scaled = per_stature(sessions, measures)
    # A stature that was measured once, or not for some sessions, says nothing about growth.
    if len(scaled) < len(sessions) or len({m.on for m in measures if m.stature_m}) < 2:
        return GrowthView(GrowthNote.NO_STATURE if told else GrowthNote.NO_CHANGE)
    again = change_so_far(scaled, questions=questions)
    grown = _grown_ratio(change, measures)
    if not told:
        return GrowthView(GrowthNote.NO_CHANGE, grown, again)
    same_way = again.verdict is Verdict.CHANGED and (again.value or 0.0) * (change.value or 0.0) > 0
    note = GrowthNote.BEYOND_GROWTH if same_way else GrowthNote.MAY_EXPLAIN
    return GrowthView(note, grown, again)


def _grown_ratio(change: Change, measures: Sequence[BodyMeasure]) -> float | None:
    if change.first is None or change.latest is None:
        return None
    statures = []
    for period in (change.first, change.latest):
        middle = period.begin_utc + (period.end_utc - period.begin_utc) / 2
        statures.append(stature_on(measures, middle.date()))
    before, after = statures
    return None if not before or after is None else after / before - 1.0
