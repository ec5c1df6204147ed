"""Sentences that answer a coach's questions, and those on load and strength."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from imujump.load_in_words import CAUTION, SOURCES, band_names, week_sentence
from imujump.questions_in_words import (
    CUE_CAUTION,
    LADDER_ADVICE,
    cue_sentences,
    height_sentences,
    speed_sentences,
)
from imujump.sessions.best_speed import SpeedAnswer, SpeedVerdict
from imujump.sessions.cues import CueAnswer
from imujump.sessions.interval import Interval
from imujump.sessions.load import Bands, WeekLoad
from imujump.sessions.paired import Difference
from imujump.sessions.ratios import Ratio, asymmetry
from imujump.sessions.records import Task
from imujump.sessions.standing_jump import Measured, PowerFormula, power
from imujump.sessions.with_height import Companion, HeightAnswer
from imujump.strength_in_words import (
    FORMULAS,
    counter_movement_sentence,
    gain_sentence,
    power_sentence,
    side_sentence,
    style_sentence,
)
from imujump.wording import METRICS
from tests.sessions.seasons import sessions_of

HEIGHT = METRICS["height_flight_m"]
HELPED = Difference(0.024, Interval(0.006, 0.042), 8, 30, 35, general=True)
CUE = CueAnswer(HELPED, HELPED, 0.02, Interval(-0.005, 0.045), 2, 8, False)


def test_a_cue() -> None:
    told = cue_sentences(CUE, HEIGHT)
    assert told == (
        "After the cue flight-time height differs by +2.4 cm (likely 0.6 to 4.2 cm): "
        "30 attempts before and 35 after, 8 sessions, 2 athletes.",
        CUE_CAUTION,
        "With a steady drift over the session taken out: +2.0 cm (likely −0.5 to 4.5 cm).",
    )
    unsure = Difference(0.004, Interval(-0.02, 0.028), 2, 6, 7, more_attempts=90)
    told = cue_sentences(replace(CUE, difference=unsure, drift_removed=None), HEIGHT)
    assert told[0].endswith("If it stays like this, about 90 more attempts would settle it.")
    assert told[2].startswith("This holds for these sessions")
    never = replace(CUE, difference=replace(unsure, more_attempts=None))
    assert "no reasonable number" in cue_sentences(never, HEIGHT)[0]
    nothing = Difference(None, None, 0, 0, 0)
    assert cue_sentences(replace(CUE, difference=nothing), HEIGHT)[0].startswith("Too few")
    one_way = replace(CUE, with_leading=unsure)
    assert "no difference in" in cue_sentences(one_way, HEIGHT)[0]


def test_approach_speed() -> None:
    ladder = (4.25, 5.0, 5.75)
    named = SpeedAnswer(
        SpeedVerdict.OPTIMUM, 36, 4, 4.2, 5.9, best_mps=5.13, interval=Interval(4.9, 5.4)
    )
    assert speed_sentences(named) == (
        "Jumps highest near 5.1 m/s (likely 4.9 to 5.4): 36 attempts, 4 sessions.",
    )
    rising = SpeedAnswer(
        SpeedVerdict.FASTER_IS_HIGHER,
        20,
        1,
        4.2,
        5.9,
        slope_s=0.08,
        slope_interval=Interval(0.05, 0.11),
        ladder_mps=ladder,
        order_told=False,
    )
    told = speed_sentences(rising)
    assert told[0] == (
        "The faster the higher between 4.2 and 5.9 m/s, 0.8 cm (likely 0.5 to 1.1) "
        "for each 0.1 m/s: 20 attempts, 1 session. No optimum shows yet."
    )
    assert told[1].startswith(LADDER_ADVICE)
    assert "5.0, 5.8, 4.2" in told[1]
    assert "order of the attempts" in told[2]


@pytest.mark.parametrize("verdict", [v for v in SpeedVerdict if v is not SpeedVerdict.OPTIMUM])
def test_without_an_optimum_there_is_something_to_try(verdict) -> None:
    told = speed_sentences(SpeedAnswer(verdict, 12, 2, 4.2, 5.9))
    assert "12 attempts" in told[0]
    assert told[1] == LADDER_ADVICE
    assert "optimum" not in told[0].replace("No optimum shows yet", "")


def test_companions_of_height() -> None:
    speed = Companion(
        metric="approach_speed_mps",
        correlation=0.62,
        interval=Interval(0.2, 0.85),
        height_m=0.016,
        height_interval=Interval(0.004, 0.028),
        step=0.21,
        p=0.004,
        told=True,
        true_share=0.7,
        n=24,
        sessions=3,
    )
    told = height_sentences(HeightAnswer((speed,), (), 24))
    assert told[0] == (
        "Approach speed goes with height: 0.21 m/s more, 1.6 cm (likely 0.4 to 2.8) higher; "
        "r 0.62 (0.20 to 0.85), 24 attempts. Errors of measurement weaken this relation."
    )
    assert told[1].startswith("Few data")
    assert "need not make it" in told[-1]
    untold = height_sentences(HeightAnswer((replace(speed, told=False, n=90),), (), 90))
    assert untold[0] == "None of 1 metric surely goes with height here."
    assert height_sentences(HeightAnswer((), ("lowering_m",), 3))[0].endswith("3 attempts.")


def test_load() -> None:
    week = WeekLoad(date(2026, 1, 5), 3, Bands((20, 40), 2), 50.0, 0.24, True)
    assert week_sentence(week) == (
        "Week 2: 62 jumps in 3 sessions; 24 % more than 50 a week in the weeks before."
    )
    assert "fewer" in week_sentence(replace(week, change_ratio=-0.3))
    assert week_sentence(replace(week, change_ratio=0.001)).endswith(
        "as many as in the weeks before."
    )
    assert "so far" in week_sentence(replace(week, over=False, change_ratio=None))
    assert "none in the weeks before" in week_sentence(
        replace(week, recent_mean=0.0, change_ratio=None)
    )
    assert "no week before" in week_sentence(replace(week, recent_mean=None, change_ratio=None))
    assert band_names(()) == ("all heights",)
    assert "clinician" in CAUTION
    assert len({source.where for source in SOURCES}) == len(SOURCES)
    for word in ("risk score", "danger", "safe", "overload", "cleared"):
        assert word not in CAUTION + week_sentence(week)


def test_strength() -> None:
    told = power(PowerFormula.SAYERS, Measured(0.55, 0.01), Measured(80, 0.5), Task.STANDING)
    assert power_sentence(told) == (
        "Peak power, Sayers: 4908 ± 65 W, 61.3 ± 0.8 W/kg; "
        "the formula's own error is not known and comes on top."
    )
    refused = power(PowerFormula.SAYERS, Measured(0.55, 0.01), Measured(80, 0.5), Task.TWO_FOOT)
    assert power_sentence(refused).endswith("not for jumps with an approach.")
    assert set(FORMULAS) == set(PowerFormula)


def test_comparisons() -> None:
    left = sessions_of([[0.40, 0.41, 0.42]] * 2)
    right = sessions_of([[0.36, 0.37, 0.38]] * 2)
    told = side_sentence(asymmetry(left, right), HEIGHT)
    assert told.startswith("Left against right: +4.0 cm (likely ")
    assert told.endswith("6 and 6 attempts, 2 sessions.")
    unsure = Ratio(1.02, Interval(0.95, 1.09), Difference(0.01, Interval(-0.02, 0.04), 1, 4, 4))
    assert gain_sentence(unsure, HEIGHT).endswith("Not distinguishable.")
    more = replace(unsure, difference=replace(unsure.difference, more_attempts=30))
    assert "about 30 more attempts" in style_sentence(more, HEIGHT)
    bare = replace(unsure, interval=None, difference=Difference(0.01, None, 1, 1, 1))
    assert "too few attempts" in gain_sentence(bare, HEIGHT)
    assert counter_movement_sentence(unsure) == (
        "Counter-movement over squat jump: 1.02 (likely 0.95 to 1.09)."
    )
    for empty in (gain_sentence(None, HEIGHT), style_sentence(None, HEIGHT)):
        assert "same session" in empty
    assert "same session" in side_sentence(None, HEIGHT)
    assert "same session" in counter_movement_sentence(None)
