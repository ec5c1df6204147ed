"""Sentences about results: each verdict says what it means, in display units."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from imujump.answers_in_words import (
    PER_STATURE,
    change_cautions,
    change_sentence,
    growth_sentence,
    slope_sentence,
)
from imujump.sessions.changes import Change, ConditionChange, Verdict
from imujump.sessions.growth import GrowthNote, GrowthView
from imujump.sessions.interval import Interval
from imujump.sessions.slopes import Slope
from imujump.wording import METRICS

HEIGHT = METRICS["height_flight_m"]
CHANGED = Change(
    Verdict.CHANGED,
    40,
    200,
    value=0.0312,
    interval=Interval(0.0154, 0.0471, 0.999),
    detectable=0.0158,
    measurement_limit=0.006,
    since_utc=datetime(2026, 3, 12, tzinfo=UTC),
)


def test_a_change_says_by_how_much_and_since_when() -> None:
    assert change_sentence(CHANGED, HEIGHT) == (
        "Flight-time height has changed: +3.1 cm (likely 1.5 to 4.7 cm), since about 12 March 2026."
    )
    slow = replace(CHANGED, value=-0.0312, interval=Interval(-0.0471, -0.0154), gradual=True)
    assert change_sentence(slow, HEIGHT) == (
        "Flight-time height has changed: −3.1 cm (likely −4.7 to −1.5 cm), "
        "little by little since 12 March 2026."
    )


def test_an_open_question_says_what_would_settle_it() -> None:
    unsure = replace(CHANGED, verdict=Verdict.OPEN, more_sessions=9, more_attempts=45)
    assert change_sentence(unsure, HEIGHT) == (
        "Flight-time height: not yet distinguishable. The difference is +3.1 cm "
        "(likely 1.5 to 4.7 cm); below 1.6 cm it could be error. If it stays like this, about "
        "9 more sessions (about 45 attempts) would settle it."
    )
    never = replace(unsure, more_sessions=None, more_attempts=None)
    assert change_sentence(never, HEIGHT).endswith(
        "no reasonable number of sessions will settle it."
    )


def test_too_little_and_alike() -> None:
    few = Change(Verdict.TOO_FEW, 5, 9, more_sessions=1)
    assert "1 more session needed" in change_sentence(few, HEIGHT)
    assert "day to day" in change_sentence(Change(Verdict.TOO_FEW, 2, 9), HEIGHT)
    assert "all values" in change_sentence(Change(Verdict.NO_SPREAD, 9, 9), HEIGHT).lower()
    assert "too small to matter" in change_sentence(replace(CHANGED, verdict=Verdict.ALIKE), HEIGHT)
    assert change_sentence(CHANGED, PER_STATURE).startswith(
        "Height over stature has changed: +3.1 %"
    )


def test_cautions() -> None:
    told = change_cautions(
        replace(
            CHANGED,
            measurement_limit=None,
            conditions=(
                ConditionChange("shoe", ("low",), ("",)),
                ConditionChange("pipelines", ("1", "2"), ("1", "2")),
            ),
        )
    )
    assert told == (
        "The shoe was not the same: low before, not noted after. "
        "The difference may come from that.",
        "More than one version of the analysis is mixed here: 1 and 2.",
        "The measurement's own error is not known for these attempts.",
    )
    assert change_cautions(CHANGED) == ()


def test_growth_and_rate() -> None:
    said = {note: growth_sentence(GrowthView(note, 0.021)) for note in GrowthNote}
    assert "growth may explain it. Stature grew by 2.1 %" in said[GrowthNote.MAY_EXPLAIN]
    assert "Measure stature" in said[GrowthNote.NO_STATURE]
    assert said[GrowthNote.GROWN_UP] == said[GrowthNote.NO_CHANGE] == ""
    slope = Slope(0.004, Interval(-0.001, 0.009), 12, timedelta(days=80))
    assert slope_sentence(slope, HEIGHT) == (
        "Over 80 days and 12 sessions: +0.4 cm a month (likely −0.1 to 0.9 cm)."
    )
    assert slope_sentence(None, HEIGHT).startswith("Too few")
