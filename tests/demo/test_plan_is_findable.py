"""The season holds what its expectations say: asked of the truth itself, without any sensor."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import pytest

from imujump.demo.club import CLUB_PLAN, SEED
from imujump.demo.plan import AthletePlan, Expected
from imujump.demo.season import Training, Try
from imujump.demo.truth import seasons
from imujump.sessions.best_speed import Run, SpeedVerdict, best_approach_speed
from imujump.sessions.changes import Verdict
from imujump.sessions.paired import paired_difference
from imujump.sessions.readings import Reading, SessionReadings
from imujump.sessions.trends import trend

ENDS_ON = date(2026, 3, 1)
FIELDS = {
    "height_flight_m": ("height_m", 0.014),
    "approach_speed_mps": ("approach_speed_mps", 0.04),
    "last_step_ratio": ("last_step_ratio", 0.05),
}
"""A metric's field in the truth, and the sigma that the pipeline usually says."""


def asked(question: str) -> list[tuple[AthletePlan, Sequence[Training], Expected]]:
    return [
        (plan, trainings, expected)
        for plan, trainings in seasons(CLUB_PLAN, ENDS_ON, SEED)
        for expected in plan.expected
        if expected.question == question
    ]


def counting(plan: AthletePlan, training: Training) -> list[Try]:
    own = (plan.style, plan.side)
    return [one for one in training.tries if not one.mark and (one.style, one.side) == own]


def name(value: object) -> str:
    if isinstance(value, AthletePlan):
        return value.name
    return value.metric if isinstance(value, Expected) else ""


@pytest.mark.parametrize(("plan", "trainings", "expected"), asked("trend"), ids=name)
def test_a_trend_is_told_where_it_should_be(plan, trainings, expected) -> None:
    field, sigma = FIELDS[expected.metric]
    sessions = [
        SessionReadings(
            training.number,
            training.started_utc,
            tuple(Reading(getattr(one, field), sigma) for one in counting(plan, training)),
        )
        for training in trainings
        if not training.waiting
    ]
    change = trend(sessions).change
    assert (change.verdict is Verdict.CHANGED) is expected.to_be_found
    if expected.to_be_found:
        assert change.value * expected.size > 0.0


@pytest.mark.parametrize(("plan", "trainings", "expected"), asked("cue"), ids=name)
def test_a_cue_helps_where_it_should(plan, trainings, expected) -> None:
    field, _ = FIELDS[expected.metric]
    pairs = []
    for training in trainings:
        if training.number in plan.cued:
            tries = training.tries
            before, after = tries[: plan.cue.after - 1], tries[plan.cue.after :]
            pairs.append(tuple([getattr(o, field) for o in part] for part in (before, after)))
    assert paired_difference(pairs).told is expected.to_be_found


@pytest.mark.parametrize(("plan", "trainings", "expected"), asked("speed"), ids=name)
def test_a_best_speed_is_named_where_there_is_one(plan, trainings, expected) -> None:
    runs = [
        Run(training.number, order, one.approach_speed_mps, 0.04, one.height_m)
        for training in trainings
        for order, one in enumerate(training.tries, start=1)
        if not one.mark
    ]
    answer = best_approach_speed(runs)
    if expected.to_be_found:
        assert answer.verdict is SpeedVerdict.OPTIMUM
        assert answer.interval.holds(expected.size)
    else:
        assert answer.verdict is SpeedVerdict.OPEN
