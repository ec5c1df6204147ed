"""Changes of growing athletes, with and without measured stature."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from imujump.sessions.changes import Verdict
from imujump.sessions.growth import GrowthNote, growing, stature_on, with_growth
from imujump.sessions.records import BodyMeasure
from imujump.sessions.trends import trend

from .seasons import BEGIN, sessions_of

SESSIONS = 30


def taller(by: float) -> list[BodyMeasure]:
    """Statures that grow by a share over the season, measured every ten days."""
    days = range(0, 3 * SESSIONS + 10, 10)
    return [
        BodyMeasure(BEGIN.date() + timedelta(days=d), 50.0, 1.5 * (1.0 + by * d / 90.0))
        for d in days
    ]


def season(by: float):
    rng = np.random.default_rng(41)
    level = 0.40 * (1.0 + by * np.arange(SESSIONS) / SESSIONS)
    return sessions_of(level[:, None] * rng.normal(1.0, 0.01, (SESSIONS, 5)), 0.001)


def note(by: float, grown: float | None, metric: str = "height_flight_m", born: int | None = 2012):
    drawn = season(by)
    measures = [] if grown is None else taller(grown)
    return with_growth(drawn, trend(drawn).change, metric, born, measures)


def test_a_height_that_grows_with_the_athlete_may_be_growth() -> None:
    view = note(0.06, 0.06)
    assert view.note is GrowthNote.MAY_EXPLAIN
    # A third of the season lies before each middle: two thirds of the growth lie between.
    assert view.grown_ratio == pytest.approx(0.04, abs=0.003)
    assert view.per_stature is not None
    assert view.per_stature.verdict is not Verdict.CHANGED


def test_a_height_that_outgrows_the_athlete_is_more() -> None:
    view = note(0.15, 0.02)
    assert view.note is GrowthNote.BEYOND_GROWTH
    assert view.per_stature is not None
    assert view.per_stature.value is not None
    assert view.per_stature.value > 0.0


def test_without_stature_age_or_change_nothing_is_claimed() -> None:
    assert note(0.10, None).note is GrowthNote.NO_STATURE
    assert note(0.10, 0.02, born=None).note is GrowthNote.AGE_UNKNOWN
    assert note(0.10, 0.02, born=1995).note is GrowthNote.GROWN_UP
    assert note(0.10, 0.02, "reactive_ratio").note is GrowthNote.NOT_A_LENGTH
    assert note(0.0, 0.0).note is GrowthNote.NO_CHANGE
    drawn = season(0.1)
    once = taller(0.1)[:1]
    told = with_growth(drawn, trend(drawn).change, "height_flight_m", 2012, once)
    assert told.note is GrowthNote.NO_STATURE
    assert with_growth((), trend(()).change, "height_flight_m", 2012, []).note is (
        GrowthNote.NO_CHANGE
    )


def test_stature_between_and_beyond_measures() -> None:
    measures = [
        BodyMeasure(date(2026, 3, 1), 50.0, 1.60),
        BodyMeasure(date(2026, 1, 1), 50.0, 1.58),
        BodyMeasure(date(2026, 2, 1), 50.0),
    ]
    assert stature_on(measures, date(2026, 1, 30)) == pytest.approx(1.58 + 0.02 * 29 / 59)
    assert stature_on(measures, date(2026, 4, 1)) == pytest.approx(1.60)
    assert stature_on(measures, date(2026, 9, 1)) is None
    assert stature_on([], date(2026, 1, 1)) is None
    assert growing(2008, date(2026, 12, 31)) is True
