"""The plan is sane: what is built in is in the drawn sessions, and anatomy allows it."""

from __future__ import annotations

import json
from collections import Counter
from datetime import date, timedelta

import numpy as np
import pytest

from imujump.demo.club import CLUB_PLAN, SEED
from imujump.demo.plan import AthletePlan, Level
from imujump.demo.season import SEEN_SHARE, WEEKS, Training, days, season
from imujump.demo.staging import jump_of, take_off_mps
from imujump.demo.truth import as_document, seasons
from imujump.model import METRIC_NAMES, Side, TakeOffStyle
from imujump.sessions.athletes_kept import may_be_minor
from imujump.sessions.records import Athlete
from imujump.simulate.standing_jump import StandingJump

ENDS_ON = date(2026, 3, 1)
QUESTIONS = {"trend", "standing", "growth", "cue", "speed", "drop_off", "sides", "styles"}


@pytest.fixture(scope="module")
def club() -> list[tuple[AthletePlan, list[Training]]]:
    return [(plan, list(own)) for plan, own in seasons(CLUB_PLAN, ENDS_ON, SEED)]


def by_name(club: list[tuple[AthletePlan, list[Training]]], name: str) -> list[Training]:
    return next(trainings for plan, trainings in club if plan.name == name)


def test_the_club_is_as_described(club) -> None:
    assert len(club) == 8
    assert len({plan.name for plan, _ in club}) == 8
    assert len({plan.sport for plan, _ in club}) >= 4
    assert {plan.style for plan, _ in club} == set(TakeOffStyle)
    assert {plan.side for plan, _ in club if plan.style is TakeOffStyle.ONE_FOOT} == set(Side)
    minors = [
        plan
        for plan, trainings in club
        if may_be_minor(
            Athlete(1, plan.name, birth_year=ENDS_ON.year - plan.age),
            trainings[0].started_utc.year,
        )
    ]
    assert [plan.age for plan in minors] == [14, 16]
    assert sum(training.loose for _, trainings in club for training in trainings) == 1
    assert sum(training.waiting for _, trainings in club for training in trainings) == 1


@pytest.mark.parametrize("plan", CLUB_PLAN, ids=lambda plan: plan.name)
def test_expectations_name_metrics_and_questions(plan) -> None:
    assert plan.expected
    for expected in plan.expected:
        assert expected.metric in METRIC_NAMES
        assert expected.question in QUESTIONS
        assert not (expected.to_be_found and expected.size == 0.0)


@pytest.mark.parametrize("plan", CLUB_PLAN, ids=lambda plan: plan.name)
def test_what_is_said_to_be_built_in_is_in_the_plan(plan) -> None:
    for expected in plan.expected:
        if expected.question in ("trend", "growth"):
            level = {
                "height_flight_m": plan.height,
                "approach_speed_mps": plan.speed,
                "last_step_ratio": plan.last_step_ratio,
            }[expected.metric]
            assert level.change == expected.size
        elif expected.question == "standing":
            assert plan.standing.change == expected.size
        elif expected.question == "cue":
            built_in = {"height_flight_m": plan.cue.height_m}
            built_in["last_step_ratio"] = plan.cue.last_step_ratio
            assert built_in[expected.metric] == expected.size
        elif expected.question == "speed":
            assert (plan.ladder.best_mps or 0.0) == expected.size
        elif expected.question == "drop_off":
            assert -plan.drop_off_m == expected.size
        else:
            assert abs(plan.height.start - plan.other.height_m) == pytest.approx(abs(expected.size))


def test_a_level_moves_between_its_two_shares() -> None:
    level = Level(1.0, 0.5, begins=0.25, ends=0.75)
    assert [level.at(share) for share in (0.0, 0.25, 0.5, 0.75, 1.0)] == [1.0, 1.0, 1.25, 1.5, 1.5]


@pytest.mark.parametrize("plan", CLUB_PLAN, ids=lambda plan: plan.name)
def test_sessions_fill_half_a_year_up_to_the_last_day(plan) -> None:
    for ends_on in (ENDS_ON, ENDS_ON + timedelta(days=3)):
        own = days(plan, ends_on)
        assert own == sorted(set(own))
        assert timedelta(0) <= ends_on - own[-1] < timedelta(days=7)
        assert own[-1] - own[0] == timedelta(weeks=WEEKS - 1)
        assert {day.weekday() for day in own} == {plan.weekday}


def test_means_of_sessions_follow_the_plan(club) -> None:
    heights = [
        np.mean([one.height_m for one in training.tries if not one.mark])
        for training in by_name(club, "Mira Tolland")
    ]
    # Five sessions of about six: 1 cm of form and attempts together, 4 mm of a mean of five.
    assert np.mean(heights[-5:]) - np.mean(heights[:5]) == pytest.approx(0.05, abs=0.016)


def test_the_best_approach_speed_is_inside_the_ladder(club) -> None:
    tries = [one for training in by_name(club, "Nadia Sorrel") for one in training.tries]
    speed, height = (np.array([getattr(one, name) for one in tries if not one.mark]) for name in
                     ("approach_speed_mps", "height_m"))  # fmt: skip
    bend, slope, _ = np.polyfit(speed, height, 2)
    assert bend < 0.0
    assert -slope / (2.0 * bend) == pytest.approx(4.2, abs=0.2)


def test_cues_are_given_once_and_marks_and_notes_are_rare(club) -> None:
    plan = next(plan for plan, _ in club if plan.name == "Ilka Marrow")
    for training in by_name(club, "Ilka Marrow"):
        cues = [number for number, one in enumerate(training.tries, start=1) if one.cue]
        assert cues == ([plan.cue.after] if training.number in plan.cued else [])
    tries = [one for _, trainings in club for training in trainings for one in training.tries]
    told = Counter(bool(one.mark) for one in tries)
    assert 10 <= told[True] <= 50
    assert sum(bool(one.seen) for one in tries) / len(tries) == pytest.approx(SEEN_SHARE, abs=0.06)


def test_every_attempt_is_within_what_the_simulated_athlete_can_be_asked(club) -> None:
    for plan, trainings in club:
        for training in trainings:
            for one in training.tries:
                jump_of(plan, one)
            for height_m in training.standing_m:
                StandingJump(take_off_mps(height_m, StandingJump().landing_drop_m))


def test_a_take_off_speed_gives_back_its_flight_height() -> None:
    jump = StandingJump(take_off_mps(0.35, StandingJump().landing_drop_m))
    assert 9.80665 * jump.flight_s**2 / 8.0 == pytest.approx(0.35)


def test_a_season_depends_on_seed_and_athlete_alone() -> None:
    plan = CLUB_PLAN[0]
    again = season(plan, 0, ENDS_ON, SEED)
    assert season(plan, 0, ENDS_ON, SEED) == again
    assert season(plan, 0, ENDS_ON, SEED + 1)[0].tries != again[0].tries
    assert season(plan, 1, ENDS_ON, SEED)[0].tries != again[0].tries
    later = season(plan, 0, ENDS_ON + timedelta(days=7), SEED)
    assert [training.tries for training in later] == [training.tries for training in again]


def test_the_truth_is_plain_data(club) -> None:
    document = as_document(club, ENDS_ON, SEED, "0.1.0", complete=True)
    assert json.loads(json.dumps(document)) == document
    first = document["athletes"][0]
    assert first["name"] == "Mira Tolland"
    assert first["expected"][0]["size"] == 0.05
    assert len(first["trainings"]) == CLUB_PLAN[0].sessions
