"""Events set by hand: what was left alone stays, what depends on a moved event follows it."""

from dataclasses import replace
from pathlib import Path

import pytest

from imujump.model import Attempt, EventKind, GaitEvent
from imujump.pipeline.attempt_motion import AttemptMotion
from imujump.pipeline.by_hand import HAND_SIGMA_S, measured_by_hand
from imujump.pipeline.engine import analyse, analyse_with_motion
from imujump.recording.files import open_recording

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"


@pytest.fixture(scope="module")
def seen() -> tuple[Attempt, AttemptMotion]:
    kept: list[tuple[Attempt, AttemptMotion]] = []
    source = open_recording(DEMO / "one_foot.imujump")
    found = analyse_with_motion(source, lambda *both: kept.append(both))
    assert found == analyse(open_recording(DEMO / "one_foot.imujump"))
    ((attempt, motion),) = kept
    assert found.attempts == (attempt,)
    return attempt, motion


def _toe_off(attempt: Attempt) -> GaitEvent:
    return next(
        e
        for e in attempt.events
        if e.kind is EventKind.TOE_OFF and abs(e.time_s - attempt.toe_off_s) < 1e-9
    )


def test_events_left_alone_change_nothing(seen: tuple[Attempt, AttemptMotion]) -> None:
    attempt, motion = seen
    again = measured_by_hand(motion, attempt, attempt.events[::-1])
    assert again == attempt


def test_a_later_toe_off_shortens_the_flight_and_lengthens_the_contact(
    seen: tuple[Attempt, AttemptMotion],
) -> None:
    attempt, motion = seen
    toe_off = _toe_off(attempt)
    moved = replace(toe_off, time_s=toe_off.time_s + 0.02, sigma_s=HAND_SIGMA_S)
    events = [moved if e is toe_off else e for e in attempt.events]
    again = measured_by_hand(motion, attempt, events)
    before, after = attempt.metrics, again.metrics
    flight_s, contact_s = before["flight_s"].value, before["take_off_contact_s"].value
    assert flight_s is not None
    assert contact_s is not None
    assert after["flight_s"].value == pytest.approx(flight_s - 0.02, abs=1e-9)
    assert after["take_off_contact_s"].value == pytest.approx(contact_s + 0.02, abs=1e-9)
    # h = g t²/8, free fall
    assert after["height_flight_m"].value == pytest.approx(9.80665 * (flight_s - 0.02) ** 2 / 8)
    assert after["last_step_s"] == before["last_step_s"]
    assert (after["flight_s"].sigma or 0.0) >= HAND_SIGMA_S


def test_a_contact_taken_away_is_no_step_any_more(seen: tuple[Attempt, AttemptMotion]) -> None:
    attempt, motion = seen
    first = attempt.steps[0]
    gone = [
        e
        for e in attempt.events
        if e.side is first.side and first.strike_s <= e.time_s < first.strike_s + 0.35
    ]
    assert [e.kind for e in gone] == [EventKind.FOOT_STRIKE, EventKind.TOE_OFF]
    again = measured_by_hand(motion, attempt, [e for e in attempt.events if e not in gone])
    assert len(again.steps) < len(attempt.steps)
    assert again.metrics["flight_s"] == attempt.metrics["flight_s"]


def test_feet_cannot_strike_twice(seen: tuple[Attempt, AttemptMotion]) -> None:
    attempt, motion = seen
    without = [e for e in attempt.events if e is not _toe_off(attempt)]
    with pytest.raises(ValueError, match=r"foot strikes at .* and again at .* add or remove"):
        measured_by_hand(motion, attempt, without)


def test_courses_run_through_the_attempt(seen: tuple[Attempt, AttemptMotion]) -> None:
    attempt, motion = seen
    courses = motion.courses()
    assert courses is not None
    assert courses.time_s[0] <= attempt.start_s + 0.01
    assert courses.time_s[-1] >= attempt.landing_s
    flying = (courses.time_s > attempt.toe_off_s) & (courses.time_s < attempt.landing_s)
    rise = attempt.metrics["pelvis_rise_m"].value
    assert courses.height_m[flying].max() == pytest.approx(rise, abs=0.01)
    before = (courses.time_s > attempt.toe_off_s - 0.6) & (courses.time_s < attempt.toe_off_s)
    assert courses.speed_mps[before].max() == pytest.approx(
        attempt.metrics["approach_speed_mps"].value, abs=0.5
    )
